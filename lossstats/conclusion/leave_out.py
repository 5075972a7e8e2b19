"""What hangs on single units: the comparison without each article, or each mount, in turn."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lossstats.comparison.statement import printed_places
from lossstats.conclusion.choices import NotApplied
from lossstats.conclusion.conclusion import conclude, reduce_trial
from lossstats.conclusion.reanalysis import as_row
from lossstats.records.rendering import Record, shown
from lossstats.trial_folder.trial import Run, Trial, read_trial

if TYPE_CHECKING:
    import pandas as pd

    from lossstats.conclusion.result import Result
    from lossstats.one_run.reduced_runs import ReducedRun

FEWEST = 3


@dataclass(frozen=True)
class InfluenceRow(Record):
    """The comparison without one unit.

    Attributes
    ----------
    left_out : str
        The unit; empty for the planned analysis.
    group : {"treated", "control", ""}
        What it was in the comparison.
    saving : float
        Without it.
    shift : float
        How far that is from the planned saving.
    low, high : float or None
        Ends of the interval; None: `note` says why.
    percent, percent_low, percent_high : float or None
        In percent of the level before.
    verdict : str
        In words.
    kind : str
        Which of the outcomes of the rule it is.
    changed : bool
        Whether these are not the words of the planned verdict.
    why_no_verdict : str
        Why the units left give no verdict.
    note : str
        Why a number is absent.
    """

    left_out: str
    group: str
    saving: float
    shift: float
    low: float | None
    high: float | None
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    verdict: str
    kind: str
    changed: bool
    why_no_verdict: str = ""
    note: str = ""

    title = "Without one unit"

    def _rows(self) -> list[tuple[str, str]]:
        return [
            ("without", self.left_out or "none"),
            ("saving", f"{shown(self.saving, 3)} (moved by {shown(self.shift, 3)})"),
            ("verdict", self.verdict),
        ]


@dataclass(frozen=True)
class Influence(Record):
    """The planned analysis and what it would be without each unit in turn.

    Attributes
    ----------
    planned : InfluenceRow
        With all units.
    rows : tuple of InfluenceRow
        Without each in turn; empty: `why_none` says why.
    not_left_out : tuple of NotApplied
        Units that cannot be spared, with the reason.
    why_none : str
        Why nothing was left out.
    most : str
        The unit whose absence moves the saving most; empty if nothing was left out.
    hangs_on : tuple of str
        Units without which the verdict is another one, or none.
    matters : float or None
        The difference that matters.
    unit : str
        Of the saving.
    sentences : tuple of str
        The same in words.
    """

    planned: InfluenceRow
    rows: tuple[InfluenceRow, ...]
    not_left_out: tuple[NotApplied, ...]
    why_none: str
    most: str
    hangs_on: tuple[str, ...]
    matters: float | None
    unit: str
    sentences: tuple[str, ...]

    title = "What hangs on single units"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [(f"without {row.left_out}", f"{shown(row.saving, 3)} {self.unit}: {row.verdict}") for row in self.rows]
        rows = [("with all", f"{shown(self.planned.saving, 3)} {self.unit}: {self.planned.verdict}"), *rows]
        rows += [(f"not left out: {item.choice}", item.reason) for item in self.not_left_out]
        return [*rows, ("in words", " ".join(self.sentences))]

    @property
    def table(self) -> pd.DataFrame:
        """Table of the comparisons without one unit, the planned analysis first.

        Returns
        -------
        pandas.DataFrame
            One row a unit; values in the unit of the measurand and in percent; absent numbers are nan, and column
            ``note`` says why.
        """
        import pandas as pd

        table = pd.DataFrame([vars(row) for row in (self.planned, *self.rows)])
        numbers = list(table.columns[2:9])
        table[numbers] = table[numbers].astype(float)
        return table


def leave_one_out(
    folder_or_trial: str | Path | Trial,
    *,
    reduced: Sequence[ReducedRun] | None = None,
    progress: Callable[[Any], Any] | None = None,
) -> Influence:
    """Compare again without each unit of replication in turn: each article, or each mount where that is the unit.

    Parameters
    ----------
    folder_or_trial : path or Trial
        A trial folder, or a trial already read.
    reduced : sequence of ReducedRun, optional
        Its runs as `lossstats.conclusion.conclusion.reduce_trial` gives them, where they are at hand already.
    progress : callable, optional
        Wraps the iterable of runs of the reduction to show a bar.

    Returns
    -------
    Influence
        The whole analysis after the levels is done anew each time, reference and zero runs as they are. With fewer
        than three units a condition nothing is left out, and the result says why.

    Raises
    ------
    TrialError
        If the folder has faults.
    NotSettledError
        If the planned analysis refuses a run.
    ValueError
        If the trial compares several conditions.

    Notes
    -----
    An influential article is a reason to look at its records, none to leave it out: dropping one of five pairs at
    will shows a difference that is not there in 17 % of trials where 5 % is promised (by simulation).
    """
    trial = folder_or_trial if isinstance(folder_or_trial, Trial) else read_trial(folder_or_trial)
    if trial.settings.comparison.design == "several":
        raise ValueError("design: found 'several'; accepted: a trial that compares two conditions")
    if reduced is None:
        reduced = reduce_trial(trial, progress=progress)
    result = conclude(trial, reduced)
    planned = _row(result, "", "", result)
    spared, kept_in = _units(result)
    rows = []
    for unit, group, condition in spared:
        others = [not _belongs(run, unit, condition, trial) for run in trial.runs]
        without = replace(trial, runs=tuple(run for run, other in zip(trial.runs, others, strict=True) if other))
        left: list[ReducedRun] = [r for r, other in zip(reduced, others, strict=True) if other]
        name = f"{unit} {condition}".rstrip()
        try:
            rows.append(_row(conclude(without, left), name, group, result))
        except ValueError as error:
            kept_in.append(NotApplied(name, str(error)))
    return _summed_up(result, planned, tuple(rows), tuple(kept_in))


def _units(result: Result) -> tuple[list[tuple[str, str, str]], list[NotApplied]]:
    """Units to leave out, as (unit, group, condition or all), and those whose side is too small to spare one."""
    keys = result.settings.comparison
    # A mount belongs to one condition, even if both have a mount of that number.
    by_condition = keys.design in {"single", "independent"}
    sides: dict[tuple[str, str], list[str]] = {}
    for u in result.units:
        members = sides.setdefault((u.group, u.condition if by_condition else ""), [])
        if u.unit not in members:
            members.append(u.unit)
    named = keys.design == "single"
    spared, kept = [], []
    for (group, condition), members in sides.items():
        for unit in members:
            if len(members) >= FEWEST:
                spared.append((unit, group, condition if named else ""))
            else:
                name = f"{unit} {condition if named else ''}".rstrip()
                side = " ".join(word for word in (condition, "untouched" if group == "control" else "") if word)
                found = f"found {len(members)} {side}".rstrip()
                kept.append(NotApplied(name, f"{found} unit(s); at least {FEWEST} are needed to spare one"))
    return spared, kept


def _belongs(run: Run, unit: str, condition: str, trial: Trial) -> bool:
    if run.role != "test" or (condition and run.condition != condition):
        return False
    by_mount = trial.settings.comparison.unit_of_replication == "mount"
    return unit == (f"{run.article}/{run.mount}" if by_mount else run.article)


def _row(result: Result, name: str, group: str, planned: Result) -> InfluenceRow:
    row = as_row(result, name, result.compared.verdict, planned.compared.verdict)
    why = result.compared.verdict.why if result.compared.verdict.kind == "no verdict" else ""
    before = as_row(planned, "", planned.compared.verdict, planned.compared.verdict).saving
    return InfluenceRow(
        name, group, row.saving, row.saving - before, row.low, row.high, row.percent, row.percent_low,
        row.percent_high, row.verdict, row.kind, row.changed, why, row.note,
    )  # fmt: skip


def _summed_up(
    result: Result, planned: InfluenceRow, rows: tuple[InfluenceRow, ...], kept: tuple[NotApplied, ...]
) -> Influence:
    keys, unit = result.settings.comparison, result.settings.trial.unit
    most = max(rows, key=lambda row: abs(row.shift)).left_out if rows else ""
    hangs_on = tuple(row.left_out for row in rows if row.changed)
    why = ""
    if not rows:
        noun = "mount" if keys.unit_of_replication == "mount" else "article"
        numbers = " and ".join(map(str, result.compared.n))
        why = (
            f"nothing was left out: found {numbers} {noun}(s); at least {FEWEST} in a condition are needed, so that "
            "two stay"
        )
    return Influence(
        planned,
        rows,
        kept,
        why,
        most,
        hangs_on,
        keys.difference_that_matters,
        unit,
        _sentences(result, planned, rows, why),
    )


def _sentences(result: Result, planned: InfluenceRow, rows: Sequence[InfluenceRow], why: str) -> tuple[str, ...]:
    if not rows:
        return (f"{why[:1].upper()}{why[1:]}.",)
    c, unit = result.compared, result.settings.trial.unit
    places = 3 if c.difference is None else printed_places(c.difference, c.verdict.matters)
    top = max(rows, key=lambda row: abs(row.shift))
    moved = "unchanged" if math.isclose(top.shift, 0, abs_tol=1e-12) else f"moved by {shown(top.shift, places)} {unit}"
    first = (
        f"Without {top.left_out} the saving changes most: {shown(planned.saving, places)} {unit} becomes "
        f"{shown(top.saving, places)} {unit} ({moved})."
    )
    look = "An influential unit is a reason to look at its records, none to leave it out."
    return first, _on_the_verdict(planned, rows, c.verdict.kind == "no verdict"), look


def _on_the_verdict(planned: InfluenceRow, rows: Sequence[InfluenceRow], no_verdict: bool) -> str:  # noqa: FBT001
    if no_verdict:
        return f"There is no planned verdict that could hang on one unit: {planned.why_no_verdict}."
    lost = [row for row in rows if row.changed]
    if not lost:
        return f"The planned verdict ({planned.verdict}) stands without any one of them."
    if all(row.why_no_verdict for row in lost):
        names = "any one of them" if len(lost) == len(rows) else ", ".join(row.left_out for row in lost)
        return f"The planned verdict ({planned.verdict}) cannot do without {names}: {lost[0].why_no_verdict}."
    by_verdict: dict[str, list[str]] = {}
    for row in lost:
        by_verdict.setdefault(row.verdict, []).append(row.left_out)
    others = "; ".join(f"without {' or '.join(names)} it is: {words}" for words, names in by_verdict.items())
    on = lost[0].left_out if len(lost) == 1 else f"each of {len(lost)} units by itself"
    same = f" In kind ({planned.kind}) it is the same without any of them."
    return f"The planned verdict ({planned.verdict}) hangs on {on}: {others}." + (
        same if all(row.kind == planned.kind for row in rows) else ""
    )
