"""Levels of many simulated trials: variances of closed forms, and what each effect touches."""

import math
from dataclasses import replace

import numpy as np
import pytest

from lossstats.simulator.simulate import (
    Articles,
    Bench,
    LinearDrift,
    Noise,
    Power,
    Readings,
    WalkDrift,
    lay_out,
    lay_out_blocks,
    simulate_levels,
)

QUIET = Articles(article_sd=0.0, change_sd=0.0, mount_sd=0.0, run_sd=0.0)
TRIALS = 4000  # sd of an estimated sd 1.1 %


def _columns(plan, **wanted):
    return [k for k, run in enumerate(plan.runs) if all(getattr(run, key) == value for key, value in wanted.items())]


def test_pair_differences_have_the_variance_that_planning_uses():
    plan = replace(lay_out("paired", articles=4, mounts=2), articles=Articles(6.5, 0.5, 0.3, 0.1, 0.08, 0.04))
    levels = simulate_levels(plan, rng=1, trials=TRIALS)
    before, after = (levels.true[:, _columns(plan, article="K01", condition=c)] for c in ("before", "after"))
    difference = before.mean(axis=1) - after.mean(axis=1)
    # Var(d) = change^2 + 2 mount^2 / m + 2 run^2 / (m r), with m = 2 mounts of r = 1 run
    assert difference.std() == pytest.approx(math.sqrt(0.1**2 + 0.08**2 + 0.04**2), rel=0.04)
    assert difference.mean() == pytest.approx(0.5, abs=4 * 0.135 / math.sqrt(TRIALS))
    # Var(level) = article^2 + change^2 / 2 + mount^2 / 2 + run^2 / 2
    assert before.mean(axis=1).std() == pytest.approx(math.sqrt(0.3**2 + (0.1**2 + 0.08**2 + 0.04**2) / 2), rel=0.04)
    assert levels.saving_of_articles.std() == pytest.approx(0.1 / math.sqrt(4), rel=0.04)


def test_two_runs_of_one_mount_share_its_effect():
    plan = lay_out("single", mounts=2, references_every=None)
    same = replace(plan, runs=tuple(replace(run, mount="1") for run in plan.runs), articles=replace(QUIET, mount_sd=1))
    levels = simulate_levels(same, rng=1, trials=50).true
    assert np.array_equal(levels[:, 0], levels[:, 1])
    assert not np.any(levels[:, 1] == levels[:, 2])  # a mount after is another one


def test_reference_article_has_its_level_and_a_refit_each_time():
    plan = replace(lay_out("paired", articles=4), articles=replace(QUIET, mount_sd=0.08, reference_level=6.0))
    levels = simulate_levels(plan, rng=2, trials=TRIALS).true[:, _columns(plan, role="reference")]
    assert levels.mean() == pytest.approx(6.0, abs=0.005)
    assert levels.std(axis=0) == pytest.approx(0.08, rel=0.05)
    assert abs(np.corrcoef(levels, rowvar=False)[0, 1:]).max() < 0.07


def test_zero_run_sees_zero_and_its_part_of_the_drift_and_no_gain():
    bench = Bench((LinearDrift(0.03),), day_shifts=(0.0, 0.2), drift_at_zero=0.5, gain=0.01, zero=0.04)
    plan = replace(lay_out("paired", articles=2, zeros=True), bench=bench, articles=QUIET)
    levels = simulate_levels(plan, rng=1)
    zeros = _columns(plan, role="zero")
    hours = (len(plan.runs) / 2 - 1) / 3  # 20 minutes from start to start
    assert levels.shown[0, zeros] == pytest.approx([0.04, 0.04 + 0.015 * hours, 0.14, 0.14 + 0.015 * hours])
    assert levels.true[0, zeros].tolist() == [0.0] * 4


def test_day_shift_moves_a_whole_day_but_not_the_first():
    plan = replace(lay_out("paired", articles=3), bench=Bench(day_shift_sd=0.2), articles=QUIET)
    drift = simulate_levels(plan, rng=5, trials=TRIALS).drift
    first, second = np.split(drift, 2, axis=1)
    assert np.all(first == 0.0)
    assert np.all(np.ptp(second, axis=1) == 0.0)
    assert second[:, 0].std() == pytest.approx(0.2, rel=0.05)


