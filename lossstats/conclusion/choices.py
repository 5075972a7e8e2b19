"""How much hangs on the choices of an analysis: the trial again under other reasonable ones, the planned one first."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lossstats.comparison.statement import printed_places
from lossstats.conclusion.decisions import all_combinations, checked_options, in_words, one_at_a_time
from lossstats.conclusion.reanalysis import ChoiceRow, DoesNotApplyError, Reanalysis
from lossstats.records.estimate import Interval
from lossstats.records.rendering import Record, decimals_for, shown
from lossstats.trial_folder.trial import Trial, read_trial

if TYPE_CHECKING:
    import pandas as pd

    from lossstats.conclusion.decisions import Decisions
    from lossstats.one_run.reduced_runs import ReducedRun

MOST_COMBINATIONS = 1000
COLUMNS = ("choice", "saving", "low", "high", "percent", "percent_low", "percent_high", "verdict", "changed")


@dataclass(frozen=True)
class NotApplied(Record):
    """A choice that could not be tried, or changes nothing in this trial.

    Attributes
    ----------
    choice : str
        What would be different.
    reason : str
        Why it was not.
    """

    choice: str
    reason: str

    title = "Choice that does not apply"

    def _rows(self) -> list[tuple[str, str]]:
        return [("choice", self.choice), ("reason", self.reason)]


@dataclass(frozen=True)
class Sensitivity(Record):
    """The planned analysis and what other choices would have given.

    Attributes
    ----------
    planned : ChoiceRow
        The headline: the numbers of `lossstats.analyse`.
    choices : tuple of ChoiceRow
        One decision changed at a time.
    not_applied : tuple of NotApplied
        Choices that do not apply, with the reason.
    combinations : tuple of ChoiceRow
        All combinations of the choices that apply, the single ones among them; empty if not asked for.
    kept : int or None
        How many of the choices keep the words of the planned verdict, the choice of percentage not counted; None
        where there is no verdict to keep.
    counted : int
        How many were counted.
    saving_range : Interval
        Smallest and largest saving, the planned one included.
    combined_kept : int or None
        As `kept`, of the combinations.
    combined_range : Interval or None
        As `saving_range`; None if no combinations were asked for.
    confidence : float
        Of the intervals.
    matters : float or None
        The difference that matters.
    unit : str
        Of the saving.
    sentences : tuple of str
        The same in words.
    """

    planned: ChoiceRow
    choices: tuple[ChoiceRow, ...]
    not_applied: tuple[NotApplied, ...]
    combinations: tuple[ChoiceRow, ...]
    kept: int | None
    counted: int
    saving_range: Interval
    combined_kept: int | None
    combined_range: Interval | None
    confidence: float
    matters: float | None
    unit: str
    sentences: tuple[str, ...]

    title = "How much hangs on the choices"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [(row.choice, _cell(row, self.unit)) for row in (self.planned, *self.choices)]
        rows += [(f"not applied: {item.choice}", item.reason) for item in self.not_applied]
        return [*rows, ("in words", " ".join(self.sentences))]

    @property
    def table(self) -> pd.DataFrame:
        """Table of the choices, the planned analysis first; values in the unit of the measurand and in percent.

        Returns
        -------
        pandas.DataFrame
            One row a choice; a number that is absent is nan, and column ``note`` says why.
        """
        return _table((self.planned, *self.choices))

    @property
    def combined_table(self) -> pd.DataFrame:
        """Table of all combinations, the planned analysis first.

        Returns
        -------
        pandas.DataFrame
            As `table`.
        """
        return _table((self.planned, *self.combinations))


def sensitivity(
    folder_or_trial: str | Path | Trial,
    *,
    choices: Mapping[str, Sequence[Any]] | None = None,
    combine: bool = False,
    progress: Callable[[Any], Any] | None = None,
    reduced: Sequence[ReducedRun] | None = None,
) -> Sensitivity:
    """Analyse a trial again under other reasonable choices, one at a time away from the plan.

    Parameters
    ----------
    folder_or_trial : path or Trial
        A trial folder, or a trial already read.
    choices : mapping of str to sequence, optional
        Options to try by decision: ``level``, ``final_window``, ``flagged_samples``, ``still_moving``, ``references``,
        ``zeros``, ``interval``, ``percent``; see `lossstats.conclusion.decisions.OPTIONS`, which is tried if left out.
    combine : bool, default False
        Whether to try all combinations as well, at most 1000.
    progress : callable, optional
        Wraps the iterable of runs of the planned reduction, then that of the ways, to show a bar.
    reduced : sequence of ReducedRun, optional
        Levels of the runs by the declared rules, where they were made already (as `conclude` takes them).

    Returns
    -------
    Sensitivity
        The planned analysis first; it stays the headline whatever the others give.

    Raises
    ------
    TrialError
        If the folder has faults.
    NotSettledError
        If the planned analysis refuses a run: then there is no plan to start from.
    ValueError
        If the trial compares several conditions, a choice does not exist, or there are too many combinations.

    Notes
    -----
    To choose among these after seeing them is to lose the promised confidence: taking the smaller of two p values,
    or leaving out one pair of five at will, shows a difference that is not there in 7 to 17 % of trials where 5 % is
    promised (by simulation). The table shows what hangs on a choice; it offers none.
    """
    trial = folder_or_trial if isinstance(folder_or_trial, Trial) else read_trial(folder_or_trial)
    options = checked_options(choices)
    if trial.settings.comparison.design == "several":
        raise ValueError("design: found 'several'; accepted: a trial that compares two conditions")
    again = Reanalysis(trial, progress, reduced)
    design = trial.settings.comparison.design
    planned = again.row(again.planned, in_words(again.planned, again.planned, design))
    rows: dict[Decisions, ChoiceRow] = {}
    not_applied = []
    ways = one_at_a_time(again.planned, options)
    for way in progress(ways) if progress else ways:
        words = in_words(way, again.planned, design)
        try:
            again.refuse_what_changes_nothing(way)
            rows[way] = again.row(way, words)
        except DoesNotApplyError as reason:
            not_applied.append(NotApplied(words, str(reason)))
    combined = _combined(again, list(rows), design, progress) if combine else ()
    return _summed_up(again, planned, tuple(rows.values()), tuple(not_applied), combined)


def _combined(
    again: Reanalysis, applicable: Sequence[Decisions], design: str, progress: Callable[[Any], Any] | None
) -> tuple[ChoiceRow, ...]:
    ways = all_combinations(again.planned, applicable)
    if len(ways) > MOST_COMBINATIONS:
        raise ValueError(
            f"combine: found {len(ways)} combinations; accepted: at most {MOST_COMBINATIONS}, by fewer options in "
            "choices="
        )
    rows = []
    for way in progress(ways) if progress else ways:
        try:
            rows.append(again.row(way, in_words(way, again.planned, design)))
        except DoesNotApplyError:  # an option may stand alone and yet not beside another; the count says how many do
            continue
    return tuple(rows)


def _summed_up(
    again: Reanalysis,
    planned: ChoiceRow,
    rows: tuple[ChoiceRow, ...],
    not_applied: tuple[NotApplied, ...],
    combined: tuple[ChoiceRow, ...],
) -> Sensitivity:
    result = again.result
    verdict = result.compared.verdict
    counted = [row for row in rows if not row.percent_only]
    has_verdict = verdict.kind != "no verdict"
    kept = sum(not row.changed for row in counted) if has_verdict else None
    keys, unit = result.settings.comparison, result.settings.trial.unit
    places = 3 if result.compared.difference is None else printed_places(result.compared.difference, verdict.matters)
    sentences = [
        _on_the_verdict(planned, counted, kept, verdict.why),
        _on_the_saving(planned, counted, unit, places),
        *_on_the_percentage(result.compared.percent, rows),
    ]
    combined_kept = sum(not row.changed for row in combined) if has_verdict and combined else None
    if combined:
        ends = "" if combined_kept is None else f"{combined_kept} keep the planned verdict, and "
        between = _between(_range(planned, combined), unit, places)
        sentences.append(f"Of all {len(combined)} combinations of these choices {ends}the saving lies {between}.")
    sentences.append(
        "The planned analysis is the headline; the others show what hangs on the choices and replace nothing."
    )
    return Sensitivity(
        planned, rows, not_applied, combined, kept, len(counted), _range(planned, counted), combined_kept,
        _range(planned, combined) if combined else None, keys.confidence, keys.difference_that_matters, unit,
        tuple(sentences),
    )  # fmt: skip


def _on_the_verdict(planned: ChoiceRow, counted: Sequence[ChoiceRow], kept: int | None, why: str) -> str:
    if kept is None:
        return f"There is no planned verdict that a choice could change: {why}."
    if not counted:
        return f"No other choice applies beside the planned ones (verdict: {planned.verdict})."
    every = len(counted)
    if kept == every:
        how = "the one other choice" if every == 1 else f"all {every} other choices, taken one at a time"
        return f"The planned verdict ({planned.verdict}) stands under {how}."
    changes = "; ".join(f"{row.choice} ({row.verdict})" for row in counted if row.changed)
    same = all(row.kind == planned.kind for row in counted)
    return (
        f"The planned verdict ({planned.verdict}) stands under {kept} of {every} other choices, taken one at a time; "
        f"it changes with {changes}." + (f" In kind ({planned.kind}) it is the same under all of them." if same else "")
    )


def _on_the_saving(planned: ChoiceRow, counted: Sequence[ChoiceRow], unit: str, places: int) -> str:
    what = "change as read" if planned.low is None else "saving"
    value = f"planned: {shown(planned.saving, places)} {unit}"
    if planned.low is not None and planned.high is not None:
        value += f", {shown(planned.low, places)} {unit} to {shown(planned.high, places)} {unit}"
    return f"The {what} lies {_between(_range(planned, counted), unit, places)} over them ({value})."


def _on_the_percentage(percent: Any, rows: Sequence[ChoiceRow]) -> list[str]:
    other = next((row for row in rows if row.percent_only), None)
    if other is None or other.percent is None or percent is None:
        return []
    places = decimals_for(percent.standard_uncertainty)
    way = other.choice.removeprefix("percent ")
    return [
        f"In percent of the level before it is {shown(percent.value, places)} % by the ratio of the means and "
        f"{shown(other.percent, places)} % {way}."
    ]


def _range(planned: ChoiceRow, rows: Sequence[ChoiceRow]) -> Interval:
    savings = [planned.saving, *(row.saving for row in rows)]
    return Interval(min(savings), max(savings))


def _between(ends: Interval, unit: str, places: int) -> str:
    low, high = (shown(end, places) for end in ends)
    return f"at {low} {unit}" if low == high else f"between {low} {unit} and {high} {unit}"


def _cell(row: ChoiceRow, unit: str) -> str:
    if row.low is None or row.high is None:
        return f"{shown(row.saving, 3)} {unit}: {row.verdict}"
    return f"{shown(row.saving, 3)} {unit} ({shown(row.low, 3)} to {shown(row.high, 3)}): {row.verdict}"


def _table(rows: Sequence[ChoiceRow]) -> pd.DataFrame:
    import pandas as pd

    table = pd.DataFrame([{name: getattr(row, name) for name in (*COLUMNS, "headline", "note")} for row in rows])
    numbers = list(COLUMNS[1:7])
    table[numbers] = table[numbers].astype(float)
    return table
