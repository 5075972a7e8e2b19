"""What is quoted beside the levels: n, spread, interval and p, read with the digits as written."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from lossstats.audit.quoted_number import QuotedNumber, read_interval, read_quoted
from lossstats.trial_folder.faults import quoted

Quotes = str | Sequence[str]
_MOST_N = 1000
_P = re.compile(r"(?:p\s*)?(?P<sign>[<>=≤≥])?\s*(?P<figure>[0-9.,]+)")


@dataclass(frozen=True)
class QuotedSamples:
    """Figures quoted beside the levels, read.

    Attributes
    ----------
    n : tuple of int
        Pairs, or units a condition (one for both, or two); empty if not quoted.
    sd, sem : tuple of QuotedNumber
        One, or one a condition; empty if not quoted.
    interval : tuple of QuotedNumber or None
        Lower and upper end.
    confidence : float
        Of the interval.
    p : tuple of float or None
        Lowest and highest that the quoted p can be.
    p_text : str
        As written.
    p_by : {"t", "exact"} or None
        Kind of test that the source names.
    paired : bool
        sd and sem are those of the differences; else those of the units in each condition.
    unit : str
        Of all of them but p.
    """

    n: tuple[int, ...] = ()
    sd: tuple[QuotedNumber, ...] = ()
    sem: tuple[QuotedNumber, ...] = ()
    interval: tuple[QuotedNumber, QuotedNumber] | None = None
    confidence: float = 0.95
    p: tuple[float, float] | None = None
    p_text: str = ""
    p_by: Literal["t", "exact"] | None = None
    paired: bool = True
    unit: str = "W"

    @property
    def both_n(self) -> tuple[int, int]:
        """Number of units in each of the two conditions.

        Returns
        -------
        tuple of int
            Twice the same where one number is quoted.
        """
        return self.n[0], self.n[-1]

    @property
    def design(self) -> str:
        """How sd, sem and n are read.

        Returns
        -------
        str
            In words, to stand before a finding.
        """
        if not self.n:
            return "whatever the design"
        return "if paired" if self.paired else "if independent"


def read_samples(
    *,
    n: int | Sequence[int] | None = None,
    sd: Quotes | None = None,
    sem: Quotes | None = None,
    interval: str | tuple[str, str] | None = None,
    confidence: float = 0.95,
    p: str | None = None,
    p_by: Literal["t", "exact"] | None = None,
    paired: bool = True,
    unit: str = "W",
) -> QuotedSamples:
    """Read what is quoted beside the levels.

    Parameters
    ----------
    n : int or sequence of int, optional
        Pairs, or units a condition.
    sd, sem : str or sequence of str, optional
        As written; two where each condition has its own.
    interval : str or tuple of str, optional
        ``"0.2 to 0.8 W"``; in percent with ``%``.
    confidence : float, default 0.95
        Of the interval.
    p : str, optional
        ``"0.03"`` or ``"< 0.05"``.
    p_by : {"t", "exact"}, optional
        Kind of test that the source names.
    paired : bool, default True
        How sd, sem and n are to be read.
    unit : str, default "W"
        Of all figures but p.

    Returns
    -------
    QuotedSamples
        The same, read.

    Raises
    ------
    ValueError
        Says which figure, what was found, and what would be accepted.
    """
    numbers = _counts(n)
    if paired and len(numbers) == 2 and numbers[0] != numbers[1]:
        raise ValueError(f"n: found {numbers[0]} and {numbers[1]} with paired values; accepted: one number of pairs")
    spreads = {name: _several(name, text, unit, paired=paired) for name, text in (("sd", sd), ("sem", sem))}
    written = interval if isinstance(interval, str) else " ".join(interval or ())
    ends = read_interval("interval", interval, unit="%" if "%" in written else unit) if interval is not None else None
    found = _read_p(p) if p is not None else None
    return QuotedSamples(numbers, spreads["sd"], spreads["sem"], ends, confidence, found, p or "", p_by, paired, unit)


def _counts(n: int | Sequence[int] | None) -> tuple[int, ...]:
    if n is None:
        return ()
    numbers = (n,) if isinstance(n, int) else tuple(n)
    if len(numbers) not in {1, 2} or any(isinstance(k, bool) or not isinstance(k, int) or k < 1 for k in numbers):
        raise ValueError(f"n: found {n!r}; accepted: a whole number of at least 1, or two, one a condition")
    if max(numbers) > _MOST_N:
        raise ValueError(f"n: found {max(numbers)}; accepted: at most {_MOST_N} units; readings of a run are no units")
    return numbers


def _several(name: str, text: Quotes | None, unit: str, *, paired: bool) -> tuple[QuotedNumber, ...]:
    if text is None:
        return ()
    texts = (text,) if isinstance(text, str) else tuple(text)
    most = 1 if paired else 2
    if not 1 <= len(texts) <= most:
        accepted = "one, that of the differences" if paired else "one, or one a condition"
        raise ValueError(f"{name}: found {len(texts)} figures; accepted: {accepted}")
    return tuple(read_quoted(name, one, unit=unit) for one in texts)


def _read_p(text: str) -> tuple[float, float]:
    match = _P.fullmatch(text.strip()) if isinstance(text, str) else None
    if match is None:
        raise ValueError(f"p: found {quoted(str(text))}; accepted: text such as '0.03' or '< 0.05'")
    figure = read_quoted("p", match["figure"], unit="")
    if figure.value > 1:
        raise ValueError(f"p: found {quoted(text)}; accepted: at most 1")
    if match["sign"] in {"<", "≤"}:
        return 0.0, figure.value
    if match["sign"] in {">", "≥"}:
        return figure.value, 1.0
    return figure.low, min(figure.high, 1.0)
