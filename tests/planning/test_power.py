"""Power against a reference library, the noncentral t, published tables of exact size, and simulation."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower

from lossstats.planning.power import (
    check_reached,
    power_paired,
    power_welch,
    smallest_difference,
    smallest_difference_paired,
    smallest_difference_welch,
    variance_nodes,
)


@pytest.mark.parametrize("n", [2, 3, 4, 6, 10, 30, 200])
@pytest.mark.parametrize("effect", [0.0, 0.1, 0.5, 1.2, 2.0])
@pytest.mark.parametrize("alpha", [0.05, 0.01])
def test_paired_against_statsmodels_and_noncentral_t(n, effect, alpha):
    ours = power_paired(effect * 0.25, 0.25, n, alpha=alpha)
    library = TTestPower().power(effect, n, alpha)
    k, shift = stats.t.ppf(1 - alpha / 2, n - 1), effect * math.sqrt(n)
    noncentral = stats.nct.sf(k, n - 1, shift) + stats.nct.cdf(-k, n - 1, shift)
    for reference in (library, noncentral):
        if math.isfinite(reference):
            assert ours == pytest.approx(reference, abs=1e-9)


def test_finite_where_the_reference_is_not():
    assert math.isnan(TTestPower().power(3.0, 10, 0.05))
    assert power_paired(3.0, 1.0, 10) == pytest.approx(1.0, abs=1e-9)
    assert power_paired(-3.0, 1.0, 4) == power_paired(3.0, 1.0, 4)


# Exact size of Welch's test at 5 % for normal units, by an independent two-dimensional quadrature over the chi-square
# quantiles (four decimals).
EXACT_SIZE = [
    (2, 2, 1, 0.0234), (3, 3, 1, 0.0351), (4, 4, 1, 0.0411), (3, 10, 1, 0.0642), (2, 6, 1, 0.0748),
    (2, 2, 4, 0.0428), (3, 3, 4, 0.0564), (4, 4, 4, 0.0551), (5, 5, 4, 0.0535), (6, 6, 4, 0.0525),
    (8, 8, 4, 0.0513), (10, 10, 4, 0.0508), (3, 10, 4, 0.0468), (10, 3, 4, 0.0648), (2, 6, 4, 0.0425),
]  # fmt: skip


@pytest.mark.parametrize(("n1", "n2", "ratio", "size"), EXACT_SIZE)
def test_size_of_welch(n1, n2, ratio, size):
    assert power_welch(0.0, 1.0, n1, float(ratio), n2) == pytest.approx(size, abs=6e-5)
    assert power_welch(0.0, float(ratio), n2, 1.0, n1) == pytest.approx(
        power_welch(0.0, 1.0, n1, float(ratio), n2), abs=1e-12
    )


def welch_by_many_nodes(difference, sd1, n1, sd2, n2, nodes=150):
    """Second implementation: Gauss-Legendre over the distribution functions of both variances."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = (x + 1) / 2, w / 2
    a = (sd1**2 * stats.chi2.ppf(x, n1 - 1) / (n1 - 1) / n1)[:, None]
    b = (sd2**2 * stats.chi2.ppf(x, n2 - 1) / (n2 - 1) / n2)[None, :]
    dof = (a + b) ** 2 / (a**2 / (n1 - 1) + b**2 / (n2 - 1))
    limit, u = stats.t.ppf(0.975, dof) * np.sqrt(a + b), math.hypot(sd1 / math.sqrt(n1), sd2 / math.sqrt(n2))
    return float(w @ (stats.norm.sf((limit - difference) / u) + stats.norm.sf((limit + difference) / u)) @ w)


@pytest.mark.parametrize(
    "case", [(0.5, 0.3, 3, 0.3, 3), (0.3, 0.2, 5, 0.4, 7), (1.0, 0.3, 4, 0.3, 10), (0.2, 0.3, 12, 0.1, 9)]
)
def test_welch_against_a_plain_quadrature(case):
    assert power_welch(*case) == pytest.approx(welch_by_many_nodes(*case), abs=3e-5)


