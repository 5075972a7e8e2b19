"""The uncertainty budget as a result: every source with what it adds, as text, HTML, dict, table and CSV."""

from __future__ import annotations

import math
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from lossstats.budgets.budget_lines import HEADER, Contribution, SecondOrder, with_uncertainty
from lossstats.records.estimate import Interval, Term, check_confidence, coverage_factor
from lossstats.records.rendering import Record, shown, shown_dof, two_digits

if TYPE_CHECKING:
    import pandas as pd

_TO_THE_LEFT = ("source", "unit", "distribution")


class Expanded(NamedTuple):
    """Coverage factor and expanded uncertainty.

    Attributes
    ----------
    k : float
        Coverage factor.
    U : float
        Expanded uncertainty, k times the standard uncertainty.
    """

    k: float
    U: float


class _Tabled(Record):
    """A result with a table that can be written down."""

    @property
    def table(self) -> pd.DataFrame:
        raise NotImplementedError

    def to_csv(self, path: str | Path) -> None:
        """Write the table, unrounded, whole or not at all.

        Parameters
        ----------
        path : path
            A new file.

        Raises
        ------
        FileExistsError
            If there is such a file.
        """
        write_new(path, self.table.to_csv(index=False))


@dataclass(frozen=True)
class Budget(_Tabled):
    """Result of linear propagation (JCGM 100, clause 5), with the share of every source.

    Attributes
    ----------
    output : str
        Name of the result.
    value : float
        The model at the estimates, in `unit`.
    standard_uncertainty : float
        Combined, first order, correlations included.
    degrees_of_freedom : float
        Effective (Welch-Satterthwaite), used as they are: not truncated to an integer.
    unit : str
        Unit of the result.
    confidence : float
        Of the interval shown.
    contributions : tuple of Contribution
        A line a source, in the order of the inputs.
    second_order : SecondOrder
        What the formula leaves out.
    notes : tuple of str
        What a reader must know.

    Notes
    -----
    JCGM 100:2008, G.4.1 allows effective degrees of freedom to be interpolated or truncated to the next lower integer.
    Here they are used as they are; ``truncated=True`` gives the figures that its worked examples print.
    """

    output: str
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    unit: str
    confidence: float
    contributions: tuple[Contribution, ...]
    second_order: SecondOrder
    notes: tuple[str, ...]

    title = "Uncertainty budget"

    def expanded(self, confidence: float | None = None, *, truncated: bool = False) -> Expanded:
        """Coverage factor and expanded uncertainty.

        Parameters
        ----------
        confidence : float, optional
            Between 0 and 1; that of the budget where left out.
        truncated : bool, default False
            Whether the degrees of freedom are first truncated to an integer, at least 1.

        Returns
        -------
        Expanded
            The factor k (Student t) and U = k u (JCGM 100, G.3 and G.4).

        Raises
        ------
        ValueError
            If the confidence is not between 0 and 1.
        """
        level = self.confidence if confidence is None else confidence
        check_confidence(level)
        dof = self.degrees_of_freedom
        if truncated and math.isfinite(dof):
            dof = max(1.0, float(math.floor(dof)))
        k = coverage_factor(Term(self.standard_uncertainty, dof), level)
        return Expanded(k, k * self.standard_uncertainty)

    def interval(self, confidence: float | None = None) -> Interval:
        """Coverage interval, value less and plus the expanded uncertainty.

        Parameters
        ----------
        confidence : float, optional
            Between 0 and 1; that of the budget where left out.

        Returns
        -------
        Interval
            Its ends, in the unit of the result.
        """
        half = self.expanded(confidence).U
        return Interval(self.value - half, self.value + half)

    @property
    def table(self) -> pd.DataFrame:
        """The lines as a table, unrounded.

        Returns
        -------
        pandas.DataFrame
            Columns source, value, unit, distribution, u, dof, sensitivity, contribution, share.
        """
        import pandas as pd

        names = (*HEADER[:-1], "share")
        return pd.DataFrame([line.unrounded() for line in self.contributions], columns=list(names))

    def _rows(self) -> list[tuple[str, str]]:
        u, (k, U), interval = self.standard_uncertainty, self.expanded(), self.interval()
        level = f"{100 * self.confidence:g} %"
        ends = " to ".join(with_uncertainty(end, u) for end in interval)
        dof = self.degrees_of_freedom
        convention = "" if math.isinf(dof) else " (effective, not truncated to an integer)"
        return [
            (f"{level} interval", f"{ends} {self.unit}".rstrip() if u else "none: the standard uncertainty is 0"),
            ("degrees of freedom", shown_dof(dof) + convention),
            (self.output, f"{with_uncertainty(self.value, u)} {self.unit}".rstrip()),
            ("standard uncertainty", f"{two_digits(u)} {self.unit}".rstrip()),
            ("expanded uncertainty", f"{two_digits(U)} {self.unit}".rstrip() + f", k = {shown(k, 2)}, {level}"),
        ]

    def __str__(self) -> str:
        lines = [self.title, *_aligned([HEADER, *(line.cells() for line in self.contributions)]), ""]
        width = max(len(label) for label, _ in self._rows())
        lines += [f"  {label:<{width}}  {text}" for label, text in self._rows()]
        return "\n".join([*lines, *(f"  note: {note}" for note in self.notes)])

    def _repr_html_(self) -> str:
        head = "".join(f"<th>{escape(text)}</th>" for text in HEADER)
        body = "".join(
            "<tr>" + "".join(f"<td>{escape(text)}</td>" for text in line.cells()) + "</tr>"
            for line in self.contributions
        )
        notes = "".join(f"<p>{escape(note)}</p>" for note in self.notes)
        summary = Record._repr_html_(self).replace(f"<caption>{self.title}</caption>", "")
        return f"<table><caption>{escape(self.title)}</caption><tr>{head}</tr>{body}</table>{summary}{notes}"


