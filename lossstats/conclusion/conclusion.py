"""From the runs of a trial to its result: levels, corrections, one value a unit, comparison, statement."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lossstats.budgets.declared_bench import display_step
from lossstats.comparison.comparison import (
    Comparison,
    compare_crossover,
    compare_groups,
    compare_pairs,
    compare_single,
    compare_with_controls,
)
from lossstats.comparison.statement import make_statement
from lossstats.conclusion.looks import earlier_looks, look_notes
from lossstats.conclusion.plausibility import plausibility_remarks
from lossstats.conclusion.result import FOLDER, Result, RunResult, versions
from lossstats.conclusion.saving_budget import SavingBudget, make_saving_budget
from lossstats.conclusion.shared_errors import SharedErrors, shared_errors
from lossstats.corrections.corrected_levels import correct_levels
from lossstats.corrections.drift import DriftCorrection
from lossstats.corrections.unit_table import UnitTable
from lossstats.records.rendering import counted
from lossstats.run_plan.plan_record import NO_PLAN_IN_SCOPE, plan_record
from lossstats.several.ranking import Ranking, rank_conditions
from lossstats.several.ranking_statement import make_ranking_statement
from lossstats.trial_folder.trial import Run, Trial

if TYPE_CHECKING:
    from lossstats.comparison.statement import Statement
    from lossstats.one_run.reduced_runs import ReducedRun
    from lossstats.trial_folder.settings import Settings

Progress = Callable[[Any], Any]
Array = NDArray[np.float64]


class NotSettledError(ValueError):
    """Runs that are still moving at their end, under the rule that refuses them.

    Parameters
    ----------
    runs : sequence of str
        Their names.
    rule : str
        The tolerance in words.
    """

    def __init__(self, runs: Sequence[str], rule: str) -> None:
        self.runs = tuple(runs)
        super().__init__(
            f"still moving at the end of the run: found {', '.join(runs)} ({rule}); accepted: longer runs, or a rule "
            "declared in trial.toml, settling.still_moving = 'leave out' or 'use with a note', which then stands in "
            "the result"
        )


def conclude(trial: Trial, reduced: Sequence[ReducedRun]) -> Result:
    """Everything after the runs are reduced to levels.

    Parameters
    ----------
    trial : Trial
        Settings and run sheet; its samples are not looked at again.
    reduced : sequence of ReducedRun, shape (runs,)
        Level, settling and screening of each run, in bench order.

    Returns
    -------
    Result
        Levels, drift, unit table, comparison, budget, verdict, statement; unrounded.

    Raises
    ------
    NotSettledError
        If a run is still moving and the trial declares no rule for that.
    ValueError
        If no usable run of a condition is left.
    """
    used, reasons = _usable(trial, reduced)
    levels = np.array([r.level.value for r in reduced])
    # A test run left out is still corrected, for the picture; a zero or reference run left out corrects nothing.
    kept = [i for i, run in enumerate(trial.runs) if used[i] or run.role == "test"]
    tests = [i for i, run in enumerate(trial.runs) if run.role == "test"]
    usable = [used[i] for i in tests]
    corrected = correct_levels(trial, reduced, kept, usable)
    drift, units = corrected.drift, corrected.units
    errors = shared_errors(trial.settings, [trial.runs[i] for i in kept], corrected)
    options = _options(trial.settings, units, errors, [reduced[i] for i in tests])
    several = trial.settings.comparison.design == "several"
    comparison = None if several else _compare(trial.settings, units, options, _after_first(trial))
    ranking = _rank(trial.settings, units, options) if several else None
    applied = dict(zip(kept, drift.applied.tolist(), strict=True))
    runs = tuple(
        _run_result(run, reduced[i], float(levels[i]), used[i], reasons[i], applied.get(i))
        for i, run in enumerate(trial.runs)
    )
    plan = plan_record(trial)
    earlier = earlier_looks(trial.folder / FOLDER if trial.folder else None, trial.sha256)
    counts = comparison.n if comparison is not None else _unit_counts(units, trial.settings)
    notes = (
        *trial.dropped_in_words,
        *_notes(runs, units, drift),
        *plausibility_remarks(trial),
        *corrected.notes,
        *(plan.notes if plan else ()),
        *look_notes(earlier, counts, trial.settings.comparison.planned_units),
    )
    statement = _state(trial.settings, comparison, ranking, notes)
    if plan is None:
        statement = replace(statement, scope=(*statement.scope, NO_PLAN_IN_SCOPE))
    return Result(
        name=trial.folder.name if trial.folder else "",
        settings=trial.settings,
        runs=runs,
        drift=drift,
        units=units.values,
        comparison=comparison,
        ranking=ranking,
        budget=_budget(trial.settings, comparison, ranking, errors),
        statement=statement,
        notes=notes,
        dropped=trial.dropped_in_words,
        earlier_looks=earlier,
        plan=plan,
        inputs=dict(trial.sha256),
        versions=versions(),
        _trial=trial,
    )


def reduce_trial(trial: Trial, *, progress: Progress | None = None) -> list[ReducedRun]:
    """Reduce every run of a trial to its level, by the rules that the trial declares.

    Parameters
    ----------
    trial : Trial
        Settings and runs.
    progress : callable, optional
        Wraps the iterable of runs.

    Returns
    -------
    list of ReducedRun
        Level, settling and screening of each run, in bench order, as `conclude` takes them.

    Raises
    ------
    ValueError
        If a run cannot be reduced; the message begins with its name.
    """
    from lossstats.one_run.reduced_runs import reduce_runs

    s = trial.settings
    limits = {name: (p.nominal - p.tolerance, p.nominal + p.tolerance) for name, p in s.operating_point.items()}
    try:
        return reduce_runs(
            [(run.time_s, run.values) for run in trial.runs],
            resolution=s.readings.resolution or (display_step(s.bench_model, trial.runs) if s.bench_model else 0.0),
            tolerance=s.settling.tolerance,
            final_window=s.settling.final_window,
            flagged_samples=s.screening.flagged_samples,
            # At zero load the operating point is not the nominal one.
            operating_points=[{} if run.role == "zero" else run.operating_point for run in trial.runs],
            limits=limits,
            progress=progress,
        )
    except ValueError as error:
        raise ValueError(_by_name(str(error), trial.runs)) from error


def _by_name(told: str, runs: Sequence[Run]) -> str:
    # What is told of the k-th run is told of its name and file.
    found = re.match(r"runs\[(\d+)\]: ", told)
    if not found:
        return told
    run = runs[int(found[1])]
    return f"run {run.name}{f' ({run.file})' if run.file else ''}: {told[found.end() :]}"


def _usable(trial: Trial, reduced: Sequence[ReducedRun]) -> tuple[list[bool], list[str]]:
    """Which runs go on, by the one rule that the trial declares for runs still moving."""
    s = trial.settings.settling
    moving = [r.settled.status == "moving" for r in reduced]
    if any(moving) and s.still_moving == "refuse":
        names = [run.name for run, m in zip(trial.runs, moving, strict=True) if m]
        raise NotSettledError(names, f"tolerance {s.tolerance:g} {trial.settings.trial.unit}")
    leave = s.still_moving == "leave out"
    return [not (m and leave) for m in moving], ["still moving at its end" if m and leave else "" for m in moving]


def _after_first(trial: Trial) -> frozenset[str]:
    """Articles whose first test run was in the condition after."""
    first: dict[str, str] = {}
    for run in trial.runs:
        if run.role == "test":
            first.setdefault(run.article, run.condition)
    return frozenset(name for name, condition in first.items() if condition == trial.settings.comparison.after)


def _unit_counts(units: UnitTable, settings: Settings) -> tuple[int, ...]:
    return tuple(len(units.part(condition)) for condition in settings.comparison.all_conditions)


def _options(
    settings: Settings, units: UnitTable, errors: SharedErrors, reduced: Sequence[ReducedRun]
) -> dict[str, Any]:
    """What goes with the unit values into any comparison."""
    keys = settings.comparison
    return {
        "confidence": keys.confidence,
        "matters": keys.difference_that_matters,
        "shared": errors.given,
        "better": settings.trial.better,
        "unit": settings.trial.unit,
        **_floors(units, reduced),
    }


def _compare(settings: Settings, units: UnitTable, options: dict[str, Any], after_first: frozenset[str]) -> Comparison:
    """The comparison that the declared design asks for; the data do not choose it."""
    keys = settings.comparison
    before, after = units.part(keys.before), units.part(keys.after)
    if keys.design == "paired":
        return compare_pairs(before, after, **options)
    if keys.design == "crossover":
        return compare_crossover(before, after, [name for name in before if name in after_first], **options)
    if keys.design == "independent":
        return compare_groups(before, after, **options)
    if keys.design == "controls":
        return compare_with_controls(
            before, after, units.part(keys.before, "control"), units.part(keys.after, "control"), **options
        )
    return _compare_one_article(settings, units, options)


def _rank(settings: Settings, units: UnitTable, options: dict[str, Any]) -> Ranking:
    """Three conditions or more; whether articles are blocks is declared."""
    keys = settings.comparison
    values = {name: units.part(name) for name in keys.all_conditions}
    return rank_conditions(values, control=keys.control, blocks=keys.blocks == "article", **options)


def _state(
    settings: Settings, comparison: Comparison | None, ranking: Ranking | None, notes: Sequence[str]
) -> Statement:
    if ranking is not None:
        return make_ranking_statement(settings, ranking, notes)
    assert comparison is not None  # one of the two was made  # noqa: S101
    return make_statement(settings, comparison, notes)


def _budget(
    settings: Settings, comparison: Comparison | None, ranking: Ranking | None, errors: SharedErrors
) -> SavingBudget:
    """Of the saving, or of the leading comparison of several."""
    keys, unit = settings.comparison, settings.trial.unit
    scatter = "scatter between the units: readings, mounting, and what drift differs from run to run are in it"
    if keys.design == "single" and keys.repeatability is not None:
        scatter = "repeatability of a mount, known from elsewhere"
    words = {
        "scatter": scatter,
        "readings": "noise of the readings within a run",
        "resolution": "display step of the readings",
        **errors.stated,
    }
    if ranking is not None:
        leading = ranking.leading
        return make_saving_budget(leading, None, leading._spread, words, unit=unit, type_a=errors.type_a)
    assert comparison is not None  # one of the two was made  # noqa: S101
    d = comparison.difference
    spread = None if d is None else d._spread
    why_none = comparison.why_no_interval
    return make_saving_budget(d, comparison.percent, spread, words, unit=unit, why_none=why_none, type_a=errors.type_a)


def _compare_one_article(settings: Settings, units: UnitTable, options: dict[str, Any]) -> Comparison:
    """One article: by a repeatability known from elsewhere, else by its mounts as units, else a description."""
    keys = settings.comparison
    before, after = units.part(keys.before), units.part(keys.after)
    if keys.repeatability is None and keys.unit_of_replication == "mount" and min(len(before), len(after)) > 1:
        only = "mounts are the units: the claim is for this article only"
        by_mounts = compare_groups(before, after, **options)
        return replace(by_mounts, design="single", notes=(only, *by_mounts.notes))
    mounts = tuple(
        sum(v.mounts for v in units.values if v.condition == condition) for condition in (keys.before, keys.after)
    )
    return compare_single(
        float(np.mean(list(before.values()))),
        float(np.mean(list(after.values()))),
        repeatability=keys.repeatability,
        repeatability_dof=keys.repeatability_dof,
        mounts=(mounts[0], mounts[1]),
        **options,
    )


def _floors(units: UnitTable, reduced: Sequence[ReducedRun]) -> dict[str, float]:
    """What the readings alone would make the unit values scatter: already inside the scatter, hence only a floor."""
    noise, step = (np.array([r.level.components.get(name, 0.0) for r in reduced]) for name in ("noise", "resolution"))
    per_cell = units.averaging**2 @ noise**2
    return {
        "level_uncertainty": float(np.sqrt(per_cell.mean())),
        # The rounding error of a mean does not average out over runs; its u is step / sqrt(12) at most.
        "resolution": float(np.sqrt(12) * (units.averaging @ step).mean()),
    }


def _run_result(run: Run, reduced: ReducedRun, level: float, used: bool, why: str, removed: float | None) -> RunResult:  # noqa: FBT001
    corrected = None if run.role == "zero" or removed is None else level - removed
    without = reduced.level_without_flagged
    return RunResult(
        run=run.name,
        start=run.start.isoformat(),
        role=run.role,
        article=run.article,
        condition=run.condition,
        mount=run.mount,
        bench_day=run.bench_day,
        file=run.file,
        remarks=run.remarks,
        used=used,
        why_not_used=why,
        level=reduced.level,
        settled=reduced.settled,
        screening=reduced.screening,
        level_without_flagged=None if without is None else without.value,
        corrected=corrected,
        drift_removed=None if corrected is None else removed,
    )


def _notes(runs: Sequence[RunResult], units: UnitTable, drift: DriftCorrection) -> tuple[str, ...]:
    """What the record shows of choices: runs and units left out, flags, drift."""
    out = [r.run for r in runs if not r.used]
    noted = [r.run for r in runs if r.used and r.settled.status == "moving"]
    undecided = [r.run for r in runs if r.used and r.settled.status == "undecided"]
    flagged = [r.run for r in runs if r.level_without_flagged is not None]
    notes = []
    for names, words in (
        (out, "left out by the declared rule, still moving at the end"),
        (noted, "used although still moving at the end, by the declared rule"),
        (undecided, "used although it cannot be told whether settled"),
        (flagged, "with flagged samples; levels with and without them are in the table of runs"),
    ):
        if names:
            notes.append(f"{counted(len(names), 'run')} {words}: {', '.join(names)}")
    return (*notes, *(f"unit left out: {text}" for text in units.left_out), *drift.notes)
