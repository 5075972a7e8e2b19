"""Exact tests against published counts of arrangements; the source stands beside each."""

from fractions import Fraction

import numpy as np
import pytest

from lossstats.exact_tests.lattice import on_lattice
from lossstats.exact_tests.resampling import permute_groups, sign_flip
from lossstats.exact_tests.subset_counts import cheaper

# Cushny and Peebles (1905), as in Student (1908), Biometrika 6, 1: extra hours of sleep under two drugs.
SLEEP = [-1.2, -2.4, -1.3, -1.3, 0.0, -1.0, -1.8, -0.8, -4.6, -1.4]
# Box, Hunter and Hunter, Statistics for Experimenters (1978), p. 100: wear of two sole materials, B less A, ten boys.
SHOES = [0.8, 0.6, 0.3, -0.1, 1.1, -0.2, 0.3, 0.5, 0.5, 0.3]
# The same, tomato plants, fertilisers A and B, pounds (from memory, recomputed).
TOMATO_A = [29.9, 11.4, 25.3, 16.5, 21.1]
TOMATO_B = [26.6, 23.7, 28.5, 14.2, 17.9, 24.3]
# Efron and Tibshirani (1993), An Introduction to the Bootstrap, Table 2.1 (from memory): survival of mice, days.
TREATED = [94, 197, 16, 38, 99, 141, 23]
CONTROL = [52, 104, 146, 10, 51, 30, 40, 27, 46]


def test_shoes():
    # Of 1024 sign arrangements 3 lie beyond and 4 are equal, on either side.
    assert sign_flip(SHOES).fraction == Fraction(14, 1024)


def test_sleep():
    # 4 of 1024, recomputed: one difference is 0, so two patterns of signs on either side are as extreme as all.
    test = sign_flip(SLEEP)
    assert test.fraction == Fraction(4, 1024)
    assert test.p_value == 0.00390625


def test_tomato():
    # 462 arrangements; 154 with a difference B - A at least as large, 3 of them equal (from memory, recomputed).
    test = permute_groups(TOMATO_B, TOMATO_A)
    assert test.relabellings == 462
    assert upper_tail(TOMATO_B, TOMATO_A) == 154
    assert 154 < test.fraction * 462 < 2 * 154


def test_mouse():
    # 1613 of 11440 allocations, one-sided (from memory, recomputed: the book gives about 0.14 by simulation).
    test = permute_groups(TREATED, CONTROL)
    assert test.relabellings == 11440
    assert upper_tail(TREATED, CONTROL) == 1613
    assert pytest.approx(0.141, abs=5e-4) == 1613 / 11440


def upper_tail(a, b):
    """Allocations with a difference of means at least as large, from the same counter that the two-sided p uses."""
    steps = on_lattice("a, b", (np.array(a, float), np.array(b, float))).steps
    return cheaper(steps).at_most(0)
