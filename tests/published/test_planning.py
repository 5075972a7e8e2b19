"""Planning against published power and sample-size figures; the source stands beside each."""

import pytest
from statsmodels.stats.power import TTestIndPower, TTestPower

from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import power_of, smallest_visible_difference
from lossstats.planning.trial_size import size_trial


@pytest.mark.parametrize(("effect", "printed"), [(0.2, 393), (0.5, 64), (0.8, 26)])
def test_cohen_two_groups(effect, printed):
    # Cohen (1992), Psychological Bulletin 112, 155, Table 2: two independent means, two-sided 0.05, power 0.80 (from
    # memory, recomputed: 393.41, 63.77, 25.52; rounding 393.41 up gives 394).
    found = size_trial("independent", effect, {"article": 1.0})
    assert found.units == pytest.approx(printed, abs=1)
    assert found.power >= 0.8 > found.power_with_one_fewer


@pytest.mark.parametrize(("effect", "exact"), [(0.2, 198.1513013), (0.5, 33.36720409), (0.8, 14.30280332)])
def test_r_pairs(effect, exact):
    # R 4.2.2, power.t.test(type = "paired", power = 0.8): recomputed there, not printed in its documentation.
    assert size_trial("paired", effect, {"change": 1.0}).units == -(-exact // 1)


def test_r_power_t_test():
    # R, ?power.t.test, examples: n = 20, delta = 1, sd = 1 gives a power of 0.8689528; power = 0.90, delta = 1 gives
    # n = 22.02110, one-sided n = 17.84713. Those take equal variances; the trial will be analysed without, which
    # costs little with equal groups of twenty.
    plan = PlannedDesign("independent", 20, {"article": 1.0})
    assert power_of(plan, 1.0) == pytest.approx(0.8689528, abs=1e-3)
    assert power_of(plan, 1.0) < 0.8689528
    assert size_trial("independent", 1.0, {"article": 1.0}, power=0.9).units == 23
    assert size_trial("independent", 1.0, {"article": 1.0}, power=0.9, confidence=0.9).units == 18


def test_handbook_iterated_t():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.2.2: a shift of one standard deviation, one-sided 0.05, beta
    # 0.1: N = 11 by iterating the t. One side at 0.05 is two sides at 0.10, of which the far one adds 1e-6. Exact
    # power at 11 by the noncentral t: 0.924489 (recomputed). Its large table is not used: it does not equal what it
    # says that it is.
    found = size_trial("paired", 1.0, {"change": 1.0}, power=0.9, confidence=0.9)
    assert found.units == 11
    assert found.power == pytest.approx(0.924489, abs=2e-6)
    assert size_trial("paired", 1.0, {"change": 1.0}, power=0.9).units == 13


def test_mercury():
    # Miller and Miller, Statistics for Analytical Chemistry, 3rd edition, p. 54, as worked in the documentation of
    # Boost.Math (Student's t): mean 37.8, expected 38.9, s = 0.964365; measurements needed at alpha = beta = 0.05: 13
    # two-sided, 11 one-sided. Those put t quantiles for normal ones; the exact power asks for the same within one.
    for confidence, printed in ((0.95, 13), (0.90, 11)):
        found = size_trial("paired", 38.9 - 37.8, {"change": 0.964365}, power=0.95, confidence=confidence)
        assert found.units == pytest.approx(printed, abs=1)


@pytest.mark.parametrize("power", [0.5, 0.8, 0.95])
def test_statsmodels_smallest_effect(power):
    # statsmodels TTestPower (pairs): exact. TTestIndPower takes equal variances and 2 (n - 1) degrees of freedom, which
    # is what the Welch test comes to with many units.
    for n in (4, 8, 20):
        found = smallest_visible_difference(PlannedDesign("paired", n, {"change": 1.0}), power=power).difference
        assert TTestPower().power(found, n, 0.05) == pytest.approx(power, abs=1e-6)
    found = smallest_visible_difference(PlannedDesign("independent", 400, {"article": 1.0}), power=power).difference
    assert TTestIndPower().power(found, 400, 0.05) == pytest.approx(power, abs=1e-5)
