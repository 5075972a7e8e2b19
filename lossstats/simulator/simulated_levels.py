"""Levels of simulated runs: every effect drawn for all runs, and for many trials, at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lossstats.simulator.simulated_drift import drift_of_day
from lossstats.simulator.simulated_plan import Plan, PlannedRun

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SimulatedLevels:
    """Levels of the runs of many trials of one plan, without samples.

    Attributes
    ----------
    plan : Plan
        The plan.
    values : array, shape (trials, runs)
        Levels as found from readings: ``shown`` plus the error of sampling.
    standard_uncertainty : array, shape (runs,)
        Standard deviation of that error, in closed form.
    power : array, shape (trials, runs)
        Mean input power of each run, without meaning in a zero run; of 1s where the plan has none.
    shown : array, shape (trials, runs)
        Levels to which the readings settle: power, gain, zero and drift in them.
    true : array, shape (trials, runs)
        True levels, article, mount and run effect in them, at nominal input power.
    drift : array, shape (trials, runs)
        Drift at the start of each run, day shift included.
    gain, zero : array, shape (trials,)
        Relative error of the calibration factor; zero error.
    article_levels : array, shape (trials, articles, conditions)
        True level of each article before, after, and in the further conditions of the plan; an article that was not
        run in a condition has one there too.
    article_names : tuple of str
        In order of first appearance, the reference article left aside.
    saving_of_articles : array, shape (trials,)
        Mean over the articles before minus mean over those after, controls left aside.
    """

    plan: Plan
    values: Array
    standard_uncertainty: Array
    power: Array
    shown: Array
    true: Array
    drift: Array
    gain: Array
    zero: Array
    article_levels: Array
    article_names: tuple[str, ...]
    saving_of_articles: Array

    @property
    def saving(self) -> float:
        """Saving of the population.

        Returns
        -------
        float
            Level before minus level after.
        """
        return self.plan.articles.saving

    @property
    def saving_percent(self) -> float:
        """Saving of the population in percent of the level before.

        Returns
        -------
        float
            In percent.
        """
        return 100.0 * self.plan.articles.saving / self.plan.articles.level


def simulate_levels(plan: Plan, *, rng: np.random.Generator | int, trials: int = 1) -> SimulatedLevels:
    """Draw the levels of the runs directly, without samples: for coverage studies of the steps after them.

    Parameters
    ----------
    plan : Plan
        What is simulated.
    rng : Generator or int
        Source of randomness.
    trials : int, default 1
        Number of independent trials, each with articles, gain, zero and drift of its own.

    Returns
    -------
    SimulatedLevels
        Approach, display and faults play no part in it. The error of sampling is that of a mean over the last
        third of the run.
    """
    rng = np.random.default_rng(rng)
    truth = draw_levels(plan, rng, trials)
    spread = np.array([plan.readings.noise.mean_sd(max(1, samples_of(plan, run) // 3)) for run in plan.runs])
    values = truth.shown + spread * rng.standard_normal(truth.shown.shape)
    return replace(truth, values=values, standard_uncertainty=spread)


def samples_of(plan: Plan, run: PlannedRun) -> int:
    """Count the samples of a run, those lost in gaps counted in.

    Parameters
    ----------
    plan : Plan
        The plan.
    run : PlannedRun
        One of its runs.

    Returns
    -------
    int
        Number of samples.
    """
    return plan.readings.zero_samples if run.role == "zero" else plan.readings.samples


def draw_levels(plan: Plan, rng: np.random.Generator, trials: int) -> SimulatedLevels:
    """Draw every effect of every run; the readings are not drawn.

    Parameters
    ----------
    plan : Plan
        What is simulated.
    rng : Generator
        Source of randomness.
    trials : int
        Number of independent trials.

    Returns
    -------
    SimulatedLevels
        With ``values`` as yet without an error of sampling.
    """
    names = tuple(dict.fromkeys(run.article for run in plan.runs if run.role == "test"))
    article_levels = _article_levels(plan, names, rng, trials)
    true = _true_levels(plan, names, article_levels, rng)
    power = _powers(plan, rng, trials)
    drift = _drifts(plan, rng, trials)
    bench = plan.bench
    gain = bench.gain + bench.gain_sd * rng.standard_normal(trials)
    zero = bench.zero + bench.zero_sd * rng.standard_normal(trials)
    at_power = true if plan.power is None else true * (power / plan.power.nominal) ** plan.power.exponent
    seen = (1 + gain[:, None]) * at_power + zero[:, None] + drift
    return SimulatedLevels(
        plan=plan,
        values=seen,
        standard_uncertainty=np.zeros(len(plan.runs)),
        power=power,
        shown=seen,
        true=true,
        drift=drift,
        gain=gain,
        zero=zero,
        article_levels=article_levels,
        article_names=names,
        saving_of_articles=_saving_of_articles(plan, names, article_levels),
    )


def _article_levels(plan: Plan, names: tuple[str, ...], rng: np.random.Generator, trials: int) -> Array:
    model = plan.articles
    treated = np.array([name not in plan.controls for name in names], dtype=np.float64)
    effect = model.article_sd * rng.standard_normal((trials, len(names), 1))
    # A response to each condition with sd / sqrt(2): the difference of the two then has the sd of the change.
    savings = np.array([0.0, model.saving, *model.other_savings])
    spread = model.change_sd / np.sqrt(2) * rng.standard_normal((trials, len(names), len(savings)))
    response = spread * treated[:, None]
    mean = model.level - treated[:, None] * savings
    levels: Array = mean + effect + response
    return levels


def _true_levels(plan: Plan, names: tuple[str, ...], article_levels: Array, rng: np.random.Generator) -> Array:
    trials, model = len(article_levels), plan.articles
    mounts = {key: k for k, key in enumerate(dict.fromkeys(_mount(run) for run in plan.runs))}
    mount_effect = model.mount_sd * rng.standard_normal((trials, len(mounts)))
    run_effect = model.run_sd * rng.standard_normal((trials, len(plan.runs)))
    true = np.zeros((trials, len(plan.runs)))
    for k, run in enumerate(plan.runs):
        if run.role == "zero":
            continue
        if run.role == "reference":
            level = np.full(trials, model.reference_level)
        else:
            level = article_levels[:, names.index(run.article), plan.conditions.index(run.condition)]
        true[:, k] = level + mount_effect[:, mounts[_mount(run)]] + run_effect[:, k]
    return true


def _mount(run: PlannedRun) -> tuple[str, str, str]:
    return run.article, run.condition, run.mount


def _powers(plan: Plan, rng: np.random.Generator, trials: int) -> Array:
    if plan.power is None:
        return np.ones((trials, len(plan.runs)))
    shift = plan.power.before_shift * np.array([run.condition == plan.before for run in plan.runs])
    spread = plan.power.run_spread * rng.standard_normal((trials, len(plan.runs)))
    powers: Array = plan.power.nominal * (1 + shift + spread)
    return powers


def _drifts(plan: Plan, rng: np.random.Generator, trials: int) -> Array:
    drift = np.zeros((trials, len(plan.runs)))
    days = [run.start.date() for run in plan.runs]
    for number, day in enumerate(dict.fromkeys(days)):
        of_day = [k for k, other in enumerate(days) if other == day]
        first = plan.runs[of_day[0]].start
        hours = np.array([(plan.runs[k].start - first).total_seconds() / 3600 for k in of_day])
        fixed = plan.bench.day_shifts[number] if number < len(plan.bench.day_shifts) else 0.0
        shift = fixed + (plan.bench.day_shift_sd * rng.standard_normal((trials, 1)) if number else 0.0)
        drift[:, of_day] = drift_of_day(plan.bench.drift, hours, rng=rng, trials=trials) + shift
    visible = np.array([plan.bench.drift_at_zero if run.role == "zero" else 1.0 for run in plan.runs])
    seen: Array = drift * visible
    return seen


def _saving_of_articles(plan: Plan, names: tuple[str, ...], article_levels: Array) -> Array:
    means = []
    for side, condition in enumerate((plan.before, plan.after)):
        run_in = {run.article for run in plan.runs if run.condition == condition} - set(plan.controls)
        rows = [k for k, name in enumerate(names) if name in run_in]
        means.append(article_levels[:, rows, side].mean(axis=1))
    saving: Array = means[0] - means[1]
    return saving
