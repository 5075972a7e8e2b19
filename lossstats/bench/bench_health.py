"""Is the bench still the bench it was? A check standard held against limits from a stated base period."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from lossstats.bench.chart_limits import (
    FalseAlarms,
    SpreadFrom,
    chart_spread,
    moving_average,
    moving_average_sd,
    pooled_sd,
    repeatability_limit,
    simulate_false_alarms,
)
from lossstats.bench.chart_statement import chart_notes, conclude
from lossstats.bench.check_chart import Chart, ChartedCheck, Role, Rule, Stage
from lossstats.bench.check_entries import Check, is_date
from lossstats.bench.check_history import CheckHistory, make_check_history, read_check_history
from lossstats.one_run.stationary import lag_one
from lossstats.records.argument_checks import above_zero, open_share, refuse
from lossstats.records.estimate import Interval

if TYPE_CHECKING:
    import pandas as pd

FEWEST_BASE = 10


@dataclass(frozen=True)
class _Rules:
    base_count: int
    spread_from: SpreadFrom
    width: float
    weight: float
    ewma_width: float
    alpha: float


def check_standard_chart(
    history: CheckHistory | str | os.PathLike[str] | Mapping[str, Sequence[Any]] | pd.DataFrame,
    *,
    base_period: tuple[str, str] | int,
    bench: str | None = None,
    article: str | None = None,
    restart_after: Sequence[str] = (),
    spread_from: SpreadFrom = "moving range",
    width: float = 3.0,
    ewma_weight: float = 0.2,
    ewma_width: float = 3.0,
    repeatability_alpha: float = 0.0027,
) -> Chart:
    """Hold the checks of a bench against limits from a stated base period.

    Parameters
    ----------
    history : CheckHistory, path, mapping or DataFrame
        Checks, a CSV of them (`read_check_history`), or columns of them (`make_check_history`).
    base_period : (str, str) or int
        First and last ISO date of the checks that set the limits, or how many checks from the first on; 10 at least,
        20 to 30 are better. Fix it before the later checks are looked at.
    bench : str, optional
        Which bench, if the history has several.
    article : str, optional
        Which reference article, if the history has several.
    restart_after : sequence of str, optional
        Events, as the history spells them, after which limits are set anew from as many checks as the base period
        has, beginning with the check that bears the event.
    spread_from : {"moving range", "standard deviation"}
        Mean difference of neighbours over d2, or the standard deviation of the base period over c4.
    width : float, default 3.0
        Half width of the limits for single checks, in standard deviations.
    ewma_weight : float, default 0.2
        Weight of the newest check in the exponentially weighted moving average, above 0, at most 1.
    ewma_width : float, default 3.0
        Half width of its limits, in its own standard deviations, which grow with the checks since the base period.
    repeatability_alpha : float, default 0.0027
        Size of the F test of the scatter within each later check; the default is that of limits of width 3.

    Returns
    -------
    Chart
        Limits, checks outside by name of the rule, statement.

    Raises
    ------
    ValueError
        If the base period is too short, lies outside the history, does not scatter or holds an event of
        `restart_after`; if no check bears one of these; if the history mixes benches or articles; if an argument is
        out of range.

    Notes
    -----
    Single checks and moving average: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, 6.3.2.4, 2.2.2.1;
    repeatability: 2.2.3. Base checks are held against the limits for single checks and not against the average.

    The date since which results are suspect is that of the last check before the average went to the side of the
    alarm and stayed there (common practice).

    Not to be used for a reference article that wears, for values corrected by the same reference runs, or for
    checks made only when something seemed wrong; `Chart.not_for` has the list.
    """
    chosen = _chosen(_as_history(history), bench, article)
    _check_arguments(width, ewma_weight, ewma_width, repeatability_alpha)
    checks = chosen.checks
    _check_events(checks, restart_after)
    first, count = _base_place(checks, base_period)
    rules = _Rules(count, spread_from, width, ewma_weight, ewma_width, repeatability_alpha)
    starts = _stage_starts(checks, first, count, restart_after)
    pooled, pooled_dof = _pooled_repeatability(checks[first : first + count])
    charted: list[ChartedCheck] = _bare(checks[:first], "before the base period", 0, checks)
    stages = []
    for number, (start, stop) in enumerate(zip(starts, [*starts[1:], len(checks)], strict=True)):
        stage, members = _chart_stage(checks[start:stop], number, rules, checks)
        stages.append(stage)
        charted += members
    charted = [_with_repeatability(check, pooled, pooled_dof, rules.alpha) for check in charted]
    return _conclude(chosen, charted, stages, rules, (pooled, pooled_dof), restart_after)


def _as_history(history: Any) -> CheckHistory:
    if isinstance(history, CheckHistory):
        return history
    return read_check_history(history) if isinstance(history, str | os.PathLike) else make_check_history(history)


def _chosen(history: CheckHistory, bench: str | None, article: str | None) -> CheckHistory:
    chosen = history.only(bench=bench, article=article)
    for column, several in (("bench", "benches"), ("article", "articles")):
        names = list(dict.fromkeys(getattr(check, column) for check in chosen.checks))
        if len(names) > 1:
            raise ValueError(
                f"history: found checks of {len(names)} {several}, {', '.join(map(repr, names))}; accepted: one "
                f"{column} a chart, chosen by {column}={names[0]!r}"
            )
    return chosen


def _check_arguments(width: float, weight: float, ewma_width: float, alpha: float) -> None:
    for name, value in (("width", width), ("ewma_width", ewma_width)):
        above_zero(name, value)
    if not 0 < weight <= 1:
        refuse("ewma_weight", weight, "above 0, at most 1, usually 0.2 to 0.3")
    open_share("repeatability_alpha", alpha)


def _check_events(checks: Sequence[Check], restart_after: Sequence[str]) -> None:
    """Refuse events that no check bears: limits that were to be set anew would silently go on."""
    known = list(dict.fromkeys(check.event for check in checks if check.event))
    # A text by itself would match every event that is a part of it.
    strange = [restart_after] if isinstance(restart_after, str) else [e for e in restart_after if e not in known]
    if strange:
        listed = ", ".join(map(repr, known)) or "none, as the history has no event"
        refuse("restart_after", strange[0], f"a list of events of the history: {listed}")


def _base_place(checks: Sequence[Check], base_period: tuple[str, str] | int) -> tuple[int, int]:
    """Place of the first check of the base period, and how many it has."""
    if isinstance(base_period, int):
        first, count = 0, base_period
        if count > len(checks):
            raise ValueError(f"base_period: found {count} checks; accepted: at most the {len(checks)} of the history")
    else:
        low, high = base_period
        for day in base_period:
            if not is_date(day):
                raise ValueError(f"base_period: found {day!r}; accepted: an ISO 8601 date such as {checks[0].date}")
        places = [i for i, check in enumerate(checks) if low <= check.date <= high]
        if not places:
            raise ValueError(
                f"base_period: found no check from {low} to {high}; accepted: two ISO dates, the earlier first, within "
                f"{checks[0].date} to {checks[-1].date}"
            )
        first, count = places[0], len(places)
    if count < FEWEST_BASE:
        raise ValueError(_too_short(count))
    return first, count


def _too_short(count: int) -> str:
    shares = {n: 100 * simulate_false_alarms(n, 26).any_rule for n in (10, 20, 30, 0)}
    told = ", ".join(f"from {n} checks {share:.0f} %" for n, share in shares.items() if n)
    return (
        f"base_period: found {count} checks; accepted: at least {FEWEST_BASE}, better 20 to 30. Of benches that never "
        f"changed, limits alarm within 26 further checks in (simulated): {told}, known exactly {shares[0]:.0f} %"
    )


def _stage_starts(checks: Sequence[Check], first: int, count: int, restart_after: Sequence[str]) -> list[int]:
    events = [i for i, check in enumerate(checks) if check.event and check.event in restart_after and i > first]
    inside = [i for i in events if i < first + count]
    if inside:
        check = checks[inside[0]]
        raise ValueError(
            f"base_period: found {check.event!r} on {check.date} inside it; accepted: a base period without an event "
            "of restart_after, for example one that begins there"
        )
    return [first, *events]


def _pooled_repeatability(base: Sequence[Check]) -> tuple[float | None, float | None]:
    known = [(check.sd, check.n - 1) for check in base if check.sd is not None and check.n is not None]
    if not known:
        return None, None
    sd, dof = pooled_sd(np.array([s for s, _ in known]), np.array([float(d) for _, d in known]))
    return (sd, dof) if sd > 0 else (None, None)


def _days(check: Check | ChartedCheck, before: Check | ChartedCheck) -> int:
    return (date.fromisoformat(check.date) - date.fromisoformat(before.date)).days


def _bare(members: Sequence[Check], role: Role, stage: int, checks: Sequence[Check]) -> list[ChartedCheck]:
    before = dict(zip((check.date for check in checks[1:]), checks, strict=False))
    return [
        ChartedCheck(
            check.date,
            check.value,
            check.sd,
            check.n,
            check.event,
            _days(check, before[check.date]) if check.date in before else None,
            stage,
            role,
        )
        for check in members
    ]


def _chart_stage(
    members: Sequence[Check], number: int, rules: _Rules, checks: Sequence[Check]
) -> tuple[Stage, list[ChartedCheck]]:
    """Limits of one stage from its own base period, and its checks held against them."""
    count = rules.base_count
    ends = members[0].date, members[-1].date
    if len(members) < count:
        stage = Stage(*ends, base_count=len(members))
        return stage, _bare(members, "limits not set", number, checks)
    values = np.array([check.value for check in members])
    base = values[:count]
    centre, sd = float(base.mean()), chart_spread(base, rules.spread_from)
    if not sd > 0:
        raise ValueError(
            f"base_period: found {count} equal values, {members[0].value:g}; accepted: checks recorded to finer steps "
            "than they scatter"
        )
    half = rules.width * sd
    stage = Stage(
        *ends,
        base_first=members[0].date,
        base_last=members[count - 1].date,
        base_count=count,
        centre=centre,
        sd=sd,
        limits=Interval(centre - half, centre + half),
        lag_one=lag_one(base),
        judged=len(members) - count,
    )
    charted = [*_bare(members[:count], "base", number, checks), *_bare(members[count:], "judged", number, checks)]
    charted = [_with_limits(check, centre, half) for check in charted]
    averages = moving_average(values[count:], centre, rules.weight)
    reach = rules.ewma_width * sd * moving_average_sd(len(averages), rules.weight)
    pairs = zip(charted[count:], averages.tolist(), reach.tolist(), strict=True)
    return stage, [*charted[:count], *(_with_average(check, centre, z, h) for check, z, h in pairs)]


def _with_rule(check: ChartedCheck, rule: Rule, *, broken: bool) -> ChartedCheck:
    return replace(check, outside=(*check.outside, rule)) if broken else check


def _with_limits(check: ChartedCheck, centre: float, half: float) -> ChartedCheck:
    broken = abs(check.value - centre) > half
    return _with_rule(replace(check, low=centre - half, high=centre + half), "individuals", broken=broken)


def _with_average(check: ChartedCheck, centre: float, average: float, half: float) -> ChartedCheck:
    check = replace(check, ewma=average, ewma_low=centre - half, ewma_high=centre + half)
    return _with_rule(check, "EWMA", broken=abs(average - centre) > half)


def _with_repeatability(check: ChartedCheck, pooled: float | None, dof: float | None, alpha: float) -> ChartedCheck:
    tested = check.role in ("judged", "limits not set")
    if not tested or check.sd is None or check.n is None or pooled is None or dof is None:
        return check
    limit = repeatability_limit(pooled, dof, check.n - 1, alpha)
    return _with_rule(replace(check, sd_high=limit), "repeatability", broken=check.sd > limit)


def _conclude(
    history: CheckHistory,
    charted: list[ChartedCheck],
    stages: list[Stage],
    rules: _Rules,
    repeatability: tuple[float | None, float | None],
    restart_after: Sequence[str],
) -> Chart:
    """Put the chart together with what may be said of it."""
    further = max([stage for stage in stages if stage.limits is not None][-1].judged, 1)
    alarms = _alarms(rules.base_count, further, rules)
    first = history.checks[0]
    said = conclude(charted, stages, history.unit)
    return Chart(
        checks=tuple(charted),
        stages=tuple(stages),
        unit=history.unit,
        bench=first.bench,
        article=first.article,
        in_control=said.in_control,
        left_control=said.left_control,
        suspect_since=said.suspect_since,
        width=rules.width,
        weight=rules.weight,
        ewma_width=rules.ewma_width,
        spread_from=rules.spread_from,
        pooled_sd=repeatability[0],
        pooled_dof=repeatability[1],
        repeatability_alpha=rules.alpha,
        false_alarms=alarms,
        nominal_alarms=_alarms(0, further, rules),
        statement=said.statement,
        notes=(*chart_notes(charted, stages, rules.spread_from, restart_after), *history.notes),
    )


def _alarms(base: int, further: int, rules: _Rules) -> FalseAlarms:
    return simulate_false_alarms(
        base,
        further,
        spread_from=rules.spread_from,
        width=rules.width,
        weight=rules.weight,
        average_width=rules.ewma_width,
    )
