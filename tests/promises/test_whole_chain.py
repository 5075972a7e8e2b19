"""From raw simulated samples through the whole chain: does the 95 % interval of the saving hold the truth in 95 %?

Sizes as in a plausible trial: six units, article sd 0.3 W, own change 0.1, mount 0.08, run 0.04 W, noise AR(1)
0.02 W, warm-up in the run of 0.6 W at 90 s, gain 1 %, zero 0.05 W, display step 0.01 W, day shift 0.2 W, a
reference run every second test run.
"""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.conclusion import conclude
from lossstats.simulator.simulate import (
    Approach,
    Articles,
    Bench,
    Display,
    LinearDrift,
    Noise,
    Readings,
    StepDrift,
    WalkDrift,
    WarmUpDrift,
    declare,
    lay_out,
    simulate_levels,
    simulate_trial,
)

READINGS = Readings(
    samples=36, interval_s=25.0, approach=Approach((0.6,), (90.0,)), approach_spread=0.3,
    noise=Noise(correlated_sd=0.02, phi=0.5), display=Display(step=0.01),
)  # fmt: skip
BENCH = Bench(day_shifts=(0.0, 0.2), gain_sd=0.01, zero_sd=0.05, drift_at_zero=0.0)
DRIFTS = {
    "linear": LinearDrift(0.4 / 6),
    "warm-up": WarmUpDrift(0.4, 1.0),
    "walk": WalkDrift(0.05),
    "step": StepDrift(0.2, 2.5),
}
CASES = [
    ("paired", None, "linear"),
    ("paired", None, "warm-up"),
    ("paired", None, "walk"),
    ("independent", "blocks", "linear"),
    ("independent", "blocks", "walk"),
    ("independent", "before then after", "linear"),
    ("independent", "before then after", "walk"),
    ("controls", None, "linear"),
    ("single", None, "linear"),
]


def plan_of(design, order, drift, saving=0.5):
    options = {} if order is None else {"order": order}
    plan = lay_out(design, articles=6, mounts=6 if design == "single" else 1, controls=6 if design == "controls" else 0, references_every=2, **options)  # fmt: skip
    bench = replace(BENCH, drift=(DRIFTS[drift],))
    # One article stands for itself: its own change is the saving, so that no saving is no change.
    articles = Articles(saving=saving, change_sd=0.0 if design == "single" else 0.1)
    plan = replace(plan, articles=articles, bench=bench, readings=READINGS)
    settings = declare(plan)
    settling = replace(settings.settling, tolerance=0.1, still_moving="use with a note")
    comparison = replace(settings.comparison, difference_that_matters=0.25)
    return replace(plan, settings=replace(settings, settling=settling, comparison=comparison))


def run_trials(case, trials, seed, saving=0.5):
    """Share of intervals that hold the truth (W, %), and the verdicts."""
    plan = plan_of(*case, saving=saving)
    held, held_percent, verdicts = [], [], []
    for sequence in np.random.SeedSequence(seed).spawn(trials):
        trial, truth = simulate_trial(plan, rng=np.random.default_rng(sequence))
        c = analyse(trial).comparison
        # One article: the claim is for this article only, and so is the truth.
        own = case[0] == "single"
        saving_W = truth.saving_of_articles if own else truth.saving
        percent = truth.saving_of_articles_percent if own else truth.saving_percent
        held.append(c.difference.low <= saving_W <= c.difference.high)
        held_percent.append(c.percent.low <= percent <= c.percent.high)
        verdicts.append(c.verdict.kind)
    return np.mean(held), np.mean(held_percent), verdicts


def known_levels(plan, trials, seed):
    """Trials whose runs are reduced already: the steps after the levels, thousands of times."""
    drawn = simulate_levels(plan, rng=seed, trials=trials)
    skeleton, _ = simulate_trial(replace(plan, readings=Readings(samples=12)), rng=0)
    for k in range(trials):
        reduced = [
            SimpleNamespace(
                level=SimpleNamespace(value=float(v), standard_uncertainty=float(u), components={"noise": float(u), "resolution": 0.0}),
                settled=SimpleNamespace(status="settled"), screening=None, level_without_flagged=None,
            )
            for v, u in zip(drawn.values[k], drawn.standard_uncertainty, strict=True)
        ]  # fmt: skip
        yield conclude(skeleton, reduced).comparison, float(drawn.saving_of_articles[k])


