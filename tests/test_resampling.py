"""Exact tests against scipy's enumeration and by inverting them step by step."""

import math
from fractions import Fraction
from itertools import combinations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from lossstats.resampling import permute_groups, sign_flip

steps = st.integers(-400, 400).map(lambda k: k * 0.005)


@given(st.lists(steps, min_size=2, max_size=8))
@settings(max_examples=40, deadline=None)
def test_sign_flip_counts_every_sign(d):
    observed = abs(sum(d))
    count = sum(abs(sum(s * x for s, x in zip(signs, d, strict=True))) >= observed - 1e-9 for signs in product((1, -1), repeat=len(d)))
    assert sign_flip(d).fraction == Fraction(count, 2 ** len(d))


@given(st.lists(steps, min_size=2, max_size=5), st.lists(steps, min_size=2, max_size=5))
@settings(max_examples=40, deadline=None)
def test_permutation_counts_every_allocation(a, b):
    pooled, n = [*a, *b], len(a)
    observed = abs(np.mean(a) - np.mean(b))
    count = 0
    for chosen in combinations(range(len(pooled)), n):
        rest = [pooled[i] for i in range(len(pooled)) if i not in chosen]
        count += abs(np.mean([pooled[i] for i in chosen]) - np.mean(rest)) >= observed - 1e-9
    assert permute_groups(a, b).fraction == Fraction(count, math.comb(len(pooled), n))
    assert permute_groups(b, a).fraction == permute_groups(a, b).fraction


def test_against_scipy():
    rng = np.random.default_rng(3)
    a, b = rng.normal(7, 0.3, 6), rng.normal(6.5, 0.3, 5)
    reference = stats.permutation_test((a, b), lambda x, y, axis: abs(x.mean(axis) - y.mean(axis)), alternative="greater", n_resamples=1e5, vectorized=True)  # fmt: skip
    assert permute_groups(a, b).p_value == pytest.approx(reference.pvalue, abs=1e-12)
    d = a - 6.8
    reference = stats.permutation_test((d,), lambda x, axis: abs(x.mean(axis)), permutation_type="samples", alternative="greater", n_resamples=1e5, vectorized=True)  # fmt: skip
    assert sign_flip(d).p_value == pytest.approx(reference.pvalue, abs=1e-12)


def one_sided(x, y, shift):
    """Share of allocations with at least the observed mean difference once y is shifted."""
    pooled, n = [*x, *(np.asarray(y) + shift)], len(x)
    observed = np.mean(x) - np.mean(pooled[n:])
    stat = [np.mean([pooled[i] for i in c]) - np.mean([pooled[i] for i in range(len(pooled)) if i not in c]) for c in combinations(range(len(pooled)), n)]  # fmt: skip
    return np.mean(np.array(stat) >= observed - 1e-12), np.mean(np.array(stat) <= observed + 1e-12)


def test_interval_inverts_the_permutation_test():
    rng = np.random.default_rng(1)
    a, b = rng.normal(0, 1, 6), rng.normal(1, 1, 5)
    low, high = permute_groups(a, b).interval(0.95)
    assert one_sided(a, b, low - 1e-7)[0] <= 0.025 < one_sided(a, b, low + 1e-7)[0]
    assert one_sided(a, b, high + 1e-7)[1] <= 0.025 < one_sided(a, b, high - 1e-7)[1]


def test_interval_inverts_the_sign_flip_test():
    d = np.array([0.41, 0.52, 0.28, 0.61, 0.37, 0.19, 0.44])
    low, high = sign_flip(d).interval(0.95)

    def upper_tail(centre):
        moved = d - centre
        sums = [sum(s * x for s, x in zip(signs, moved, strict=True)) for signs in product((1, -1), repeat=len(d))]
        return np.mean(np.array(sums) >= moved.sum() - 1e-12)

    assert upper_tail(low - 1e-7) <= 0.025 < upper_tail(low + 1e-7)
    assert 1 - upper_tail(high - 1e-7) < 1 - 0.025
    assert low < d.mean() < high


def test_too_few_units_have_no_finite_interval():
    test = sign_flip([0.4, 0.5, 0.3, 0.6, 0.4])
    assert test.interval(0.95) == (-math.inf, math.inf)
    assert test.smallest_p == 0.0625
    assert "cannot reach p = 0.05: the smallest reachable is 0.0625" in test.notes[0]


@pytest.mark.parametrize(("n", "m", "smallest"), [(3, 3, 0.1), (4, 4, 2 / 70), (6, 6, 2 / 924), (3, 5, 1 / 56)])
def test_smallest_reachable_p(n, m, smallest):
    # 2 / C(2n, n); with unequal groups one allocation alone may be the most extreme.
    assert permute_groups(np.arange(n), 100 + np.arange(m) ** 2).smallest_p == pytest.approx(smallest)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: sign_flip([0.1]), "differences: found 1 value"),
        (lambda: sign_flip([0.1, math.nan]), "differences: found nan at position 2"),
        (lambda: sign_flip(np.ones(25)), "found 25 pairs, .* accepted: at most"),
        (lambda: permute_groups(np.ones(15), np.ones(15)), "found 15 and 15 units, 155117520 allocations"),
        (lambda: sign_flip([0.1, 0.2, 0.3]).interval(1.0), "confidence: found 1.0"),
    ],
)
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()


def test_renderings():
    assert "14 of 1024 relabellings" in str(sign_flip([0.8, 0.6, 0.3, -0.1, 1.1, -0.2, 0.3, 0.5, 0.5, 0.3]))
