"""What was done held against what was planned: every departure in plain words."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from lossstats.records.rendering import plain
from lossstats.run_plan.order_checks import too_early, unbracketed
from lossstats.trial_folder.faults import quoted
from lossstats.trial_folder.plan_file import SealedPlan, json_values, planned_settings
from lossstats.trial_folder.plan_times import OrderedRun

if TYPE_CHECKING:
    from lossstats.trial_folder.settings import PlanKeys, Settings
    from lossstats.trial_folder.trial import Run, Trial

_PARTS = ("role", "article", "condition", "mount")
# A run shorter or longer than planned by more than this part of it is named.
LENGTH_TOLERANCE = 0.1
# Tables that plans sealed by the first version of the kit do not hold.
_ONCE_LEFT_OUT = ("log", "scope")


def departures(plan: SealedPlan, trial: Trial) -> tuple[str, ...]:
    """Name everything in which what was done departs from what was planned.

    Parameters
    ----------
    plan : SealedPlan
        From `read_plan`.
    trial : Trial
        From `read_trial`.

    Returns
    -------
    tuple of str
        Settings first, then runs in bench order. Starts may differ within their day, lengths of runs by a tenth
        (`LENGTH_TOLERANCE`), file names and remarks freely.
    """
    return (
        *_changed_settings(plan.settings, trial.settings),
        *_changed_runs(plan.runs, trial),
        *_order_changes(plan.runs, trial.runs),
        *_other_days(plan.runs, trial.runs),
        *_other_lengths(plan.keys, trial.runs),
        *_broken_rules(plan, trial),
    )


def _changed_settings(planned: dict[str, Any], settings: Settings) -> Iterator[str]:
    found = planned_settings(settings)
    defaults = _default_tables(settings)
    for table in dict.fromkeys([*planned, *found]):
        if table not in planned and table in _ONCE_LEFT_OUT:
            yield f"trial.toml: this plan was sealed without [{table}]; a change there shows nowhere"
            continue
        if planned.get(table) and not found.get(table):
            yield f"trial.toml: the table [{table}] is there no longer"
            continue
        old, new = dict(_leaves(planned.get(table))), dict(_leaves(found.get(table)))
        if table == "log" and old != new and old == defaults[table]:
            # The form of a log may not be known before the first run.
            filled = "; ".join(f"{key} {_told(new[key])}" for key in new if new[key] != old.get(key))
            yield f"trial.toml: table [log], at its defaults when the plan was sealed, was filled in later: {filled}"
            continue
        for key in dict.fromkeys([*old, *new]):
            # A key that a later version of the kit brought, at its default, is no change.
            before = old.get(key, defaults.get(table, {}).get(key) if table in planned else None)
            if before != new.get(key):
                where = ".".join(filter(None, (table, key)))
                yield f"trial.toml, key {where}: planned {_told(before)}, found {_told(new.get(key))}"


def _default_tables(settings: Settings) -> dict[str, dict[str, Any]]:
    tables = {}
    for table in dataclasses.fields(settings):
        item = getattr(settings, table.name)
        if dataclasses.is_dataclass(item):
            values = {f.name: f.default for f in dataclasses.fields(item) if f.default is not dataclasses.MISSING}
            tables[table.name] = dict(_leaves(json_values(plain(values))))
    return tables


def _leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _leaves(item, f"{path}.{key}" if path else key)
    elif value is not None:
        yield path, value


def _told(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return f"[{', '.join(_told(item) for item in value)}]"
    return quoted(value) if isinstance(value, str) else f"{value:.10g}"


def _what(run: OrderedRun | Run) -> str:
    words = [run.article, run.condition, f"mount {run.mount}" if run.mount else ""]
    return " ".join([run.role, *filter(None, words)])


def _changed_runs(planned: Sequence[OrderedRun], trial: Trial) -> Iterator[str]:
    made = {run.name: run for run in trial.runs}
    dropped = {row.run: row.remarks.strip() for row in trial.dropped}
    for run in planned:
        other = made.pop(run.run, None)
        if other is None and run.run in dropped:
            yield f"run {run.run} ({_what(run)}): planned, dropped ({dropped[run.run]})"
            continue
        if other is None:
            yield f"run {run.run} ({_what(run)}): planned, not made"
            continue
        for part in _PARTS:
            old, new = getattr(run, part), getattr(other, part)
            if old != new:
                yield f"run {run.run}: {part} planned {quoted(old)}, found {quoted(new)}"
    for name, extra in made.items():
        yield f"run {name} ({_what(extra)}): made, not planned"


def _order_changes(planned: Sequence[OrderedRun], done: Sequence[Run]) -> Iterator[str]:
    places = {run.run: k for k, run in enumerate(planned)}
    names = [run.name for run in done if run.name in places]
    for before, name in pairwise(names):
        if places[name] < places[before]:
            yield f"run {name}: made after run {before}, planned before it"


def _other_days(planned: Sequence[OrderedRun], done: Sequence[Run]) -> Iterator[str]:
    days = {run.run: run.bench_day for run in planned}
    moved: dict[tuple[str, str], list[str]] = {}
    for run in done:
        if run.name in days and days[run.name] != run.bench_day:
            moved.setdefault((days[run.name], run.bench_day), []).append(run.name)
    for (old, new), names in moved.items():
        which = f"run {names[0]}" if len(names) == 1 else f"{len(names)} runs ({', '.join(names)})"
        yield f"{which}: planned for {old}, made on {new}"


def _other_lengths(keys: PlanKeys, done: Sequence[Run]) -> Iterator[str]:
    apart: dict[float, dict[str, float]] = {}
    for run in done:
        planned = keys.zero_minutes if run.role == "zero" else keys.run_minutes
        minutes = _length_min(run)
        if abs(minutes - planned) > LENGTH_TOLERANCE * planned:
            apart.setdefault(planned, {})[run.name] = minutes
    for planned, lengths in apart.items():
        names, low, high = list(lengths), min(lengths.values()), max(lengths.values())
        which = f"run {names[0]}" if len(names) == 1 else f"{len(names)} runs ({', '.join(names)})"
        lasted = f"{low:.3g} min" if f"{low:.3g}" == f"{high:.3g}" else f"{low:.3g} to {high:.3g} min"
        yield f"{which}: planned {planned:.3g} min long, lasted {lasted}"


def _length_min(run: Run) -> float:
    """From the first sample to the end of the last one, which stands for a whole spacing."""
    n = len(run.time_s)
    return float(run.time_s[-1] - run.time_s[0]) * n / (n - 1) / 60 if n > 1 else 0.0


def _broken_rules(plan: SealedPlan, trial: Trial) -> Iterator[str]:
    # The planned hours and brackets on what was done; the keys of the plan are those that were sealed.
    settings = dataclasses.replace(trial.settings, plan=plan.keys)
    runs = [_as_ordered(run) for run in trial.runs]
    yield from too_early(runs, settings)
    yield from unbracketed(runs, settings)


def _as_ordered(run: Run) -> OrderedRun:
    lasts = float(run.time_s[-1]) if len(run.time_s) else 0.0
    end = run.start + timedelta(seconds=lasts)
    return OrderedRun(run.name, run.start, end, run.role, run.article, run.condition, run.mount)
