"""Where the uncertainty of a saving comes from: every declared source, what it adds, and why some add nothing."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from lossstats.budgets.budget_table import write_new
from lossstats.records.estimate import Estimate, Spread
from lossstats.records.rendering import Record, shown, shown_dof, two_digits
from lossstats.several.ranked import PairDifference

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

_EVEN = ("zero", "drift origin")  # act on every unit value alike
_NUMBERS = (2, 3, 4)  # columns of the shown table
READINGS = ("readings", "resolution")  # inside the scatter, or its floor
_FITTED = "fitted exponent: "  # found from the units themselves


@dataclass(frozen=True)
class SavingSource:
    """One source of uncertainty of a saving.

    Attributes
    ----------
    source : str
        Its name.
    kind : {"A", "B"}
        Type of its evaluation (JCGM 100, 0.7): statistics of these runs, or knowledge from elsewhere.
    stated : str
        What it is and how it was stated.
    degrees_of_freedom : float
        Of its standard uncertainty.
    contribution : float
        Standard uncertainty of the saving that it adds, in the unit of the measurand; 0 where it adds none.
    share : float
        Of the variance of the saving, 0 to 1.
    percent_contribution, percent_share : float or None
        The same for the saving in percent; None where there is none.
    counted : str
        How it counts: added, or why it is not.
    """

    source: str
    kind: str
    stated: str
    degrees_of_freedom: float
    contribution: float
    share: float
    percent_contribution: float | None
    percent_share: float | None
    counted: str


@dataclass(frozen=True)
class SavingBudget(Record):
    """Uncertainty budget of a saving: what its interval is made of, nothing counted twice.

    Attributes
    ----------
    sources : tuple of SavingSource
        Those of the scatter first, then the shared ones.
    standard_uncertainty : float or None
        Combined, in `unit`; None where there is no interval.
    degrees_of_freedom : float or None
        Effective ones, used as they are, not truncated (JCGM 100, G.4.1 allows either).
    percent_standard_uncertainty : float or None
        Combined, in percentage points.
    unit : str
        Of the saving.
    why_none : str
        Why there is no budget.
    """

    sources: tuple[SavingSource, ...]
    standard_uncertainty: float | None
    degrees_of_freedom: float | None
    percent_standard_uncertainty: float | None
    unit: str
    why_none: str = ""

    title = "Uncertainty budget of the saving"

    @property
    def table(self) -> pd.DataFrame:
        """Give the sources, unrounded.

        Returns
        -------
        pandas.DataFrame
            One row a source, indexed by its name; contributions in the unit of the measurand, shares 0 to 1.
        """
        import pandas as pd

        columns = list(SavingSource.__dataclass_fields__)
        return pd.DataFrame([vars(s) for s in self.sources], columns=columns).set_index("source")

    @property
    def added(self) -> tuple[SavingSource, ...]:
        """Pick the sources that add something.

        Returns
        -------
        tuple of SavingSource
            In the order of the budget.
        """
        return tuple(s for s in self.sources if s.contribution > 0)

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
        write_new(path, self.table.to_csv())

    def _header(self) -> tuple[str, ...]:
        return ("source", "type", "dof", f"u of the saving ({self.unit})", "share (%)", "counted")

    def _cells(self) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = [
            (s.source, s.kind, shown_dof(s.degrees_of_freedom), two_digits(s.contribution), _share(s.share), s.counted)
            for s in self.sources
        ]
        if self.standard_uncertainty is not None and self.degrees_of_freedom is not None:
            u, dof = two_digits(self.standard_uncertainty), shown_dof(self.degrees_of_freedom)
            rows.append(("combined", "", dof, u, "100.0", "root of the sum of squares"))
        return rows

    def __str__(self) -> str:
        if self.why_none:
            return f"{self.title}\n  none: {self.why_none}"
        table = [self._header(), *self._cells()]
        widths = [max(len(row[i]) for row in table) for i in range(5)]
        lines = []
        for row in table:
            parts = [
                text.rjust(width) if i in _NUMBERS else text.ljust(width)
                for i, (text, width) in enumerate(zip(row[:5], widths, strict=True))
            ]
            lines.append("  " + "  ".join([*parts, row[5]]).rstrip())
        return "\n".join([self.title, *lines])

    def _repr_html_(self) -> str:
        if self.why_none:
            return f"<p>{escape(self.title)}: none: {escape(self.why_none)}</p>"
        rows = [_html_row("th", self._header()), *(_html_row("td", row) for row in self._cells())]
        return f"<table><caption>{escape(self.title)}</caption>{''.join(rows)}</table>"


def _html_row(tag: str, cells: tuple[str, ...]) -> str:
    sides = ("right" if i in _NUMBERS else "left" for i in range(len(cells)))
    parts = (f'<{tag} style="text-align:{side}">{escape(c)}</{tag}>' for side, c in zip(sides, cells, strict=True))
    return f"<tr>{''.join(parts)}</tr>"


def make_saving_budget(
    difference: Estimate | PairDifference | None,
    percent: Estimate | None,
    spread: Spread | None,
    stated: Mapping[str, str],
    *,
    unit: str,
    why_none: str = "",
    type_a: Collection[str] = (),
) -> SavingBudget:
    """Lay the parts of an interval side by side with every source that was declared.

    Parameters
    ----------
    difference : Estimate, PairDifference or None
        The saving.
    percent : Estimate or None
        The same in percent.
    spread : Spread or None
        Uncertainty of the difference by source.
    stated : mapping of str to str
        Every declared source by name, with what it is.
    unit : str
        Of the saving.
    why_none : str
        Why there is no interval, where there is none.
    type_a : collection of str, optional
        Shared sources evaluated by the statistics of these runs (JCGM 100, 4.2), beside scatter, readings and what was
        fitted to the units; all others are of Type B.

    Returns
    -------
    SavingBudget
        Sources that add nothing are listed with the reason.
    """
    if difference is None or spread is None:
        return SavingBudget((), None, None, None, unit, why_none or "there is no interval")
    parts, shares = difference.components, _shares(difference.components)
    per_cent = {} if percent is None else percent.components
    per_cent_shares = _shares(per_cent)
    by_floor = "scatter" not in parts
    sources = []
    for name in dict.fromkeys(["scatter", *READINGS, *stated, *parts]):
        if name == "resolution" and (by_floor or not spread.floor_parts.get(name)):
            continue  # the floor holds both, or no display step was declared
        term = spread.shared.get(name)
        dof = spread.scatter.degrees_of_freedom if name == "scatter" else term.degrees_of_freedom if term else _NO_DOF
        sources.append(
            SavingSource(
                source=name,
                kind="A" if name in ("scatter", "readings", *type_a) or name.startswith(_FITTED) else "B",
                stated=stated.get(name, "as named in the comparison"),
                degrees_of_freedom=dof,
                contribution=parts.get(name, 0.0),
                share=shares.get(name, 0.0),
                percent_contribution=None if percent is None else per_cent.get(name, 0.0),
                percent_share=None if percent is None else per_cent_shares.get(name, 0.0),
                counted=_counted(name, spread, name in parts, name in per_cent, by_floor=by_floor, unit=unit),
            )
        )
    return SavingBudget(
        tuple(sources),
        difference.standard_uncertainty,
        difference.degrees_of_freedom,
        None if percent is None else percent.standard_uncertainty,
        unit,
    )


_NO_DOF = float("inf")


def _shares(parts: Mapping[str, float]) -> dict[str, float]:
    total = sum(u * u for u in parts.values())
    return {name: u * u / total for name, u in parts.items()} if total > 0 else {}


def _counted(name: str, spread: Spread, added: bool, in_percent: bool, *, by_floor: bool, unit: str) -> str:  # noqa: FBT001
    if name == "scatter":
        return "added" if added else "smaller than what the readings alone cause, so not believed"
    if name in READINGS:
        if by_floor:
            return "added in place of a smaller scatter: a floor"
        alone = spread.floor_parts.get(name, 0.0)
        size = f"alone: {two_digits(alone)} {unit}" if alone > 1e-3 * spread.floor else "averages out within a run"
        return f"inside the scatter, not added again ({size})"
    if added and in_percent:
        return "added"
    if added:
        return "added; cancels in percent"
    nothing = "cancels in the difference" if name in _EVEN else "the same in both conditions, or in the scatter already"
    return nothing + ("; added in percent" if in_percent else "")


def _share(share: float) -> str:
    return shown(100 * share, 1)
