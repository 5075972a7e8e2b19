"""What may be said of a bench from its chart: the statement, the date since which results are suspect, the remarks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from lossstats.bench.check_chart import ChartedCheck, Stage, check_outside, outside_words
from lossstats.records.rendering import decimals_for, shown

LONG_GAP = 2.5  # usual intervals between checks


class Conclusion(NamedTuple):
    """What the last stage of a chart says of the bench.

    Attributes
    ----------
    in_control : bool or None
        None where nothing was judged.
    left_control, suspect_since : str or None
        Dates of the first check outside, and of the last check that speaks for the bench as it was.
    statement : str
        In words.
    """

    in_control: bool | None
    left_control: str | None
    suspect_since: str | None
    statement: str


def conclude(charted: list[ChartedCheck], stages: list[Stage], unit: str) -> Conclusion:
    """Say whether the bench is in control, and since when it is not.

    Parameters
    ----------
    charted : list of ChartedCheck
        Every check with its limits.
    stages : list of Stage
        In the order of time.
    unit : str
        Unit of the values.

    Returns
    -------
    Conclusion
        Of the last stage; the statement also speaks of checks outside in the stages before.
    """
    number, stage = len(stages) - 1, stages[-1]
    places = decimals_for(next(s.sd for s in reversed(stages) if s.sd is not None))
    tested = _tested(charted, number)
    signals = [check for check in tested if check.outside]
    suspect = _suspect_since(charted, signals[0], stage) if signals else None
    if signals and suspect is not None:
        said = _left(signals, suspect, places, unit)
    elif stage.limits is None:
        said = (
            f"Not judged: limits are set anew since {stage.first}, and there are {stage.base_count} checks since; "
            "until there are enough, the bench is not shown to be in control."
        )
    elif not tested:
        said = "Not judged: there is no check after the base period."
    else:
        who = f"all {len(tested)} checks" if len(tested) > 1 else "the one check"
        span = f"{tested[0].date} to {tested[-1].date}" if len(tested) > 1 else tested[0].date
        lie = "lie" if len(tested) > 1 else "lies"
        said = f"The bench is in control: {who} after the base period ({span}) {lie} within the limits."
    in_control = False if signals else (True if stage.judged else None)
    sentences = [said, *_base_sentence(charted, stages), *_earlier_sentences(charted, stages)]
    return Conclusion(in_control, signals[0].date if signals else None, suspect, " ".join(sentences))


def _tested(charted: list[ChartedCheck], number: int) -> list[ChartedCheck]:
    return [check for check in charted if check.stage == number and check.role in ("judged", "limits not set")]


def _left(signals: list[ChartedCheck], suspect: str, places: int, unit: str) -> str:
    words = "; ".join(outside_words(one, places, unit) for one in check_outside(signals[0]))
    more = len(signals) - 1
    count = "one later check lies" if more == 1 else f"{more} later checks lie"
    later = f", and {count} outside too, the last on {signals[-1].date}" if more else ""
    return (
        f"The bench left control on {signals[0].date} ({words}){later}. Results measured after {suspect} are not to be "
        "used for claims until the cause is found."
    )


def _base_sentence(charted: list[ChartedCheck], stages: list[Stage]) -> list[str]:
    in_force = max(number for number, stage in enumerate(stages) if stage.limits is not None)
    bad = [check.date for check in charted if check.role == "base" and check.stage == in_force and check.outside]
    if not bad:
        return []
    return [f"The base period itself is not in control ({', '.join(bad)}): find the cause before its limits are used."]


def _earlier_sentences(charted: list[ChartedCheck], stages: list[Stage]) -> list[str]:
    sentences = []
    for number, stage in enumerate(stages[:-1]):
        signals = [check for check in _tested(charted, number) if check.outside]
        if signals:
            suspect = _suspect_since(charted, signals[0], stage)
            sentences.append(
                f"Before {stages[number + 1].first} the bench had left control on {signals[0].date}: results measured "
                f"after {suspect} and before {stages[number + 1].first} stay out of claims."
            )
    return sentences


def _suspect_since(charted: list[ChartedCheck], signal: ChartedCheck, stage: Stage) -> str:
    """Date of the last check before the average went to the side of the alarm and stayed there."""
    place = charted.index(signal)
    if stage.centre is not None and signal.ewma is not None and signal.outside != ("repeatability",):
        above = signal.ewma > stage.centre
        while (before := charted[place - 1].ewma) is not None and (before > stage.centre) == above:
            if charted[place - 1].stage != signal.stage:
                break
            place -= 1
    return charted[place - 1].date


def chart_notes(
    charted: list[ChartedCheck], stages: list[Stage], spread_from: str, restart_after: Sequence[str]
) -> tuple[str, ...]:
    """Gather remarks on the base period, on gaps and on events.

    Parameters
    ----------
    charted : list of ChartedCheck
        Every check with its limits.
    stages : list of Stage
        In the order of time.
    spread_from : str
        How the standard deviation was estimated.
    restart_after : sequence of str
        Events that set the limits anew.

    Returns
    -------
    tuple of str
        One a remark.
    """
    return (
        *(_dependence_note(stage, spread_from) for stage in stages if stage.lag_one is not None),
        *_step_note(charted),
        *_gap_notes(charted),
        *_event_notes(charted, stages, restart_after),
    )


def _dependence_note(stage: Stage, spread_from: str) -> str:
    r, bound = stage.lag_one or 0.0, 1.96 / math.sqrt(stage.base_count)
    told = f"lag-1 autocorrelation of the base period from {stage.base_first}: {shown(r, 2)}"
    if abs(r) <= bound:
        return f"{told}, within the ±{bound:.2f} of independent checks"
    if r < 0:
        return f"{told}, beyond the −{bound:.2f} of independent checks: neighbours swing; limits are too wide"
    seen = f"the moving range sees only {100 * math.sqrt(1 - r):.0f} % of the spread, and " * ("range" in spread_from)
    return (
        f"{told}, beyond the {bound:.2f} of independent checks: {seen}the moving average strays further than its "
        "limits allow; expect more false alarms, and look for a drift or a season in the base period"
    )


def _step_note(charted: list[ChartedCheck]) -> list[str]:
    """Values in steps coarser than their scatter make limits that are too narrow or too wide by chance."""
    base = np.unique([check.value for check in charted if check.role == "base"])
    steps = np.diff(base)
    if len(base) > 5 or not len(steps):
        return []
    return [f"the base period has only {len(base)} different values, {steps.min():.2g} apart: record the checks finer"]


def _gap_notes(charted: list[ChartedCheck]) -> list[str]:
    days = [check.days for check in charted if check.days is not None]
    if not days:
        return []
    usual = float(np.median(days))
    return [
        f"no check in the {check.days} days before {check.date} (usually {usual:g} days apart); nothing is known of "
        "the bench in between"
        for check in charted
        if check.days is not None and check.days > LONG_GAP * usual
    ]


def _event_notes(charted: list[ChartedCheck], stages: list[Stage], restart_after: Sequence[str]) -> list[str]:
    base = [check for check in charted if check.role == "base" and check.event and check.stage == 0]
    notes = [f"{check.event} on {check.date}, inside the base period: its limits span it" for check in base]
    notes += [f"limits set anew after {stage.first}" for stage in stages[1:]]
    kept = [check for check in charted if check.event and check.role == "judged" and check.event not in restart_after]
    notes += [f"{check.event} on {check.date}: the limits go on as before" for check in kept]
    return notes
