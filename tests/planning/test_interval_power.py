"""Half-widths of a planned interval against the t and Welch powers, plain quadrature and simulation."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from lossstats.planning.interval_power import (
    family_factor,
    half_widths,
    interpolated_factor,
    quick_student_factor,
    student_factor,
)
from lossstats.planning.power import power_paired, power_welch
from lossstats.records.estimate import Term, combine
from lossstats.several.simultaneous import AllPairs, ManyToOne

T95 = student_factor(0.95)


@pytest.mark.parametrize("n", [2, 3, 6, 40])
def test_one_group_is_the_paired_power(n):
    widths = half_widths([Term(0.25 / math.sqrt(n), n - 1)], Term(0.0), T95)
    assert widths.weights.sum() == pytest.approx(1)
    assert widths.chance_shown(0.3) == pytest.approx(power_paired(0.3, 0.25, n), abs=1e-12)
    assert widths.chance_shown(-0.3) == pytest.approx(widths.chance_shown(0.3), abs=1e-15)


def test_two_groups_are_the_welch_power():
    for n1, n2 in ((3, 3), (5, 8)):
        scatter = [Term(0.25 / math.sqrt(n1), n1 - 1), Term(0.4 / math.sqrt(n2), n2 - 1)]
        assert half_widths(scatter, Term(0.0), T95).chance_shown(0.5) == pytest.approx(
            power_welch(0.5, 0.25, n1, 0.4, n2), abs=1e-8
        )


def test_within_against_a_smooth_integral():
    """Second implementation: over the estimate, where the chance of the spread is a chi-square probability."""
    n, sd, matters, true = 8, 0.2, 0.25, 0.05
    u, k = sd / math.sqrt(n), stats.t.ppf(0.975, n - 1)

    def at(x):
        return stats.norm.pdf(x, true, u) * stats.chi2.cdf((n - 1) * ((matters - abs(x)) / (k * u)) ** 2, n - 1)

    exact = sum(integrate.quad(at, *ends)[0] for ends in ((-matters, 0), (0, matters)))
    found = half_widths([Term(u, n - 1)], Term(0.0), T95, nodes=2561).chance_within(true, matters)
    assert found == pytest.approx(exact, abs=1e-6)


def test_shared_errors_against_simulation():
    rng, trials = np.random.default_rng(3), 40_000
    n, sd, shared = 5, 0.2, Term(0.1, 12)
    estimate = 0.3 + rng.normal(0, shared.standard_uncertainty, trials) + rng.normal(0, sd / math.sqrt(n), trials)
    found = sd * np.sqrt(rng.chisquare(n - 1, trials) / (n - 1)) / math.sqrt(n)
    terms = [combine([Term(u, n - 1), shared]) for u in found]
    half = np.array([u for u, _ in terms]) * stats.t.ppf(0.975, [dof for _, dof in terms])
    widths = half_widths([Term(sd / math.sqrt(n), n - 1)], shared, T95)
    for chance, share in (
        (widths.chance_shown(0.3), np.mean(np.abs(estimate) > half)),
        (widths.chance_within(0.3, 0.7), np.mean(np.abs(estimate) + half < 0.7)),
    ):
        assert share == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / trials))


def test_shared_errors_alone():
    widths = half_widths((), Term(0.1), T95)
    assert widths.chance_shown(0.1 * (1.959964 + 0.841621)) == pytest.approx(0.8, abs=1e-5)
    assert widths.values == pytest.approx([0.1959964])


@pytest.mark.parametrize("least", [1, 2, 5])
def test_interpolated_factors_are_the_exact_ones(least):
    for family, exact in (("control", ManyToOne((math.sqrt(0.5),) * 3)), ("pairs", AllPairs(4))):
        factor = family_factor(family, 4, 6, least, 0.95)
        for dof in (least, 1.5 * least, 4 * least, 50, 1000):
            assert float(factor(np.array(dof))) == pytest.approx(exact.factor(Term(1.0, dof), 0.95), rel=1e-5)


@pytest.mark.parametrize("least", [1, 2, 5])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.999])
def test_quick_student_factors(least, confidence):
    dof = np.array([least, 1.3 * least, 3 * least, 30, 500, 1e8])
    assert quick_student_factor(confidence, least)(dof) == pytest.approx(
        stats.t.ppf(0.5 + confidence / 2, dof), rel=1e-5
    )


def test_blocks_take_bonferroni():
    assert float(family_factor("blocks", 4, 6, 5, 0.95)(np.array(5.0))) == pytest.approx(stats.t.ppf(1 - 0.025 / 6, 5))


def test_interpolation_keeps_to_its_range():
    factor = interpolated_factor(lambda dof: float(stats.t.ppf(0.975, dof)), 3)
    assert float(factor(np.array(1e12))) == pytest.approx(1.959964, rel=1e-6)
    assert float(factor(np.array(2.0))) == pytest.approx(stats.t.ppf(0.975, 3), rel=1e-9)


@pytest.mark.parametrize("scale", [1e-120, 1e-9, 1e9, 1e120])
def test_no_unit_is_too_small_or_too_large(scale):
    scatter, shared = [Term(0.1 * scale, 4), Term(0.15 * scale, 6)], Term(0.05 * scale, 9)
    plain = half_widths([Term(0.1, 4), Term(0.15, 6)], Term(0.05, 9), T95)
    found = half_widths(scatter, shared, T95)
    assert found.chance_shown(0.4 * scale) == pytest.approx(plain.chance_shown(0.4), rel=1e-9)
    assert found.chance_within(0.0, 0.6 * scale) == pytest.approx(plain.chance_within(0.0, 0.6), rel=1e-9)


def test_far_away_the_power_is_one():
    widths = half_widths([Term(1e-9, 2)], Term(0.0), T95)
    assert widths.chance_shown(1.0) == pytest.approx(1.0)
    assert widths.chance_within(0.0, 1.0) == pytest.approx(1.0)
