"""Outlier tests: critical values against printed tables, other functions and simulation."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.components.outlier_tests import (
    cochran_test,
    grubbs_limit,
    grubbs_test,
    mandel_h_limit,
    mandel_k_limit,
    mark_of,
)

NAMES = [f"L{k:02}" for k in range(1, 31)]


@pytest.mark.parametrize(
    ("laboratories", "one", "five"),
    [(3, 1.15, 1.15), (4, 1.49, 1.42), (5, 1.72, 1.57), (6, 1.87, 1.66), (8, 2.06, 1.75), (10, 2.18, 1.80)],
)
def test_mandel_h_table(laboratories, one, five):
    """ISO 5725-2:1994, tables 6 (1 %; as below) and 7 (5 %; from memory, recomputed)."""
    assert mandel_h_limit(laboratories, 0.01) == pytest.approx(one, abs=0.0051)
    assert mandel_h_limit(laboratories, 0.05) == pytest.approx(five, abs=0.0051)


# ISO 5725-2:1994, table 6: h, then k for n = 2 to 10, at 1 %; read from a copy of it, metrology.wordpress.com,
# "Indicators for Mandel's h and k statistics at 1% significance level".
TABLE_6 = """
3 1.15 1.71 1.64 1.58 1.53 1.49 1.46 1.43 1.41 1.39
4 1.49 1.91 1.77 1.67 1.60 1.55 1.51 1.48 1.45 1.43
5 1.72 2.05 1.85 1.73 1.65 1.59 1.55 1.51 1.48 1.46
6 1.87 2.14 1.90 1.77 1.68 1.62 1.57 1.53 1.50 1.47
7 1.98 2.20 1.94 1.79 1.70 1.63 1.58 1.54 1.51 1.48
8 2.06 2.25 1.97 1.81 1.71 1.65 1.59 1.55 1.52 1.49
9 2.13 2.29 1.99 1.82 1.73 1.66 1.60 1.56 1.53 1.50
10 2.18 2.32 2.00 1.84 1.74 1.66 1.61 1.57 1.53 1.50
11 2.22 2.34 2.01 1.85 1.74 1.67 1.62 1.57 1.54 1.51
12 2.25 2.36 2.02 1.85 1.75 1.68 1.62 1.58 1.54 1.51
13 2.27 2.38 2.03 1.86 1.76 1.68 1.63 1.58 1.55 1.52
14 2.30 2.39 2.04 1.87 1.76 1.69 1.63 1.58 1.55 1.52
"""


@pytest.mark.parametrize("row", TABLE_6.strip().splitlines(), ids=lambda row: f"{row.split()[0]} laboratories")
def test_mandel_table_of_the_standard(row):
    """The printed k are off by up to one in the last digit: exact for p = 8, n = 2 is 2.256, printed 2.25."""
    p, h, *ks = map(float, row.split())
    assert mandel_h_limit(int(p), 0.01) == pytest.approx(h, abs=0.0101)
    found = [mandel_k_limit(n - 1, p * (n - 1), 0.01) for n in range(2, 11)]
    assert found == pytest.approx(ks, abs=0.0101)


@pytest.mark.parametrize(("p", "n"), [(3, 2), (8, 3), (5, 6)])
def test_mandel_k_by_f(p, n):
    """Closed form for equal numbers: k = sqrt(p / (1 + (p - 1) / F)), F with n - 1 and (p - 1)(n - 1)."""
    for alpha in (0.01, 0.05):
        f = stats.f.isf(alpha, n - 1, (p - 1) * (n - 1))
        assert mandel_k_limit(n - 1, p * (n - 1), alpha) == pytest.approx(math.sqrt(p / (1 + (p - 1) / f)))


def test_mandel_limits_hold_their_level_for_unequal_numbers():
    rng = np.random.default_rng(1)
    dofs = np.array([1, 2, 4, 3, 2])
    variances = rng.chisquare(dofs, (40_000, 5)) / dofs
    k = np.sqrt(variances / (variances @ dofs / dofs.sum())[:, None])
    limits = [mandel_k_limit(nu, dofs.sum(), 0.05) for nu in dofs]
    assert (k > limits).mean(axis=0) == pytest.approx([0.05] * 5, abs=4 * 0.0011)
    means = rng.normal(size=(40_000, 5))
    h = (means - means.mean(axis=1, keepdims=True)) / means.std(axis=1, ddof=1, keepdims=True)
    assert (np.abs(h) > mandel_h_limit(5, 0.05)).mean(axis=0) == pytest.approx([0.05] * 5, abs=4 * 0.0011)


@pytest.mark.parametrize(
    ("p", "n", "one", "five"),
    [(3, 2, 0.993, 0.967), (5, 3, 0.788, 0.684), (8, 3, 0.615, 0.516), (10, 4, 0.447, 0.373), (6, 2, 0.883, 0.781)],
)
def test_cochran_table(p, n, one, five):
    """ISO 5725-2, table 4 (from memory, recomputed)."""
    found = cochran_test(np.arange(1.0, p + 1), np.full(p, n - 1.0), NAMES)
    assert found.critical_1 == pytest.approx(one, abs=0.0011) and found.critical_5 == pytest.approx(five, abs=0.0011)
    assert found.statistic == pytest.approx(p**2 / sum(k * k for k in range(1, p + 1)))
    assert found.suspects == (NAMES[p - 1],)


def test_p_and_critical_value_say_the_same():
    for largest in np.linspace(1.2, 6, 30):
        found = cochran_test(np.array([1, 1, largest, 1.1, 0.9]), np.full(5, 2.0), NAMES)
        assert (found.p_value <= 0.05) == (found.statistic >= found.critical_5)
        assert (found.p_value <= 0.01) == (found.statistic >= found.critical_1)
        single = grubbs_test(np.array([1, 1.1, 0.9, 1.2, 1 + largest / 2]), NAMES, high=True)
        assert (single.p_value <= 0.05) == (single.statistic >= single.critical_5)
        assert (single.p_value <= 0.01) == (single.statistic >= single.critical_1)


def test_cochran_holds_its_level_for_unequal_numbers():
    rng = np.random.default_rng(2)
    dofs = np.array([1.0, 5.0, 2.0, 2.0])
    found = np.mean(
        [cochran_test(np.sqrt(rng.chisquare(dofs) / dofs), dofs, NAMES).p_value <= 0.05 for _ in range(1500)]
    )
    assert 0.03 < found < 0.068


def test_cochran_without_scatter_elsewhere_is_never_p_zero():
    found = cochran_test(np.array([0.0, 0.0, 0.4]), np.ones(3), NAMES)
    assert found.statistic == 1 and 0 < found.p_value < 0.01 and found.suspects == ("L03",)


# Critical values of Cochran's test at 5 %, n = 2 to 5: National Measurement System (UK), "Cochran test",
# www.nmschembio.org.uk, read there.
COCHRAN_5 = """
2 0.998 0.975 0.939 0.906
3 0.967 0.871 0.798 0.746
4 0.906 0.768 0.684 0.629
5 0.841 0.684 0.598 0.544
6 0.781 0.616 0.532 0.480
7 0.727 0.561 0.480 0.431
8 0.680 0.516 0.438 0.391
9 0.638 0.477 0.403 0.358
10 0.602 0.445 0.373 0.331
15 0.471 0.335 0.276 0.242
20 0.389 0.270 0.221 0.192
"""


@pytest.mark.parametrize("row", COCHRAN_5.strip().splitlines(), ids=lambda row: f"{row.split()[0]} laboratories")
def test_cochran_table_at_5_percent(row):
    p, *printed = row.split()
    tests = [cochran_test(np.arange(1.0, int(p) + 1), np.full(int(p), n - 1.0), NAMES) for n in range(2, 6)]
    assert [test.critical_5 for test in tests] == pytest.approx([float(c) for c in printed], abs=0.0011)


# Critical values of Grubbs' test of one mean at 5 % and 1 %, two-sided: chem.libretexts.org, Analytic References,
# Appendix 07, read there (n = 7 at 5 % and n = 15 at 1 % are misprinted and left out); 20 as in ISO 5725-2, table 5
# (from memory, recomputed).
GRUBBS = {
    3: (1.155, 1.155), 4: (1.481, 1.496), 5: (1.715, 1.764), 6: (1.887, 1.973), 8: (2.126, 2.274), 9: (2.215, 2.387),
    10: (2.290, 2.482), 11: (2.355, 2.564), 12: (2.412, 2.636), 13: (2.462, 2.699), 14: (2.507, 2.755),
    20: (2.709, 3.001),
}  # fmt: skip


@pytest.mark.parametrize("p", GRUBBS)
def test_grubbs_table(p):
    assert (grubbs_limit(p, 0.05), grubbs_limit(p, 0.01)) == pytest.approx(GRUBBS[p], abs=0.0011)


def test_grubbs_high_and_low_are_mirror_images():
    means = np.array([6.1, 6.2, 6.15, 6.9, 6.05])
    high, low = grubbs_test(means, NAMES, high=True), grubbs_test(-means, NAMES, high=False)
    assert high.suspects == low.suspects == ("L04",) and high.statistic == low.statistic
    assert high.mark and grubbs_test(means, NAMES, high=False).mark == ""
    assert "L04: " in high.words and high.words in str(high) and "highest" in high._repr_html_()
    assert grubbs_test(means, NAMES, high=False).words == "nothing stands out"


def test_marks():
    assert [mark_of(p) for p in (0.01, 0.0101, 0.05, 0.0501)] == ["**", "*", "*", ""]


def test_refusals():
    with pytest.raises(ValueError, match=r"means: found \[1.0, 2.0\]; accepted: 3 means or more that differ"):
        grubbs_test(np.array([1.0, 2.0]), NAMES, high=True)
    with pytest.raises(ValueError, match="means: found .*; accepted: 3 means or more that differ"):
        grubbs_test(np.ones(4), NAMES, high=True)
    with pytest.raises(ValueError, match="laboratories: found 2; accepted: a whole number of at least 3"):
        mandel_h_limit(2, 0.05)
    with pytest.raises(ValueError, match="dof: found 4; accepted: above 0 and below dof_of_all, here 4"):
        mandel_k_limit(4, 4, 0.05)
    with pytest.raises(ValueError, match="sds: found .*; accepted: two standard deviations or more, not all 0"):
        cochran_test(np.zeros(3), np.ones(3), NAMES)
