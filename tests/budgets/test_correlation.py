"""Correlations: numpy's coefficients, and impossible sets named."""

import itertools
import re

import numpy as np
import pytest

from lossstats.budgets.correlation import correlated_groups, correlation_matrix
from lossstats.budgets.source import Source

FOUR = {name: Source.normal(0.1) for name in "abcd"}


def drawn(n=6, seed=3):
    readings = np.random.default_rng(seed).normal(size=(3, n))
    readings[1] += readings[0]
    return readings, {name: Source.readings(row) for name, row in zip("VIp", readings, strict=True)}


def test_simultaneous_readings_have_the_coefficients_of_numpy():
    readings, inputs = drawn()
    found = correlation_matrix(inputs, simultaneous=[("V", "I", "p")])
    assert found == pytest.approx(np.corrcoef(readings), abs=1e-14)


def test_order_is_that_of_the_inputs_not_of_the_group():
    readings, inputs = drawn()
    found = correlation_matrix(inputs, simultaneous=[("p", "V")])
    assert found[0, 2] == pytest.approx(np.corrcoef(readings)[0, 2])
    assert found[0, 1] == 0


def test_stated_coefficients_either_way_round():
    found = correlation_matrix(FOUR, {("c", "a"): -0.3, ("a", "c"): -0.3})
    assert found[0, 2] == found[2, 0] == -0.3
    assert np.count_nonzero(found) == 6


def test_stated_and_simultaneous_side_by_side():
    readings, inputs = drawn()
    found = correlation_matrix(
        {**inputs, "g": Source.normal(0.1), "h": Source.normal(0.1)}, {("g", "h"): 1}, [("V", "I")]
    )
    assert found[3, 4] == 1
    assert found[0, 1] == pytest.approx(np.corrcoef(readings)[0, 1])


def test_full_correlation_of_all_is_possible():
    pairs = {("a", "b"): 1, ("a", "c"): 1, ("b", "c"): 1}
    assert correlation_matrix(FOUR, pairs)[:3, :3].tolist() == [[1.0] * 3] * 3


def test_a_quantity_that_does_not_move_is_not_correlated():
    inputs = {"a": Source.readings([1.0, 2.0, 3.0]), "b": Source.readings([5.0, 5.0, 5.0])}
    assert correlation_matrix(inputs, simultaneous=[("a", "b")]).tolist() == [[1, 0], [0, 1]]


def test_groups_follow_chains():
    matrix = correlation_matrix(FOUR, {("a", "d"): 0.5, ("d", "b"): 0.5})
    assert correlated_groups(matrix) == [[0, 1, 3], [2]]


def test_impossible_set_names_its_pairs_and_no_others():
    pairs = {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9, ("c", "d"): 0.1}
    with pytest.raises(ValueError, match="accepted: coefficients that can hold together") as caught:
        correlation_matrix(FOUR, pairs)
    assert "found r(a, b) = 0.9, r(a, c) = -0.9, r(b, c) = 0.9; accepted" in str(caught.value)


def test_impossible_for_want_of_a_third_coefficient():
    with pytest.raises(ValueError, match=r"r\(a, b\) = 0.9, r\(a, c\) = 0.9, r\(b, c\) = 0; .* not given counts as 0"):
        correlation_matrix(FOUR, {("a", "b"): 0.9, ("a", "c"): 0.9})


def test_impossible_only_as_four():
    # Every three of them can have r = -0.4 (1 - 2 * 0.4 > 0), four cannot (1 - 3 * 0.4 < 0).
    pairs = dict.fromkeys(itertools.combinations("abcd", 2), -0.4)
    with pytest.raises(ValueError, match=r"r\(c, d\) = -0.4; .*smallest eigenvalue of the matrix, here -0.2,"):
        correlation_matrix(FOUR, pairs)


BAD = [
    ({("a", "x"): 0.5}, (), "correlation: found 'x'; accepted: one of the inputs a, b, c, d (in ('a', 'x'))"),
    ({("a",): 0.5}, (), "correlation: found ('a',); accepted: pairs of input names"),
    ({"ab": 0.5}, (), "correlation: found 'ab'; accepted: pairs of input names"),
    ({("a", "a"): 0.5}, (), "correlation: found ('a', 'a'); accepted: two different inputs"),
    ({("a", "b"): 1.2}, (), "correlation[('a', 'b')]: found 1.2; accepted: a coefficient from -1 to 1"),
    ({("a", "b"): float("nan")}, (), "correlation[('a', 'b')]: found nan; accepted: a finite number"),
    ({("a", "b"): 0.1, ("b", "a"): 0.2}, (), "correlation[('b', 'a')]: found 0.2; accepted: 0.1 again"),
    ({}, ("a", "b"), "simultaneous[0]: found 'a'; accepted: groups of two or more input names"),
    ({}, "ab", "simultaneous: found 'ab'; accepted: groups of two or more input names"),
    ({}, [("a",)], "simultaneous[0]: found ('a',); accepted: groups of two or more"),
    ({}, [("a", "x")], "simultaneous[0]: found 'a'; accepted: inputs made by Source.readings"),
    ({}, [("x", "a")], "simultaneous[0]: found 'x'; accepted: one of the inputs a, b, c, d"),
]


@pytest.mark.parametrize(("correlation", "simultaneous", "text"), BAD, ids=[text for *_, text in BAD])
def test_bad_input(correlation, simultaneous, text):
    with pytest.raises(ValueError, match="^" + re.escape(text)):
        correlation_matrix(FOUR, correlation, simultaneous)


def test_unequal_numbers_of_readings():
    inputs = {"a": Source.readings([1, 2, 3]), "b": Source.readings([1, 2])}
    with pytest.raises(
        ValueError, match=re.escape("found {'a': 3, 'b': 2}; accepted: the same number of readings of each")
    ):
        correlation_matrix(inputs, simultaneous=[("a", "b")])


def test_pair_correlated_twice():
    _, inputs = drawn()
    with pytest.raises(
        ValueError, match="accepted: no coefficient for a pair that simultaneous readings already correlate"
    ):
        correlation_matrix(inputs, {("V", "I"): 0.5}, [("I", "V")])
