"""Mixtures of t distributions against scipy, one value at a time."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm, t

from lossstats.one_run.mixture import Mixture, standard_uncertainty_and_dof

PROBABILITIES = (0.025, 0.16, 0.5, 0.84, 0.975)


def random_mixture(seed):
    rng = np.random.default_rng(seed)
    k = int(rng.integers(1, 200))
    centre = rng.normal(0, 10 ** rng.uniform(-2, 2), k) + rng.choice([0, 100])
    return Mixture(rng.dirichlet(np.full(k, 0.3)), centre, 10 ** rng.uniform(-2, 0, k), rng.integers(6, 60, k) * 1.0)


def probability_below(mixture, x):
    return float((mixture.weight * t.cdf((x - mixture.centre) / mixture.scale, mixture.dof)).sum())


@pytest.mark.parametrize("seed", range(8))
def test_quantiles_against_a_root_finder_on_the_distribution_function(seed):
    mixture = random_mixture(seed)
    low, high = mixture.centre.min() - 100, mixture.centre.max() + 100
    found = mixture.quantiles(PROBABILITIES)
    for p, x in zip(PROBABILITIES, found, strict=True):
        root = brentq(lambda v, p=p: probability_below(mixture, v) - p, low, high, xtol=1e-14, rtol=1e-14)
        assert x == pytest.approx(root, rel=1e-12, abs=1e-12)
        assert mixture.below(x) == pytest.approx(p, abs=1e-12)
    assert np.all(np.diff(found) >= 0)


@pytest.mark.parametrize("seed", range(8))
def test_the_fast_quantiles_are_right_to_two_ten_thousandths(seed):
    mixture = random_mixture(100 + seed)
    for p, x in zip(PROBABILITIES, mixture.quantiles(PROBABILITIES, exact=False), strict=True):
        assert probability_below(mixture, x) == pytest.approx(p, abs=2e-4)


def test_one_part_is_its_t_distribution():
    one = Mixture(np.array([1.0]), np.array([5.0]), np.array([0.1]), np.array([7.0]))
    assert one.quantiles([0.975])[0] == pytest.approx(5 + 0.1 * t.ppf(0.975, 7), rel=1e-14)
    assert one.mean() == 5


def test_two_far_peaks_are_not_mixed_up():
    two = Mixture(np.array([0.3, 0.7]), np.array([0.0, 1000.0]), np.array([1.0, 1.0]), np.array([10.0, 10.0]))
    assert two.quantiles([0.15])[0] == pytest.approx(0, abs=1e-9)
    assert two.quantiles([0.65])[0] == pytest.approx(1000, abs=1e-9)


def test_a_point_counts_in_probabilities_and_is_refused_in_quantiles():
    point = Mixture(np.array([0.4, 0.6]), np.array([0.0, 1.0]), np.array([0.0, 1.0]), np.array([9.0, 9.0]))
    assert point.below(0.0) - point.below(-1e-12) == pytest.approx(0.4)
    with pytest.raises(ValueError, match="found a part of scale 0; accepted: scales above 0"):
        point.quantiles([0.5])


@pytest.mark.parametrize(("u", "dof"), [(0.02, 3.4), (1.0, 1.5), (7.0, 80.0)])
def test_half_widths_of_a_t_distribution_give_it_back(u, dof):
    found = standard_uncertainty_and_dof(u * t.ppf(norm.cdf(1), dof), u * t.ppf(0.975, dof))
    assert found == pytest.approx((u, dof), rel=1e-9)


def test_degrees_of_freedom_stay_between_1_and_200():
    assert standard_uncertainty_and_dof(1.0, 1.9)[1] == 200
    assert standard_uncertainty_and_dof(1.0, 50.0)[1] == 1
