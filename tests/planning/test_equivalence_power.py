"""Power to claim no difference that matters: published-style sizes, a second quadrature, simulation, bad input."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.planning.equivalence_power import equivalence_paired, equivalence_welch
from lossstats.planning.interval_power import half_widths, student_factor
from lossstats.records.estimate import Term


@pytest.mark.parametrize(("sd", "pairs95", "pairs90"), [(0.1, 4, 4), (0.2, 9, 8), (0.3, 18, 14), (0.5, 44, 36)])
def test_pairs_needed(sd, pairs95, pairs90):
    """True difference 0, 0.25 W matters, power 80 %: measured with an independent prototype.

    It found 45 for the largest spread; the smooth integral in test_interval_power gives 0.80006 for 44.
    """
    for confidence, pairs in ((0.95, pairs95), (0.90, pairs90)):
        needed = next(n for n in range(3, 100) if equivalence_paired(0.0, 0.25, sd, n, confidence=confidence) >= 0.8)
        assert needed == pairs


@pytest.mark.parametrize("case", [(0.0, 0.5, 0.25, 6, 0.25, 6), (0.1, 0.6, 0.2, 4, 0.3, 9)])
def test_welch_against_simulation(case):
    true, matters, sd1, n1, sd2, n2 = case
    rng, trials = np.random.default_rng(5), 20_000
    a, b = rng.normal(true, sd1, (trials, n1)), rng.normal(0, sd2, (trials, n2))
    ends = stats.ttest_ind(a, b, axis=1, equal_var=False).confidence_interval(0.95)
    share, chance = np.mean((ends.low > -matters) & (ends.high < matters)), equivalence_welch(*case)
    assert share == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / trials))


def test_six_pairs_seldom_claim_no_difference():
    """Spread 0.3 W, 0.25 W matters, no difference: 11 %, measured by simulation with an independent prototype."""
    assert equivalence_paired(0.0, 0.25, 0.3, 6) == pytest.approx(0.11, abs=0.01)


def test_a_wrong_claim_has_a_small_chance():
    for n in (3, 6, 20):
        assert equivalence_paired(0.25, 0.25, 0.1, n) <= 0.025 + 1e-9
        assert equivalence_welch(0.25, 0.25, 0.1, n, 0.1, n) <= 0.025 + 1e-9
    assert equivalence_paired(0.25, 0.25, 0.01, 20) == pytest.approx(0.025, abs=1e-6)


@pytest.mark.parametrize("n", [3, 4, 6])
@pytest.mark.parametrize("matters", [0.3, 0.4, 0.6])
def test_welch_has_nodes_enough(n, matters):
    scatter = [Term(0.2 / math.sqrt(n), n - 1), Term(0.25 / math.sqrt(n), n - 1)]
    many = half_widths(scatter, Term(0.0), student_factor(0.95), nodes=601).chance_within(0.0, matters)
    assert equivalence_welch(0.0, matters, 0.2, n, 0.25, n) == pytest.approx(many, abs=2e-4)


def test_both_sides_alike():
    assert equivalence_paired(0.1, 0.3, 0.2, 6) == pytest.approx(equivalence_paired(-0.1, 0.3, 0.2, 6), abs=1e-12)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: equivalence_paired(0, 0, 1, 3), "matters: found 0.0; accepted: a finite number above 0"),
        (lambda: equivalence_welch(0, -1, 1, 3, 1, 3), "matters: found -1"),
        (lambda: equivalence_paired(0, 1, 1, 1), "n: found 1; accepted: a whole number of at least 2"),
        (lambda: equivalence_welch(0, 1, 1, 3, -1, 3), "sd2: found -1"),
        (lambda: equivalence_paired(math.nan, 1, 1, 3), "difference: found nan"),
    ],
)
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()
