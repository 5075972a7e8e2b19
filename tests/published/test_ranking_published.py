"""Several conditions against published values; the source stands beside each."""

import math

import numpy as np
import pytest

from lossstats.several.overall import _linear_model, blocked_test, welch_anova
from lossstats.several.ranking import rank_conditions
from lossstats.several.simultaneous import many_to_one_quantile, studentised_range_quantile

# Dunnett (1955), J. Am. Stat. Assoc. 50, 1096: breaking strength of fabric, a control and three processes; data and
# values of the scipy test-suite (tests/test_multicomp.py, case 3), which has them from the R package multcomp.
FABRIC = {"control": [55, 47, 48], "P1": [55, 64, 64], "P2": [55, 49, 52], "P3": [50, 44, 41]}
# NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.7.1; data and intervals read in the scipy test-suite.
HANDBOOK = [[6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3], [5.8, 3.8, 6.1, 5.6, 6.2]]
# Dobson (1983), An Introduction to Statistical Modelling: dried weight of plants, control and two treatments.
PLANTS = {
    "ctrl": [4.17, 5.58, 5.18, 6.11, 4.50, 4.61, 5.17, 4.53, 5.33, 5.14],
    "trt1": [4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69],
    "trt2": [6.31, 5.12, 5.54, 5.50, 5.37, 5.29, 4.92, 6.15, 5.80, 5.26],
}
SLEEP = [[0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0], [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]]


def pooled(groups):
    return sum(np.var(g, ddof=1) * (len(g) - 1) for g in groups) / sum(len(g) - 1 for g in groups)


def test_dunnett_fabric():
    # Equal numbers and variances: correlations 0.5. Printed two-sided t for 3 and 8: 2.88 (from memory). Lower ends in
    # the test-suite 0.7529, -8.2471, -15.2471 for differences 11, 2, -5: half-width 10.2471, by random integration
    # there, hence the tolerance.
    quantile = many_to_one_quantile([math.sqrt(0.5)] * 3, 8, 0.95)
    assert quantile == pytest.approx(2.88, abs=0.005)
    assert pooled(FABRIC.values()) == pytest.approx(19.0)
    assert quantile * math.sqrt(19 * 2 / 3) == pytest.approx(10.2471, abs=2e-3)


def test_dunnett_fabric_with_unequal_variances_orders_as_published():
    ranking = rank_conditions(FABRIC, control="control", better="higher", unit="lb")
    assert [p.difference for p in ranking.comparisons] == pytest.approx([11.0, 2.0, -5.0])  # 61, 52, 45 less 50
    assert ranking.order == ("P1", "P2", "control", "P3")


def test_many_to_one_table():
    # Dunnett (1964), Biometrics 20, 482, two-sided 5 % points for equal numbers (from memory, recomputed):
    # 2 and 10: 2.57; 4 and 20: 2.65; 9 and 30: 2.86.
    for conditions, dof, printed in ((2, 10, 2.57), (4, 20, 2.65), (9, 30, 2.86)):
        found = many_to_one_quantile([math.sqrt(0.5)] * conditions, dof, 0.95)
        assert found == pytest.approx(printed, abs=0.0051)


def test_tukey_handbook():
    quantile = studentised_range_quantile(4, 16, 0.95)
    assert quantile == pytest.approx(4.05, abs=0.005)
    assert pooled(HANDBOOK) == pytest.approx(1.331, abs=0.0005)
    half = quantile * math.sqrt(pooled(HANDBOOK) / 5)
    mean = [np.mean(g) for g in HANDBOOK]
    for (i, j), ends in {
        (1, 0): (0.29, 4.47),
        (2, 0): (1.13, 5.31),
        (1, 3): (0.13, 4.31),
        (2, 3): (0.97, 5.15),
    }.items():
        assert (mean[i] - mean[j] - half, mean[i] - mean[j] + half) == pytest.approx(ends, abs=0.006)


def test_studentised_range_table():
    # Tables in use since Pearson and Hartley, upper 5 % points (from memory, recomputed).
    for means, dof, printed in ((3, 10, 3.88), (5, 20, 4.23), (10, 60, 4.65), (3, math.inf, 3.31)):
        assert studentised_range_quantile(means, dof, 0.95) == pytest.approx(printed, abs=0.0051)


def test_welch_plants():
    # R, oneway.test(weight ~ group, PlantGrowth) (from memory, recomputed): F 5.181, 2 and 17.128, p 0.01739.
    found = welch_anova(PLANTS)
    assert found.statistic == pytest.approx(5.181, abs=5e-4)
    assert found.degrees_of_freedom == pytest.approx((2, 17.128), abs=5e-4)
    assert found.p_value == pytest.approx(0.01739, abs=5e-6)


def test_welch_sleep():
    # R documentation of t.test, output read in stored text: t -1.8608, df 17.776, p 0.07939.
    found = welch_anova(SLEEP)
    assert math.sqrt(found.statistic) == pytest.approx(1.8608, abs=5e-5)
    assert found.degrees_of_freedom == pytest.approx((1, 17.776), abs=5e-4)
    assert found.p_value == pytest.approx(0.07939, abs=5e-6)


def test_welch_certified():
    """NIST StRD, SmLs01: certified F 21 for 9 groups of 21 with one variance.

    With equal numbers n and variances Welch's statistic is the certified F over a known constant,
    1 + 2 (k - 2) (k - 1) / (k (k + 1) (n - 1)): closed form.
    """
    groups = [[centre] + [centre - 0.1, centre + 0.1] * 10 for centre in (1.4, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5)]
    groups[1] = [1.3] + [1.2, 1.4] * 10
    constant = 1 + 2 * 7 * 8 / (9 * 10 * 20)
    assert welch_anova(groups).statistic == pytest.approx(21 / constant, rel=1e-11)


def test_linear_model_of_blocks():
    # Box, Hunter and Hunter, Statistics for Experimenters (1978), penicillin yield, four treatments in five blends (from
    # memory, recomputed): F of treatments 1.24 with 3 and 12 degrees of freedom.
    penicillin = np.array(
        [[89, 84, 81, 87, 79], [88, 77, 87, 92, 81], [97, 92, 87, 89, 80], [94, 79, 85, 84, 88]], float
    )
    found = _linear_model(penicillin)
    assert found.statistic == pytest.approx(1.24, abs=0.005)
    assert found.degrees_of_freedom == (3, 12)
    assert blocked_test(penicillin).degrees_of_freedom == (3, 2)