@pytest.mark.parametrize("case", CASES, ids=lambda c: " ".join(map(str, c)))
def test_coverage_after_the_levels(case):
    """300 trials from levels on: 94 to 97 %, less and plus three standard errors."""
    trials, plan = 300, plan_of(*case)
    own = case[0] == "single"
    held, wrong = [], []
    for c, of_articles in known_levels(plan, trials, seed=30):
        held.append(c.difference.low <= (of_articles if own else 0.5) <= c.difference.high)
    for c, _ in known_levels(plan_of(*case, saving=0.0), trials, seed=31):
        wrong.append(c.verdict.kind in {"saves", "costs"})
    allowance = 3 * math.sqrt(0.95 * 0.05 / trials)
    assert 0.94 - allowance <= np.mean(held) <= 0.97 + allowance
    assert np.mean(wrong) <= 0.05 + allowance


@pytest.mark.parametrize("case", CASES[::3], ids=lambda c: " ".join(map(str, c)))
def test_coverage_from_samples(case):
    """A few trials from raw samples on: finds only gross faults; the full size follows."""
    trials = 15
    held, held_percent, _ = run_trials(case, trials, seed=20)
    allowance = 3 * math.sqrt(0.94 * 0.06 / trials)
    assert held >= 0.94 - allowance
    assert held_percent >= 0.94 - allowance


@pytest.mark.full
@pytest.mark.parametrize("case", CASES, ids=lambda c: " ".join(map(str, c)))
def test_coverage_full(case):
    """94 to 97 % in 1000 trials, with three standard errors."""
    held, held_percent, _ = run_trials(case, 1000, seed=22)
    print(f"\n{case}: {held:.3f} {held_percent:.3f}")
    allowance = 3 * math.sqrt(0.95 * 0.05 / 1000)
    assert 0.94 - allowance <= held <= 0.97 + allowance
    assert 0.94 - allowance <= held_percent <= 0.97 + allowance


@pytest.mark.full
@pytest.mark.parametrize("case", CASES, ids=lambda c: " ".join(map(str, c)))
def test_no_true_difference_full(case):
    """At most 5 % "saves" or "costs" where there is no difference, in 1000 trials, with three standard errors."""
    _, _, verdicts = run_trials(case, 1000, seed=23, saving=0.0)
    wrong = np.mean([v in {"saves", "costs"} for v in verdicts])
    print(f"\n{case}: wrong {wrong:.3f}")
    assert wrong <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 1000)


def test_run_uncertainty_added_to_the_scatter_would_be_counted_twice():
    """Trials in which the readings make all of the scatter: the kit's interval holds 95 %, the doubled one 98 % or more.

    With n articles the scatter of the differences shows the readings already; adding 2 u^2 / n for them once more
    doubles the variance. As a floor they widen the few intervals that the scatter would make too narrow.
    """
    trials, n = 400, 6
    plan = plan_of("paired", None, "linear")
    noisy = replace(READINGS, noise=Noise(0.2, 0.0), display=Display())
    articles = Articles(saving=0.5, article_sd=0.3, change_sd=0.0, mount_sd=0.0, run_sd=0.0)
    plan = replace(plan, articles=articles, bench=Bench(), readings=noisy)
    drift = replace(plan.settings.drift, references="ignore", zeros="ignore")
    plan = replace(plan, settings=replace(plan.settings, drift=drift))
    u = float(simulate_levels(plan, rng=1, trials=1).standard_uncertainty[0])
    held, doubled = [], []
    for c, _ in known_levels(plan, trials, seed=33):
        d = c.difference
        held.append(d.low <= 0.5 <= d.high)
        half = (d.high - d.value) * math.sqrt(1 + (2 * u**2 / n) / d.standard_uncertainty**2)
        doubled.append(abs(d.value - 0.5) <= half)
    assert 0.94 - 3 * math.sqrt(0.95 * 0.05 / trials) <= np.mean(held) <= 0.985
    assert np.mean(doubled) >= max(0.98, np.mean(held))
