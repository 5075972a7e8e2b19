"""Rehearsing a plan from settled levels beside a plain loop over trials simulated with all their samples."""

from __future__ import annotations

import statistics
from collections.abc import Iterator
from functools import partial

import numpy as np
from timed_row import TimedRow

from lossstats.conclusion.analysis import analyse
from lossstats.rehearsal.rehearsal import Rehearsal, rehearse
from lossstats.rehearsal.rehearsed_bench import usual_bench
from lossstats.rehearsal.rehearsed_plan import make_rehearsed_plan
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.simulator.simulate import simulate_trial
from lossstats.trial_folder.settings import ComparisonKeys, PlanKeys, ReadingsKeys, Settings, TrialKeys

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.08, "run": 0.04}
SAVING = 0.25
# Six articles before and after, a reference run after every block: 19 runs of 40 samples.
SETTINGS = Settings(
    TrialKeys("What does the treatment save?", note="Simulated readings of an invented bench."),
    ComparisonKeys("before", "after", "paired", difference_that_matters=SAVING),
    readings=ReadingsKeys(0.01, (30.0,)),
    plan=PlanKeys("2031-03-03T08:00:00+01:00", tuple(f"K{k:02d}" for k in range(1, 7)), one_way=False, reference="REF"),
)
Row = partial(TimedRow, pairs=3)


def from_levels(trials: int) -> Rehearsal:
    return rehearse(SETTINGS, trials, components=SPREAD)


def loop(trials: int) -> list[float]:
    """Half-widths at no saving and at the saving, one trial after the other with every sample."""
    plan = make_rehearsed_plan(SETTINGS, lay_out_runs(SETTINGS), SPREAD, SAVING, usual_bench())
    rng, found = np.random.default_rng(1), []
    for saving in (0.0, SAVING):
        for _ in range(trials):
            trial, _ = simulate_trial(plan.at(saving), rng=rng)
            difference = analyse(trial).comparison.difference
            found.append((difference.high - difference.low) / 2)
    return found


def agree(trials: int) -> bool:
    """Medians of the half-width: that of ours is known to some 3 %, that of the loop to 1.25 / sqrt(10 n) of itself."""
    ours = from_levels(200)
    half_widths = [part.half_width.value for part in (ours.none, ours.some) if part.half_width is not None]
    allowed = 0.1 + 4 * 1.25 / (2 * 5 * 2 * trials) ** 0.5
    return abs(statistics.median(loop(trials)) / statistics.mean(half_widths) - 1) < allowed


def rows() -> Iterator[TimedRow]:
    n = 10
    yield Row(
        f"rehearsal of a plan of 19 runs, {n} trials at each saving", "loop: simulate every sample, analyse",
        lambda: from_levels(n), lambda: loop(n), lambda: agree(n), "≥ 20",
    )  # fmt: skip
    yield Row(
        "rehearsal of a plan of 19 runs, 1 000 trials at each saving", "", lambda: from_levels(1000), None,
        lambda: True, "≤ 6 s",
    )  # fmt: skip