def test_welch_against_simulation():
    rng = np.random.default_rng(1)
    a, b = rng.normal(0.5, 0.3, (20_000, 4)), rng.normal(0.0, 0.5, (20_000, 6))
    found = np.mean(stats.ttest_ind(a, b, axis=1, equal_var=False).pvalue < 0.05)
    exact = power_welch(0.5, 0.3, 4, 0.5, 6)
    assert found == pytest.approx(exact, abs=4 * math.sqrt(exact * (1 - exact) / 20_000))


def test_the_usual_degrees_of_freedom_are_optimistic():
    # Three units a group, the difference that 0.62 is claimed for with 2 (n - 1) degrees of freedom: 0.511 is true.
    effect = next(d for d in np.arange(1.5, 3, 0.001) if claimed(d) >= 0.62)
    assert power_welch(effect, 1.0, 3, 1.0, 3) == pytest.approx(0.51, abs=0.01)


def claimed(effect):
    shift, k = effect / math.sqrt(2 / 3), stats.t.ppf(0.975, 4)
    return stats.nct.sf(k, 4, shift) + stats.nct.cdf(-k, 4, shift)


def test_smallest_differences():
    # Spread of one difference: change 0.1, mount 0.1 and run 0.05 W on either side (independently computed table).
    sd = math.sqrt(0.1**2 + 2 * 0.1**2 + 2 * 0.05**2)
    for n, smallest in [(3, 0.61), (4, 0.40), (5, 0.31), (6, 0.27), (8, 0.22), (10, 0.19)]:
        found = smallest_difference_paired(sd, n)
        assert found == pytest.approx(smallest, abs=5.1e-3)
        assert power_paired(found, sd, n) == pytest.approx(0.8, abs=1e-9)
    assert smallest_difference_paired(1.0, 6) == pytest.approx(
        TTestPower().solve_power(nobs=6, power=0.8, alpha=0.05), abs=1e-6
    )
    found = smallest_difference_welch(0.3, 4, 0.5, 6, power=0.9)
    assert power_welch(found, 0.3, 4, 0.5, 6) == pytest.approx(0.9, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: power_paired(math.nan, 1, 3), "difference: found nan"),
        (lambda: power_paired(1, 0, 3), "sd: found 0.0; accepted: a finite number above 0"),
        (lambda: power_paired(1, 1, 1), "n: found 1; accepted: a whole number of at least 2"),
        (lambda: power_paired(1, 1, math.inf), "n: found inf; accepted: a whole number of at least 2"),
        (lambda: power_welch(1, 1, 3, 1, 2.5), "n2: found 2.5"),
        (lambda: power_welch(1, 1, 3, math.inf, 3), "sd2: found inf"),
        (lambda: power_paired(1, 1, 3, alpha=1), "alpha: found 1"),
        (
            lambda: smallest_difference_paired(1, 3, power=0.04),
            "power: found 0.04; accepted: above the chance at no difference",
        ),
        (lambda: smallest_difference_welch(1, 3, 1, 3, power=1.0), "power: found 1.0"),
    ],
)
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()


@pytest.mark.parametrize("dof", [1, 2, 7, 40])
def test_nodes_stand_for_a_sample_variance(dof):
    """Mean 1 and variance 2 / dof of chi-square over its degrees of freedom; its distribution function by scipy."""
    ratio, chances = variance_nodes(dof, 161)
    assert chances.sum() == pytest.approx(1, abs=1e-14)
    assert chances @ ratio == pytest.approx(1, rel=1e-9)
    assert chances @ (ratio - 1) ** 2 == pytest.approx(2 / dof, rel=1e-9)
    assert np.all(np.diff(stats.chi2.cdf(ratio * dof, dof)) >= 0)


def test_smallest_difference_of_a_power_that_is_bounded():
    def power_at(difference):  # a shared error in proportion: never above 0.6
        return 0.05 + 0.55 * (1 - math.exp(-difference))

    found = smallest_difference(power_at, 0.1, 0.4, 0.05, farthest=1e4)
    assert found == pytest.approx(-math.log(1 - 0.35 / 0.55), rel=1e-9)
    assert smallest_difference(power_at, 0.1, 0.8, 0.05, farthest=1e4) == math.inf


def test_a_bracket_end_is_no_answer():
    check_reached(0.8 + 1e-9, 0.3, 0.8)
    with pytest.raises(RuntimeError, match=r"power: found 0.75 at the difference 0.3 where 0.8 was sought"):
        check_reached(0.75, 0.3, 0.8)
