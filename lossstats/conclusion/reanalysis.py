"""A trial analysed again in another way than planned; the runs are reduced once for each final window."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lossstats.comparison.contrast import Array, Contrast, controlled_contrast, group_contrast, paired_contrast
from lossstats.comparison.verdict import Verdict, decide
from lossstats.conclusion.conclusion import NotSettledError, conclude, reduce_trial
from lossstats.conclusion.decisions import EXACT, FIT, LOGS, WINDOW, Decisions, planned_decisions
from lossstats.records.estimate import Estimate, Interval, Spread, Term, combine, coverage_factor, make_estimate
from lossstats.records.rendering import Record, shown

if TYPE_CHECKING:
    from lossstats.comparison.comparison import Comparison
    from lossstats.conclusion.result import Result
    from lossstats.one_run.level import Level
    from lossstats.one_run.reduced_runs import ReducedRun
    from lossstats.trial_folder.trial import Trial


class DoesNotApplyError(ValueError):
    """A choice that changes nothing in this trial, or cannot be made with it; the text is the reason."""


@dataclass(frozen=True)
class ChoiceRow(Record):
    """What one way to analyse the trial gives.

    Attributes
    ----------
    choice : str
        What is different from the plan.
    saving : float
        The saving, or the change as read where there is no interval.
    low, high : float or None
        Ends of its interval; None: `note` says why.
    percent, percent_low, percent_high : float or None
        The same in percent of the level before.
    verdict : str
        In words.
    kind : str
        Which of the outcomes of the rule it is.
    changed : bool
        Whether these are not the words of the planned verdict.
    headline : bool
        Whether this is the planned way.
    percent_only : bool
        Whether only the percentage is formed in another way, so that the verdict cannot change.
    note : str
        Why a number is absent, or how the interval was made.
    """

    choice: str
    saving: float
    low: float | None
    high: float | None
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    verdict: str
    kind: str
    changed: bool
    headline: bool = False
    percent_only: bool = False
    note: str = ""

    title = "Choice"

    def _rows(self) -> list[tuple[str, str]]:
        ends = "" if self.low is None or self.high is None else f" ({shown(self.low, 3)} to {shown(self.high, 3)})"
        rows = [("choice", self.choice), ("saving", f"{shown(self.saving, 3)}{ends}"), ("verdict", self.verdict)]
        return [*rows, ("note", self.note)] if self.note else rows


class Reanalysis:
    """A trial with its runs reduced, ready to be concluded in any way.

    Parameters
    ----------
    trial : Trial
        The trial.
    progress : callable, optional
        Wraps the iterable of runs of the planned reduction.
    reduced : sequence of ReducedRun, optional
        The planned reduction, where it was made already; of no use where flagged samples are left out by plan.

    Attributes
    ----------
    planned : Decisions
        What the trial planned.
    result : Result
        What `lossstats.analyse` finds.
    """

    def __init__(
        self,
        trial: Trial,
        progress: Callable[[Any], Any] | None = None,
        reduced: Sequence[ReducedRun] | None = None,
    ) -> None:
        self._trial = trial
        self.planned = planned_decisions(trial.settings)
        self._reduced: dict[float, list[ReducedRun]] = {}
        if reduced is not None and self.planned.flagged_samples == "keep":
            self._reduced[self.planned.final_window] = list(reduced)
        self.result = conclude(trial, self._with_levels(self.planned, progress))

    def row(self, way: Decisions, words: str) -> ChoiceRow:
        """Analyse in one way.

        Parameters
        ----------
        way : Decisions
            The way.
        words : str
            What is different in it.

        Returns
        -------
        ChoiceRow
            The planned verdict is the measure of `changed`.

        Raises
        ------
        DoesNotApplyError
            Says why the way cannot be gone.
        """
        result = self._conclude(way)
        c = result.compared
        row = as_row(result, words, c.verdict, self.result.verdict)
        if way.interval == EXACT:
            ends = exact_interval(c, result.settings.trial.better)
            verdict = decide(*ends, matters=c.verdict.matters, unit=result.settings.trial.unit)
            note = "the exact interval is of the scatter; errors that units share are added in quadrature"
            row = replace(
                as_row(result, words, verdict, self.result.verdict), low=ends.low, high=ends.high,
                percent_low=None, percent_high=None, note=f"{note}; it has no counterpart in percent",
            )  # fmt: skip
        if way.percent == LOGS:
            share = log_ratio_percent(result)
            row = replace(row, percent=share.value, percent_low=share.low, percent_high=share.high)
        changed = [name for name in vars(way) if getattr(way, name) != getattr(self.planned, name)]
        return replace(row, headline=not changed, percent_only=changed == ["percent"])

    def refuse_what_changes_nothing(self, way: Decisions) -> None:
        """Say why a single change changes nothing in this trial.

        Parameters
        ----------
        way : Decisions
            Differs from the planned way in one decision.

        Raises
        ------
        DoesNotApplyError
            With the reason; nothing is raised where the change makes a difference.
        """
        planned, before = self.planned, self._reductions(self.planned.final_window)
        if way.flagged_samples != planned.flagged_samples and all(r.level_without_flagged is None for r in before):
            raise DoesNotApplyError("no sample is flagged that could be left out")
        if way.still_moving != planned.still_moving and all(r.settled.status != "moving" for r in before):
            raise DoesNotApplyError("no run is still moving at its end")
        if way.level == planned.level == FIT and way.final_window != planned.final_window:
            after = self._reductions(way.final_window)
            if [r.settled.status for r in before] == [r.settled.status for r in after]:
                raise DoesNotApplyError(
                    "the same runs count as settled, and the level by the approach fit does not use the window"
                )
        for name, role in (("references", "reference"), ("zeros", "zero")):
            if getattr(way, name) != getattr(planned, name):
                self._refuse_idle_anchors(way, name, role)

    def _refuse_idle_anchors(self, way: Decisions, name: str, role: str) -> None:
        if not any(run.role == role for run in self._trial.runs):
            raise DoesNotApplyError(f"the trial has no {role} runs")
        now, then = (getattr(r.drift, f"corrected_by_{name}") for r in (self.result, self._conclude(way)))
        if now == then:
            why = [n for n in (*self.result.drift.notes, *self._conclude(way).drift.notes) if f"{role} run(s)" in n]
            raise DoesNotApplyError(why[0] if why else f"the {role} runs correct nothing")

    def _conclude(self, way: Decisions) -> Result:
        try:
            return conclude(replace(self._trial, settings=way.settings(self._trial.settings)), self._with_levels(way))
        except NotSettledError as error:
            raise DoesNotApplyError(
                f"still moving by this rule: {', '.join(error.runs)}; the trial declares that such runs are refused"
            ) from error
        except ValueError as error:
            raise DoesNotApplyError(str(error)) from error

    def _reductions(self, window: float, progress: Callable[[Any], Any] | None = None) -> list[ReducedRun]:
        if window not in self._reduced:
            # Flagged samples kept: the level without them stands beside, so that one reduction serves both rules.
            way = replace(self.planned, final_window=window, flagged_samples="keep")
            trial = replace(self._trial, settings=way.settings(self._trial.settings))
            self._reduced[window] = reduce_trial(trial, progress=progress)
        return self._reduced[window]

    def _with_levels(self, way: Decisions, progress: Callable[[Any], Any] | None = None) -> list[ReducedRun]:
        runs = self._reductions(way.final_window, progress)
        return [
            replace(reduced, level=_level(reduced, way, run.name))
            for run, reduced in zip(self._trial.runs, runs, strict=True)
        ]


def _level(reduced: ReducedRun, way: Decisions, run: str) -> Level:
    level = reduced.level
    if way.flagged_samples == "leave out" and reduced.level_without_flagged is not None:
        level = reduced.level_without_flagged
    all_equal = level.window_mean is None and level.components["noise"] == 0
    if way.level != WINDOW or all_equal:  # equal readings are their own mean
        return level
    if level.window_mean is None:
        raise DoesNotApplyError(
            f"{run}: found equal readings in the final window and no resolution; accepted: the display step"
        )
    return level.window_mean


def as_row(result: Result, choice: str, verdict: Verdict, planned: Verdict) -> ChoiceRow:
    """A finished result as one row of a table of choices.

    Parameters
    ----------
    result : Result
        Of two conditions.
    choice : str
        What is different.
    verdict, planned : Verdict
        The verdict of the row, and the planned one.

    Returns
    -------
    ChoiceRow
        Without an interval the change as read, and why.
    """
    c = result.compared
    changed = verdict.words != planned.words
    if c.difference is None:
        share = None if math.isnan(c.observed_percent) else c.observed_percent
        return ChoiceRow(
            choice, c.observed, None, None, share, None, None, verdict.words, verdict.kind, changed,
            note=c.why_no_interval,
        )  # fmt: skip
    d, p = c.difference, c.percent
    share, low, high = (None, None, None) if p is None else (p.value, p.low, p.high)
    return ChoiceRow(
        choice, d.value, d.low, d.high, share, low, high, verdict.words, verdict.kind, changed, note=c.why_no_percent
    )  # fmt: skip


def exact_interval(c: Comparison, better: str) -> Interval:
    """Interval that inverts the exact test of the design, widened by the errors that the units share.

    Parameters
    ----------
    c : Comparison
        With an exact test beside its t.
    better : {"lower", "higher"}
        Which way is better.

    Returns
    -------
    Interval
        Of the saving.

    Raises
    ------
    DoesNotApplyError
        Where the design has no exact test, or so few units cannot reach the confidence.

    Notes
    -----
    The exact interval knows the scatter between units alone. Each of its arms and the expanded uncertainty of the
    shared errors are added in quadrature (an approximation of ours, no source); an arm is at least what the readings
    alone would cause.
    """
    d = c.difference
    if d is None:
        raise DoesNotApplyError(f"no interval: {c.why_no_interval}")
    if c.exact is None or c.design not in {"paired", "independent", "controls", "single"}:
        raise DoesNotApplyError("there is no exact test of such a comparison, or too many relabellings to count")
    ends = c.exact.interval(d.confidence)
    if not all(map(math.isfinite, ends)):
        raise DoesNotApplyError(
            f"so few units cannot reach {100 * d.confidence:g} %: the smallest exact p is {c.exact.smallest_p:.2g}"
        )
    low, high = ends if better == "lower" else (-ends.high, -ends.low)
    floor, shared = Term(d._spread.floor), combine(list(d._spread.shared.values()))
    least, more = (coverage_factor(term, d.confidence) * term.standard_uncertainty for term in (floor, shared))
    arms = [math.hypot(max(arm, least), more) for arm in (d.value - low, high - d.value)]
    return Interval(d.value - arms[0], d.value + arms[1])


def log_ratio_percent(result: Result) -> Estimate:
    """Saving in percent by the mean over the units of the logarithm of their levels.

    Parameters
    ----------
    result : Result
        Of two conditions.

    Returns
    -------
    Estimate
        Paired: 100 (1 - geometric mean of the articles' ratios); independent: by the ratio of the geometric means.

    Raises
    ------
    DoesNotApplyError
        Where there is no percentage, or one unit only.

    Notes
    -----
    Errors that the units share are those of the ratio of means, by the delta method at the means.
    """
    c = result.compared
    if c.percent is None:
        raise DoesNotApplyError(f"no percentage: {c.why_no_percent}")
    cells, contrast = _cells(result)
    if contrast is None:
        raise DoesNotApplyError("one article, or a design without it: there are no ratios to average")
    if cells.min() <= 0:
        raise DoesNotApplyError("a level is not above zero, so it has no logarithm")
    planned = c.percent
    spread = Spread(contrast.scatter(np.log(cells)), planned._spread.floor, planned._spread.shared)
    centre = -contrast.value(np.log(cells))
    return make_estimate(centre, spread, planned.confidence, unit="%", kind=planned._kind)


def _cells(result: Result) -> tuple[Array, Contrast | None]:
    """Unit values in one row, and the contrast of the design over them."""
    keys, design = result.settings.comparison, result.compared.design
    counts = [
        sum(u.condition == condition and u.group == group for u in result.units)
        for group in ("treated", "control")
        for condition in (keys.before, keys.after)
    ]
    cells = np.array([u.value for u in result.units])
    contrast = None
    if min(counts[:2]) > 1:
        if design == "paired":
            contrast = paired_contrast(counts[0])
        elif design == "controls":
            contrast = controlled_contrast(counts[0], counts[2])
        elif design in {"independent", "single"}:
            contrast = group_contrast(counts[0], counts[1])
    return cells, contrast
