"""Numbers into words: rounding, and text, HTML and dict from one source."""

from __future__ import annotations

import dataclasses
import math
import textwrap
from html import escape
from typing import Any

import numpy as np

_LINE = 100
_NARROWEST = 40  # of the column of values, however long the labels are


class Record:
    """Base of all results: subclasses are frozen dataclasses that give their rows once.

    ``str()`` shows the rows as aligned text, a notebook as an HTML table, ``to_dict()`` gives every field
    unrounded. A field whose name starts with an underscore is an ingredient: kept out of all three.
    """

    title = ""

    def _rows(self) -> list[tuple[str, str]]:
        raise NotImplementedError

    def __str__(self) -> str:
        rows = self._rows()
        width = max((len(label) for label, _ in rows), default=0)
        body = "\n".join(_folded(f"  {label:<{width}}  ", text) for label, text in rows)
        return f"{self.title}\n{body}" if self.title else body

    def _repr_html_(self) -> str:
        rows = "".join(
            f'<tr><th style="text-align:left">{escape(label)}</th><td style="text-align:left">{escape(text)}</td></tr>'
            for label, text in self._rows()
        )
        caption = f"<caption>{escape(self.title)}</caption>" if self.title else ""
        return f"<table>{caption}{rows}</table>"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:  # noqa: FBT001 - the form that IPython asks for
        printer.text("…" if cycle else str(self))

    def to_dict(self) -> dict[str, Any]:
        """Every public field, unrounded, as plain Python values.

        Returns
        -------
        dict
            Nested dicts, lists, strings, numbers; nothing that JSON does not know but infinity and nan.
        """
        return {f.name: plain(getattr(self, f.name)) for f in dataclasses.fields(self) if not f.name.startswith("_")}  # type: ignore[arg-type]


def _folded(label: str, text: str) -> str:
    # Long values go on below where they begin; a word longer than a line stays whole.
    begin, width = " " * len(label), max(_NARROWEST, _LINE - len(label))
    wrap = textwrap.TextWrapper(width, break_long_words=False, break_on_hyphens=False)
    lines = [part for line in text.splitlines() for part in (wrap.wrap(line) if len(line) > width else [line])]
    return "\n".join(f"{begin if k else label}{line}".rstrip() for k, line in enumerate(lines or [""]))


def plain(value: Any) -> Any:
    """Plain Python values of a result, at any depth.

    Parameters
    ----------
    value : object
        Record, dataclass, mapping, sequence, array, numpy scalar or plain value.

    Returns
    -------
    object
        The same content as dicts, lists, strings, numbers and None.
    """
    if isinstance(value, Record):
        return value.to_dict()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return value.item()
    return value


def counted(number: int, noun: str) -> str:
    """Say how many there are.

    Parameters
    ----------
    number : int
        How many.
    noun : str
        What, in the singular; its plural takes an s.

    Returns
    -------
    str
        Such as ``1 run`` or ``2 runs``.

    Examples
    --------
    >>> counted(1, "run"), counted(0, "bench day")
    ('1 run', '0 bench days')
    """
    return f"{number} {noun}{'' if number == 1 else 's'}"


def decimals_for(uncertainty: float, significant: int = 2) -> int:
    """Decimal places that show an uncertainty with this many significant digits (JCGM 100, 7.2.6).

    Parameters
    ----------
    uncertainty : float
        Standard or expanded uncertainty; 0 or not finite gives 3 places.
    significant : int, default 2
        Significant digits of the uncertainty; JCGM 100 asks for two at most.

    Returns
    -------
    int
        Decimal places, never negative.

    Examples
    --------
    >>> decimals_for(0.0234), decimals_for(3.1), decimals_for(0.0996)
    (3, 1, 2)
    """
    if not (math.isfinite(uncertainty) and uncertainty > 0):
        return 3
    rounded = float(f"{uncertainty:.{significant - 1}e}")  # 0.0996 becomes 0.10: one place fewer
    return max(0, significant - 1 - math.floor(math.log10(rounded)))


def shown(value: float, decimals: int) -> str:
    """A number with fixed decimal places, a true minus sign, and no negative zero.

    Parameters
    ----------
    value : float
        The number.
    decimals : int
        Decimal places.

    Returns
    -------
    str
        For example ``"−0.042"``.

    Examples
    --------
    >>> shown(0.4251, 2), shown(-0.0001, 2), shown(float("inf"), 2)
    ('0.43', '0.00', '∞')
    """
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    text = f"{round(value, decimals) + 0.0:.{decimals}f}"
    return text.replace("-", "−")


def two_digits(number: float) -> str:
    """Show a number with two significant digits, very small and very large ones with an exponent.

    Parameters
    ----------
    number : float
        The number.

    Returns
    -------
    str
        For example ``"0.35"``.

    Examples
    --------
    >>> two_digits(0.3512), two_digits(0.0), two_digits(3.14e-7)
    ('0.35', '0', '3.1e−07')
    """
    if number == 0 or not math.isfinite(number):
        return shown(number, 0)
    if not 1e-5 <= abs(number) < 1e5:
        return f"{number:.1e}".replace("-", "−")
    return shown(number, decimals_for(abs(number)))


def shown_p(p: float) -> str:
    """Show a p value with two digits, never as 0, and as 1 only where it is 1.

    Parameters
    ----------
    p : float
        From 0 to 1.

    Returns
    -------
    str
        For example ``"0.031"``.

    Examples
    --------
    >>> shown_p(0.03125), shown_p(3e-7), shown_p(0.998)
    ('0.031', 'below 0.0001', 'above 0.99')
    """
    if 0.995 <= p < 1:
        return "above 0.99"
    return "below 0.0001" if p < 0.0001 else f"{p:.2g}"


def shown_dof(degrees_of_freedom: float) -> str:
    """Show degrees of freedom as a reader expects them: ``5``, ``7.3`` or ``∞``.

    Parameters
    ----------
    degrees_of_freedom : float
        Possibly effective, possibly infinite.

    Returns
    -------
    str
        Rounded to a tenth.
    """
    if degrees_of_freedom > 1000:
        return "∞"
    return f"{degrees_of_freedom:.1f}".removesuffix(".0")