def test_walk_starts_anew_on_every_day_and_in_every_trial():
    plan = replace(lay_out("paired", articles=3), bench=Bench((WalkDrift(0.1),)))
    drift = simulate_levels(plan, rng=5, trials=TRIALS).drift
    first, second = np.split(drift, 2, axis=1)
    assert np.all(second[:, 0] == 0.0)
    assert first[:, -1].std() == pytest.approx(0.1 * math.sqrt((len(plan.runs) / 2 - 1) / 3), rel=0.05)
    assert abs(np.corrcoef(first[:, -1], second[:, -1])[0, 1]) < 0.06


def test_loss_goes_with_the_power_of_the_power():
    power = Power(nominal=280.0, run_spread=0.02, before_shift=0.05, exponent=2.0)
    plan = replace(lay_out("independent", articles=4), power=power, articles=QUIET)
    levels = simulate_levels(plan, rng=6, trials=TRIALS)
    assert levels.shown == pytest.approx(levels.true * (levels.power / 280.0) ** 2)
    assert levels.power[:, _columns(plan, condition="before")].mean() == pytest.approx(280 * 1.05, rel=1e-3)
    assert levels.power[:, _columns(plan, condition="after")].mean() == pytest.approx(280, rel=1e-3)
    assert levels.power[:, 1].std() == pytest.approx(280 * 0.02, rel=0.05)


def test_gain_and_zero_are_one_draw_a_trial():
    plan = replace(lay_out("paired"), bench=Bench(gain=0.01, gain_sd=0.005, zero=0.1, zero_sd=0.02), articles=QUIET)
    levels = simulate_levels(plan, rng=7, trials=TRIALS)
    assert levels.gain.mean() == pytest.approx(0.01, abs=4 * 0.005 / math.sqrt(TRIALS))
    assert levels.gain.std() == pytest.approx(0.005, rel=0.05)
    assert levels.zero.std() == pytest.approx(0.02, rel=0.05)
    assert levels.shown == pytest.approx((1 + levels.gain[:, None]) * levels.true + levels.zero[:, None])


def test_untouched_articles_save_nothing():
    plan = replace(lay_out("controls", articles=2, controls=2), articles=Articles(saving=0.5))
    levels = simulate_levels(plan, rng=8, trials=50)
    rows = [levels.article_names.index(name) for name in ("C01", "C02")]
    untouched = levels.article_levels[:, rows]
    assert np.array_equal(untouched[..., 0], untouched[..., 1])
    treated = levels.article_levels[:, :2]
    assert levels.saving_of_articles == pytest.approx((treated[..., 0] - treated[..., 1]).mean(axis=1))


def test_error_of_sampling_has_the_uncertainty_stated():
    plan = replace(lay_out("paired"), readings=Readings(samples=90, noise=Noise(0.05, 0.6)))
    levels = simulate_levels(plan, rng=9, trials=TRIALS)
    assert levels.standard_uncertainty == pytest.approx(Noise(0.05, 0.6).mean_sd(30))
    assert (levels.values - levels.shown).std(axis=0) == pytest.approx(levels.standard_uncertainty, rel=0.05)


def test_saving_of_the_population():
    levels = simulate_levels(replace(lay_out("paired"), articles=Articles(level=8.0, saving=0.6)), rng=1)
    assert levels.saving == 0.6
    assert levels.saving_percent == pytest.approx(7.5)


def test_each_of_several_conditions_has_its_own_saving():
    plan = lay_out_blocks("ABC", articles=2, savings=(0.4, -0.1), rng=1)
    plan = replace(plan, articles=replace(QUIET, saving=0.4, other_savings=(-0.1,)))
    levels = simulate_levels(plan, rng=1, trials=3)
    mean = {c: levels.true[:, _columns(plan, condition=c)].mean() for c in "ABC"}
    assert (mean["A"] - mean["B"], mean["A"] - mean["C"]) == pytest.approx((0.4, -0.1))
    assert levels.article_levels.shape == (3, 2, 3)