@dataclass(frozen=True)
class Budgets(_Tabled):
    """Budgets of several results of one model, and how the results are correlated.

    Attributes
    ----------
    outputs : tuple of Budget
        A budget a result.
    covariance : tuple of tuple of float
        Covariance of the results (JCGM 100, H.2.3; JCGM 102, 6.2), in their order.
    correlation : tuple of tuple of float
        The same as coefficients; 0 beside a result without uncertainty.

    Examples
    --------
    A result is found by its name: ``budgets["R"]``.
    """

    outputs: tuple[Budget, ...]
    covariance: tuple[tuple[float, ...], ...]
    correlation: tuple[tuple[float, ...], ...]

    title = "Uncertainty budgets"

    def __getitem__(self, output: str) -> Budget:
        """Budget of one result by its name."""
        for budget in self.outputs:
            if budget.output == output:
                return budget
        names = ", ".join(budget.output for budget in self.outputs)
        raise KeyError(f"output: found {output!r}; accepted: {names}")

    @property
    def table(self) -> pd.DataFrame:
        """The lines of all budgets as one table, unrounded.

        Returns
        -------
        pandas.DataFrame
            Columns output, then as in each budget.
        """
        import pandas as pd

        return pd.concat([b.table.assign(output=b.output) for b in self.outputs], ignore_index=True)[
            ["output", *self.outputs[0].table.columns]
        ]

    def _rows(self) -> list[tuple[str, str]]:
        names = [budget.output for budget in self.outputs]
        return [
            (f"r({a}, {b})", shown(self.correlation[i][j], 3))
            for i, a in enumerate(names)
            for j, b in enumerate(names)
            if i < j
        ]

    def __str__(self) -> str:
        return "\n\n".join([*(str(budget) for budget in self.outputs), "Correlation of the results\n" + self._pairs()])

    def _repr_html_(self) -> str:
        return "".join(budget._repr_html_() for budget in self.outputs) + Record._repr_html_(self)

    def _pairs(self) -> str:
        return "\n".join(f"  {label}  {text}" for label, text in self._rows())


def write_new(path: str | Path, text: str) -> None:
    """Write a new text file whole or not at all.

    Parameters
    ----------
    path : path
        The file, which must not exist.
    text : str
        What to write.

    Raises
    ------
    FileExistsError
        If there is such a file.
    """
    target = Path(path)
    draft = target.parent / f".{target.name}.{secrets.token_hex(4)}"
    try:
        draft.write_text(text, encoding="utf-8", newline="")
        try:
            target.hardlink_to(draft)  # refuses a file that is there, even one that came up in between
        except FileExistsError:
            raise FileExistsError(f"path: found {target.name} already; accepted: the name of a new file") from None
    finally:
        draft.unlink(missing_ok=True)


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(HEADER))]
    left = [name in _TO_THE_LEFT for name in HEADER]
    return [
        "  "
        + "  ".join(
            text.ljust(w) if to_left else text.rjust(w) for text, w, to_left in zip(row, widths, left, strict=True)
        ).rstrip()
        for row in rows
    ]
