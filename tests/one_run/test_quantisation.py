"""Display step: closed forms, and simulation of rounded readings."""

import numpy as np
import pytest
from scipy.stats import chi2, norm

from lossstats.one_run.quantisation import display_step, resolution_component, rounding_uncertainty, two_codes_at_most


def bias_of_rounded_mean(mu, sigma):
    """Mean of round(N(mu, sigma)) less mu, unit step, by summing over codes."""
    codes = np.arange(-30, 31)
    chance = norm.cdf((codes + 0.5 - mu) / sigma) - norm.cdf((codes - 0.5 - mu) / sigma)
    return float(np.sum(codes * chance)) - mu


@pytest.mark.parametrize("r", [0.05, 0.1, 0.2, 0.3, 0.4, 0.5])
def test_it_is_the_root_mean_square_bias_over_all_places_of_the_level(r):
    # naive second implementation: no Fourier series, the bias at 2000 places averaged
    places = (np.arange(2000) + 0.5) / 2000 - 0.5
    expected = np.sqrt(np.mean([bias_of_rounded_mean(mu, r) ** 2 for mu in places]))
    assert rounding_uncertainty(1.0, r) == pytest.approx(expected, rel=1e-4)


def test_it_falls_from_the_rectangular_value_and_scales_with_the_step():
    at = [rounding_uncertainty(1.0, r) for r in (0, 1e-5, 1e-3, 0.05, 0.1, 0.3, 0.5, 1.0)]
    assert at[0] == at[1] == pytest.approx(1 / np.sqrt(12), rel=1e-15)
    assert np.all(np.diff(at[1:]) < 0)
    assert rounding_uncertainty(0.05, 0.01) == pytest.approx(0.05 * rounding_uncertainty(1.0, 0.2), rel=1e-12)
    assert rounding_uncertainty(0.0, 0.01) == 0


def test_no_jump_where_the_short_cut_ends():
    assert rounding_uncertainty(1.0, 1.01e-4) == pytest.approx(1 / np.sqrt(12), rel=1e-3)


def test_a_third_code_is_seen():
    assert not two_codes_at_most(np.array([5.0, 5.05, 5.0, 5.1]), 0.05)
    assert two_codes_at_most(np.array([5.0, 5.05, 5.0, 5.05]), 0.05)
    assert two_codes_at_most(np.array([5.0, 5.3, 5.0]), 0.05)  # two codes, not neighbours
    assert two_codes_at_most(np.full(5, 5.0), 0.05)


def test_fewer_than_three_codes_count_as_no_noise():
    y = np.array([5.0, 5.05] * 20)
    assert resolution_component(y, y - y.mean(), 0.05, 30) == pytest.approx(0.05 / np.sqrt(12), rel=1e-15)


def test_the_noise_is_taken_at_its_lower_bound_less_sheppards_correction():
    y = np.round(5 + 0.4 * np.random.default_rng(1).normal(size=40))
    noise = np.sqrt(np.var(y, ddof=1) * 25 / chi2.ppf(0.9, 25) - 1 / 12)
    assert resolution_component(y, y - y.mean(), 1.0, 25) == pytest.approx(rounding_uncertainty(1.0, noise), rel=1e-12)
    assert resolution_component(y, y - y.mean(), 0.0, 25) == 0


@pytest.mark.parametrize(
    ("values", "step"),
    [
        (np.round(5 + 0.02 * np.random.default_rng(2).normal(size=100), 2), 0.01),
        (5 + 0.02 * np.random.default_rng(3).normal(size=100), 0.0),
        (np.full(50, 5.0), 0.0),
        (np.array([0, 0.25, 0.5, 1.75] * 10), 0.25),
        (np.array([0, 0.25, 0.6, 1.75] * 10), 0.0),
    ],
)
def test_the_step_of_a_lattice_is_found(values, step):
    assert display_step(values) == pytest.approx(step, rel=1e-6)
