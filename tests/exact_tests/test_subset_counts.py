"""Counts by half sums and by tables against listing everything."""

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lossstats.exact_tests.subset_counts import (
    FlipSums,
    FlipTable,
    SwapSums,
    SwapTable,
    cheaper,
    sign_sums_at_most,
    size_sum_table,
    subset_sums,
)  # fmt: skip

whole = st.lists(st.integers(-60, 60), min_size=1, max_size=6)
limits = st.tuples(st.integers(-150, 150), st.integers(-300, 300), st.sampled_from([1, 2, 7, 72]))


def subsets(values):
    return [c for m in range(len(values) + 1) for c in combinations(values, m)]


@given(whole, limits)
@settings(max_examples=80, deadline=None)
def test_subsets(values, limit):
    total, each, scale = limit
    count = sum(sum(c) * scale <= total * scale + len(c) * each for c in subsets(values))
    array = np.array(values)
    assert FlipSums(array).at_most(total, each, scale) == count
    assert FlipTable(array).at_most(total, each, scale) == count
    assert FlipSums(array.astype(float), 1e-9).at_most(total, each / scale) == count


@given(whole, whole, limits)
@settings(max_examples=80, deadline=None)
def test_pairs_of_subsets(x, y, limit):
    total, each, scale = limit
    count = sum(
        len(a) == len(b) and (sum(a) - sum(b)) * scale <= total * scale + len(a) * each
        for a in subsets(x) for b in subsets(y)
    )  # fmt: skip
    one, other = np.array(x), np.array(y)
    assert SwapSums(one, other).at_most(total, each, scale) == count
    assert SwapTable(one, other).at_most(total, each, scale) == count
    assert SwapSums(one.astype(float), other.astype(float), 1e-9).at_most(total, each / scale) == count


@given(st.lists(st.integers(0, 50), min_size=1, max_size=9), st.integers(0, 300))
@settings(max_examples=60, deadline=None)
def test_sums_of_sizes(sizes, limit):
    assert sign_sums_at_most(np.array(sizes), limit) == sum(sum(c) <= limit for c in subsets(sizes))


def test_both_ways_agree_where_neither_can_be_listed():
    rng = np.random.default_rng(1)
    x, y = rng.integers(0, 80, 14), rng.integers(10, 90, 15)
    assert SwapSums(x, y).at_most(3) == SwapTable(x, y).at_most(3)
    d = rng.integers(-80, 120, 22)
    assert FlipSums(d).at_most(0, 35, 2) == FlipTable(d).at_most(0, 35, 2)
    sizes = np.abs(np.concatenate([d, d]))
    assert sign_sums_at_most(sizes, 500) == FlipSums(sizes).at_most(500)


def test_counts_outgrow_64_bits_without_overflow():
    table = size_sum_table(np.ones(70, np.int64), 35, math.comb(70, 35))
    assert table[35, 35] == math.comb(70, 35) > 2**63
    assert sign_sums_at_most(np.ones(80, np.int64), 40) == sum(math.comb(80, k) for k in range(41))


def test_largest_subset_wanted():
    sums = subset_sums(np.array([1, 2, 4, 8]), 2)
    assert sorted(sums.tolist()) == sorted(sum(c) for c in subsets([1, 2, 4, 8]) if len(c) <= 2)


@pytest.mark.parametrize(
    ("samples", "kind"),
    [
        ((np.arange(8), np.arange(8)), SwapSums),
        ((np.arange(25), np.arange(25)), SwapTable),
        ((np.arange(12.0), np.arange(12.0)), SwapSums),
        ((np.arange(10),), FlipSums),
        ((np.arange(50),), FlipTable),
        ((np.arange(60) * 10**6,), type(None)),
        ((np.arange(40.0), np.arange(40.0)), type(None)),
    ],
)
def test_the_cheaper_way(samples, kind):
    assert isinstance(cheaper(samples), kind)
