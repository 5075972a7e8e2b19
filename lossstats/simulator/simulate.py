"""Bench simulator with known truth: one run, the levels of many trials, or a whole trial in memory."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lossstats.records.rendering import Record, shown
from lossstats.simulator.simulated_drift import (
    BowDrift,
    Drift,
    LinearDrift,
    StepDrift,
    WalkDrift,
    WarmUpDrift,
)
from lossstats.simulator.simulated_levels import SimulatedLevels, draw_levels, samples_of, simulate_levels
from lossstats.simulator.simulated_order import lay_out, lay_out_blocks
from lossstats.simulator.simulated_plan import (
    Articles,
    Bench,
    Plan,
    PlannedRun,
    Power,
    Readings,
    declare,
)
from lossstats.simulator.simulated_readings import Approach, Display, Faults, Noise, logged, simulate_run

if TYPE_CHECKING:
    from lossstats.trial_folder.trial import Run, Trial

__all__ = [
    "Approach",
    "Articles",
    "Bench",
    "BowDrift",
    "Display",
    "Drift",
    "Faults",
    "LinearDrift",
    "Noise",
    "Plan",
    "PlannedRun",
    "Power",
    "Readings",
    "SimulatedLevels",
    "StepDrift",
    "Truth",
    "WalkDrift",
    "WarmUpDrift",
    "declare",
    "lay_out",
    "lay_out_blocks",
    "simulate_levels",
    "simulate_run",
    "simulate_trial",
]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Truth(Record):
    """What a simulated trial was made with; levels in the measurand's unit.

    Attributes
    ----------
    saving, saving_percent : float
        Of the population: level before minus level after, and in percent of the level before.
    savings : dict of str to float
        Of the population: level before minus level in each other condition, by its name.
    saving_of_articles, saving_of_articles_percent : float
        Of the very articles in the trial: mean over those before minus mean over those after, controls left aside.
    articles : dict
        True level of each article in each condition in which it was run: ``articles["K01"]["before"]``.
    levels : dict
        True level of each run by its name, article, mount and run effect in it, at the nominal input power; what
        an errorless bench would show.
    drift : dict
        Drift of the bench at the start of each run, day shift included, as a zero run sees it where it is one.
    shown : dict
        Level to which the readings of each run settle: power, gain, zero and drift in it.
    gain, zero : float
        Relative error of the calibration factor; zero error.
    """

    title = "Truth of a simulated trial"

    saving: float
    saving_percent: float
    savings: dict[str, float]
    saving_of_articles: float
    saving_of_articles_percent: float
    articles: dict[str, dict[str, float]]
    levels: dict[str, float]
    drift: dict[str, float]
    shown: dict[str, float]
    gain: float
    zero: float

    def _rows(self) -> list[tuple[str, str]]:
        drifts = self.drift.values()
        return [
            ("saving, population", f"{shown(self.saving, 3)} ({shown(self.saving_percent, 2)} %)"),
            *((f"saving, population, {name}", shown(saving, 3)) for name, saving in list(self.savings.items())[1:]),
            (
                "saving, these articles",
                f"{shown(self.saving_of_articles, 3)} ({shown(self.saving_of_articles_percent, 2)} %)",
            ),
            ("relative gain error", f"{shown(100 * self.gain, 2)} %"),
            ("zero error", shown(self.zero, 3)),
            ("drift, lowest and highest", f"{shown(min(drifts), 3)} and {shown(max(drifts), 3)}"),
            ("runs", str(len(self.levels))),
        ]


def simulate_trial(plan: Plan, *, rng: np.random.Generator | int) -> tuple[Trial, Truth]:
    """Simulate a whole trial with all its samples, and tell the truth it was made with.

    Parameters
    ----------
    plan : Plan
        What is simulated.
    rng : Generator or int
        Source of randomness; the same integer gives the same trial.

    Returns
    -------
    trial : Trial
        In memory, as `read_trial` would give it; its folder is None.
    truth : Truth
        The truth.
    """
    from lossstats.trial_folder.trial import Trial

    rng = np.random.default_rng(rng)
    drawn = draw_levels(plan, rng, 1)
    settings = plan.settings or declare(plan)
    return Trial(None, settings, _trial_runs(plan, drawn, rng), {}), _truth(drawn)


def _truth(drawn: SimulatedLevels) -> Truth:
    plan = drawn.plan
    names = [run.name for run in plan.runs]

    def by_run(table: Array) -> dict[str, float]:
        return dict(zip(names, table[0].tolist(), strict=True))

    articles: dict[str, dict[str, float]] = {}
    for run in plan.runs:
        if run.role == "test":
            row, side = drawn.article_names.index(run.article), plan.conditions.index(run.condition)
            articles.setdefault(run.article, {})[run.condition] = float(drawn.article_levels[0, row, side])
    saving = float(drawn.saving_of_articles[0])
    treated = [levels[plan.before] for name, levels in articles.items() if _counts(plan, name, levels)]
    return Truth(
        saving=drawn.saving,
        saving_percent=drawn.saving_percent,
        savings=dict(zip(plan.conditions[1:], (plan.articles.saving, *plan.articles.other_savings), strict=True)),
        saving_of_articles=saving,
        saving_of_articles_percent=100 * saving / (sum(treated) / len(treated)),
        articles=articles,
        levels=by_run(drawn.true),
        drift=by_run(drawn.drift),
        shown=by_run(drawn.shown),
        gain=float(drawn.gain[0]),
        zero=float(drawn.zero[0]),
    )


def _counts(plan: Plan, name: str, levels: dict[str, float]) -> bool:
    return plan.before in levels and name not in plan.controls


def _trial_runs(plan: Plan, drawn: SimulatedLevels, rng: np.random.Generator) -> tuple[Run, ...]:
    from lossstats.trial_folder.trial import Run

    longest = max(samples_of(plan, run) for run in plan.runs)
    time_s = np.arange(longest, dtype=np.float64) * plan.readings.interval_s
    power = _power_samples(plan, drawn, longest, rng)
    values = _before_display(plan, drawn, power, time_s, rng)
    runs = []
    for k, run in enumerate(plan.runs):
        n = samples_of(plan, run)
        times, readings = logged(time_s[:n], values[k, :n], plan.readings.display, run.faults)
        columns = {}
        if plan.power is not None:
            recorded = np.zeros(n) if run.role == "zero" else power[k, :n]  # nothing fitted: no power goes in
            columns[plan.power.name] = Display(plan.power.step).show(recorded[run.faults.kept(n)])
        runs.append(
            Run(
                name=run.name,
                start=run.start,
                role=run.role,
                article=run.article,
                condition=run.condition,
                mount=run.mount,
                remarks=run.remarks,
                file=f"samples/{run.name}.csv",
                time_s=times,
                values=readings,
                operating_point=columns,
            )
        )
    return tuple(runs)


def _power_samples(plan: Plan, drawn: SimulatedLevels, samples: int, rng: np.random.Generator) -> Array:
    power = np.repeat(drawn.power[0][:, None], samples, axis=1)
    if plan.power is not None and plan.power.within_sd:
        power += Noise(plan.power.within_sd, 0.8).draw(samples, rng=rng, runs=len(plan.runs))
    return power


def _before_display(plan: Plan, drawn: SimulatedLevels, power: Array, time_s: Array, rng: np.random.Generator) -> Array:
    readings, loss = plan.readings, np.repeat(drawn.true[0][:, None], len(time_s), axis=1)
    if plan.power is not None:
        loss *= (power / plan.power.nominal) ** plan.power.exponent
    values: Array = (1 + drawn.gain[0]) * loss + (drawn.zero[0] + drawn.drift[0])[:, None]
    values += readings.noise.draw(len(time_s), rng=rng, runs=len(plan.runs))
    scales = 1 + readings.approach_spread * rng.standard_normal(len(plan.runs))
    for k, run in enumerate(plan.runs):
        n = samples_of(plan, run)
        approach = run.approach or (Approach() if run.role == "zero" else readings.approach.scaled(float(scales[k])))
        values[k, :n] += approach.at(time_s[:n])
    return values
