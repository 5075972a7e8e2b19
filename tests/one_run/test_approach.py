"""The averaged approach fit: closed forms against dense least squares, and what must not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import lossstats.one_run.approach as module
from lossstats.one_run.approach import fit_approach
from lossstats.one_run.approach_posterior import Approach
from lossstats.one_run.blocks import block_averages
from lossstats.one_run.noise import whitening

PROBABILITIES = (0.025, 0.5, 0.975)


def warm_up(*, n=60, amplitude=0.6, tau_s=150.0, sd=0.02, seed=4, span_s=900.0):
    t = np.arange(n) * span_s / n
    noise = np.random.default_rng(seed).normal(size=n)
    return t, 5 + amplitude * np.exp(-t / tau_s) + sd * noise


def dense_fit(t, y, tau, phi):
    """Generalised least squares with the full covariance matrix: level, its variance factor, amplitude, RSS."""
    inverse = np.linalg.inv(np.power(phi, np.abs(np.subtract.outer(t, t))))
    x = np.stack([np.ones_like(t), np.exp(-t / tau)], axis=1)
    unscaled = np.linalg.inv(x.T @ inverse @ x)
    beta = unscaled @ x.T @ inverse @ y
    left = y - x @ beta
    return beta, unscaled, left @ inverse @ left


@pytest.mark.parametrize("phi_at", [1, 2, 3])
def test_every_part_is_the_dense_least_squares_fit(phi_at):
    t, y = warm_up(n=40, span_s=40.0, tau_s=8.0)
    parts = fit_approach(block_averages(t, y)).starts[0]
    phi = whitening(t, 1.0).phi[phi_at]
    pick = np.flatnonzero(np.isfinite(parts.tau_s) & (parts.phi == phi))
    assert len(pick) > 3
    for i in pick[:: len(pick) // 4]:
        beta, unscaled, rss = dense_fit(t, y, parts.tau_s[i], parts.phi[i])
        assert parts.level[i] == pytest.approx(beta[0], rel=1e-10)
        assert parts.level_scale[i] == pytest.approx(np.sqrt(rss / 38 * unscaled[0, 0]), rel=1e-7)
        at_stop = np.exp(-t[-1] / parts.tau_s[i])
        assert parts.end[i] == pytest.approx(beta[1] * at_stop, rel=1e-8)
        assert parts.end_scale[i] == pytest.approx(np.sqrt(rss / 38 * unscaled[1, 1]) * at_stop, rel=1e-7)
        assert parts.variance[i] == pytest.approx(rss / 38, rel=1e-7)


def test_weights_follow_the_formula():
    # naive second implementation of the posterior weights of an approach, up to a common factor
    t, y = warm_up(n=40, span_s=40.0, tau_s=8.0)
    parts = fit_approach(block_averages(t, y)).starts[0]
    pick = np.flatnonzero(np.isfinite(parts.tau_s) & (parts.phi > 0) & (parts.weight > 1e-6))
    expected = []
    for i in pick:
        c = np.power(parts.phi[i], np.abs(np.subtract.outer(t, t)))
        _, _, rss = dense_fit(t, y, parts.tau_s[i], parts.phi[i])
        ones = np.ones(40) @ np.linalg.solve(c, np.ones(40))
        log_prior = 0.75 * np.log(1 - parts.phi[i] ** 2)
        expected.append(log_prior - np.linalg.slogdet(c)[1] / 2 - np.log(ones) / 2 - 19 * np.log(rss))
    assert len(pick) > 20
    ratio = np.log(parts.weight[pick]) - np.array(expected)
    assert np.ptp(ratio) < 1e-6


@pytest.mark.parametrize(
    ("n", "amplitude", "tau_s", "sd"),
    [(36, 0.0, 60, 0.02), (36, 0.2, 360, 0.02), (90, 1.0, 180, 0.005), (2000, 1.0, 180, 0.005), (90, 1.0, 60, 0.1)],
)
def test_the_closing_grid_gives_what_a_grid_ten_times_as_fine_gives(monkeypatch, n, amplitude, tau_s, sd):
    # against itself with more grid points: the grid must not be what decides
    blocks = block_averages(*warm_up(n=n, amplitude=amplitude, tau_s=tau_s, sd=sd))
    coarse = fit_approach(blocks).parts.levels().quantiles(PROBABILITIES)
    module._first_curves.cache_clear()
    monkeypatch.setattr(module, "TAU_COUNT", 160)
    fine = fit_approach(blocks).parts.levels().quantiles(PROBABILITIES)
    module._first_curves.cache_clear()
    assert np.abs(coarse - fine).max() < 0.06 * (fine[2] - fine[0]) / 2


@settings(max_examples=25, deadline=None)
@given(
    shift=st.floats(-1e3, 1e3),
    scale=st.floats(1e-3, 1e3),
    unit=st.sampled_from([1 / 60, 1e-3, 60.0]),
    seed=st.integers(0, 10_000),
)
def test_shift_scale_sign_and_unit_of_time_carry_through(shift, scale, unit, seed):
    t, y = warm_up(seed=seed, n=70)
    plain = fit_approach(block_averages(t, y))
    moved = fit_approach(block_averages(t * unit, shift - scale * y))
    level = plain.parts.levels().quantiles(PROBABILITIES)
    half = (level[2] - level[0]) * scale
    assert np.allclose(
        moved.parts.levels().quantiles(PROBABILITIES), shift - scale * level[::-1], rtol=1e-9, atol=1e-7 * half
    )
    assert moved.curve.time_constant_s == pytest.approx(plain.curve.time_constant_s * unit, rel=1e-6)
    assert moved.start_weights == pytest.approx(plain.start_weights, rel=1e-5, abs=1e-9)


def test_a_flat_run_has_hardly_an_approach_and_a_steep_one_surely():
    flat = fit_approach(block_averages(*warm_up(amplitude=0.0)))
    steep = fit_approach(block_averages(*warm_up()))
    assert flat.curve.probability < 0.5
    assert steep.curve.probability > 0.999
    assert steep.curve.time_constant_s == pytest.approx(150, rel=0.15)
    assert steep.curve.amplitude == pytest.approx(0.6, abs=0.06)


def test_a_first_phase_of_another_kind_loses_its_weight():
    t, y = warm_up(n=180, amplitude=0.0)
    y = y + np.where(t < 120, 1.0, 0.0)  # a step, not an exponential
    weights = fit_approach(block_averages(t, y)).start_weights
    assert weights[0] < 0.2 * weights[2]
    assert sum(weights) == pytest.approx(1)


def test_a_noise_free_approach_gives_its_own_numbers():
    t = np.arange(60) * 15.0
    y = 7 - 0.5 * np.exp(-t / 200)
    fit = fit_approach(block_averages(t, y))
    assert fit.parts.levels().quantiles([0.5])[0] == pytest.approx(7, abs=1e-4)
    assert fit.curve.time_constant_s == pytest.approx(200, rel=1e-3)


def test_starts_of_equal_readings_are_passed_over():
    t = np.arange(40) * 10.0
    y = np.where(t < 70, 5 + 0.5 * np.exp(-t / 30), 5.0)
    fit = fit_approach(block_averages(t, y))
    assert len(fit.starts) == 1
    assert fit.start_weights == (1.0,)


def test_too_little_is_refused():
    t, y = warm_up(n=7)
    with pytest.raises(ValueError, match="found 7 blocks of readings; accepted: 8 or more"):
        fit_approach(block_averages(t, y))
    with pytest.raises(ValueError, match="found readings that are all equal; accepted: readings that differ"):
        fit_approach(block_averages(np.arange(20.0), np.full(20, 5.0)))


def test_the_curve_and_its_three_faces():
    curve = Approach(probability=0.98, amplitude=0.5, time_constant_s=120.0, level=5.0, start_s=60.0)
    assert curve.at([60.0, 180.0]) == pytest.approx([5.5, 5 + 0.5 / np.e])
    assert "time constant" in str(curve)
    assert "120 s" in str(curve)
    assert "<table>" in curve._repr_html_()
    assert curve.to_dict()["amplitude"] == 0.5


def test_residuals_are_readings_less_the_curve():
    t, y = warm_up()
    fit = fit_approach(block_averages(t, y))
    left = fit.residuals(t, y)
    assert np.allclose(left, y - fit.curve.at(t))
    assert left.std() == pytest.approx(0.02, rel=0.3)
    assert fit.probability_of_tau_above(0.0) > 0.99
    assert fit.probability_of_tau_above(450.0) < 0.1
    assert abs(fit.still_to_come().mean()) < 0.02
