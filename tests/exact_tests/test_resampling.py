"""Exact tests against scipy's enumeration and by inverting them step by step."""

import math
import pickle
from fractions import Fraction
from itertools import combinations, permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from lossstats.exact_tests.resampling import permute_groups, sign_flip

steps = st.integers(-400, 400).map(lambda k: k * 0.005)


@given(st.lists(steps, min_size=2, max_size=8))
@settings(max_examples=40, deadline=None)
def test_sign_flip_counts_every_sign(d):
    observed = abs(sum(d))
    count = sum(
        abs(sum(s * x for s, x in zip(signs, d, strict=True))) >= observed - 1e-9
        for signs in product((1, -1), repeat=len(d))
    )
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
    assert "cannot reach p = 0.05 in the exact test: the smallest reachable is 0.0625" in test.notes[0]


@pytest.mark.parametrize(("n", "m", "smallest"), [(3, 3, 0.1), (4, 4, 2 / 70), (6, 6, 2 / 924), (3, 5, 1 / 56)])
def test_smallest_reachable_p(n, m, smallest):
    # 2 / C(2n, n); with unequal groups one allocation alone may be the most extreme.
    assert permute_groups(np.arange(n), 100 + np.arange(m) ** 2).smallest_p == pytest.approx(smallest)


def named(values):
    return {f"K{i:02d}": float(v) for i, v in enumerate(values)}


def random_values(seed, n):
    return np.random.default_rng(seed).normal(0.2, 1, n)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: sign_flip([0.1]), "differences: found 1 value"),
        (lambda: sign_flip([0.1, math.nan]), "differences: found nan at position 2"),
        (lambda: sign_flip(random_values(1, 30)), r"found 30 pairs, 2\*\*30 relabellings; accepted: at most 200000000 relabellings of values that are no multiples"),
        (lambda: permute_groups(random_values(1, 16), random_values(2, 16)), "found 16 and 16 units, 601080390 allocations"),
        (lambda: sign_flip(named(np.arange(-22, 28) * 30.000001 + 0.2)), "found 50 pairs over too many steps to count; accepted"),
        (lambda: permute_groups(named(np.arange(25) * 30.000001), named(np.arange(25) * 29.999999)), "a, b: found 25 and 25 units over too many steps"),
        (lambda: sign_flip([0.1, 0.25], step=0.1), "step: found 0.25 .value 2., which is no multiple of 0.1"),
        (lambda: sign_flip(random_values(1, 30), monte_carlo=999), "rng: found 999, None; accepted: at least 99"),
        (lambda: sign_flip(random_values(1, 30), monte_carlo=10, rng=1), "monte_carlo, rng: found 10, 1"),
        (lambda: sign_flip([0.1, 0.2, 0.3]).interval(1.0), "confidence: found 1.0"),
    ],
)  # fmt: skip
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()


def test_renderings():
    test = sign_flip([0.8, 0.6, 0.3, -0.1, 1.1, -0.2, 0.3, 0.5, 0.5, 0.3])
    assert "14 of 1024 relabellings" in str(test)
    assert "<td" in test._repr_html_()
    drawn = sign_flip(random_values(4, 30), monte_carlo=999, rng=1)
    assert "(999 relabellings drawn)" in str(drawn)
    assert "±" in drawn._repr_html_()
    assert pickle.loads(pickle.dumps(test)).interval(0.9) == test.interval(0.9)  # noqa: S301


@given(
    st.lists(steps, min_size=2, max_size=6),
    st.lists(steps, min_size=2, max_size=6),
    st.integers(-900, 900),
    st.randoms(),
)
@settings(max_examples=60, deadline=None)
def test_invariances_of_the_permutation_test(a, b, shift, random):
    test = permute_groups(a, b)
    assert permute_groups(b, a).fraction == test.fraction
    moved = [round(x + shift * 0.005, 6) for x in a], [round(x + shift * 0.005, 6) for x in b]
    assert permute_groups(*moved).fraction == test.fraction
    assert permute_groups([x * 200 for x in a], [x * 200 for x in b]).fraction == test.fraction
    shuffled = random.sample(a, len(a))
    assert permute_groups(shuffled, b).fraction == test.fraction
    low, high = test.interval(0.8)
    assert permute_groups(shuffled, b).interval(0.8) == (low, high)
    assert permute_groups(b, a).interval(0.8) == (-high, -low)
    assert permute_groups(*moved).interval(0.8) == (low, high)


def test_ties_on_the_lattice_bound_the_interval_whatever_the_order():
    a, b = [0.005, 0.01, 0.005, -0.005, -0.005], [0.005, 0.005, 0.01, 0.01, 0.005]
    for order in permutations(a):
        assert permute_groups(order, b).interval(0.8) == (-0.01, 0.0)


@given(st.lists(steps, min_size=2, max_size=9), st.randoms())
@settings(max_examples=60, deadline=None)
def test_invariances_of_the_sign_flip_test(d, random):
    test = sign_flip(d)
    assert sign_flip([-x for x in d]).fraction == test.fraction
    assert sign_flip([x * 200 for x in d]).fraction == test.fraction
    assert sign_flip(random.sample(d, len(d))).fraction == test.fraction
    low, high = test.interval(0.8)
    assert sign_flip([-x for x in d]).interval(0.8) == pytest.approx((-high, -low), abs=1e-12)


@given(st.lists(steps, min_size=2, max_size=5), st.lists(steps, min_size=2, max_size=5))
@settings(max_examples=40, deadline=None)
def test_off_the_lattice_the_counts_are_the_same(a, b):
    """The same numbers times pi are on no lattice: counted as floats, ties and all."""
    assert permute_groups(np.array(a) * math.pi, np.array(b) * math.pi).fraction == permute_groups(a, b).fraction
    assert sign_flip(np.array(a) * math.pi).fraction == sign_flip(a).fraction


@pytest.mark.parametrize(("unit", "level"), [(math.pi * 1e-9, 0.0), (math.pi * 1e-14, 0.0), (math.e * 1e-4, 1000.0)])
def test_off_the_lattice_the_size_of_the_values_does_not_matter(unit, level):
    """Ties of tiny values, and of values that scatter by a ten-millionth of their level, against whole numbers."""
    for a, b in (([0, 0], [0, 0, 0, 1, 1, 2]), ([6, 2, 0, -5, -4], [-9, -9, -9, -6, -1, 7]), ([0, 0], [0, 1])):
        whole, test = permute_groups(a, b), permute_groups(np.array(a) * unit + level, np.array(b) * unit + level)
        assert test.fraction == whole.fraction
        expected = np.array(whole.interval(0.6)) * unit
        assert test.interval(0.6) == pytest.approx(expected, abs=1e-9 * unit + 1e-12 * level)


def all_allocations(x, y):
    pooled, n = np.concatenate([x, y]), len(x)
    chosen = np.array(list(combinations(range(len(pooled)), n)))
    return pooled[chosen].mean(axis=1) - (pooled.sum() - pooled[chosen].sum(axis=1)) / len(y)


@given(
    st.lists(steps, min_size=3, max_size=5), st.lists(steps, min_size=3, max_size=5), st.sampled_from([0.7, 0.8, 0.9])
)
@settings(max_examples=40, deadline=None)
def test_interval_of_groups_inverts_both_one_sided_tests(a, b, confidence):
    """By enumeration at shifts just inside and just outside each end."""
    a, b = np.array(a), np.array(b)
    low, high = permute_groups(a, b).interval(confidence)
    alpha = (1 - confidence) / 2 + 1e-9  # 0.1 as a float is not quite 2 of 20
    if math.isinf(low):
        assert 1 / math.comb(len(a) + len(b), len(a)) > alpha
        return

    def tails(shift):
        stat = all_allocations(a, b + shift)
        observed = a.mean() - (b + shift).mean()
        return np.mean(stat >= observed - 1e-9), np.mean(stat <= observed + 1e-9)

    assert tails(low - 1e-6)[0] <= alpha < tails(low + 1e-6)[0]
    assert tails(high + 1e-6)[1] <= alpha < tails(high - 1e-6)[1]


def test_large_intervals_are_exact_typical_values():
    """Listing all 8191 subset means of 13 pairs and all 63503 swaps of 5 against 8 (units rounded to 0.005)."""
    rng = np.random.default_rng(8)
    d = np.round(rng.normal(0.1, 0.3, 13) / 0.005) * 0.005
    means = np.sort([np.mean(d[[i for i in range(13) if code >> i & 1]]) for code in range(1, 2**13)])
    k = math.floor(0.025 * 2**13)
    assert sign_flip(d).interval(0.95) == pytest.approx((means[k - 1], means[-k]), abs=1e-12)
    assert sign_flip(d * math.pi).interval(0.95) == pytest.approx(
        (means[k - 1] * math.pi, means[-k] * math.pi), abs=1e-9
    )
    a, b = np.round(rng.normal(7, 0.3, 5), 2), np.round(rng.normal(6.8, 0.3, 8), 2)
    swaps = np.sort(
        [np.mean(x) - np.mean(y) for m in range(1, 6) for x in combinations(a, m) for y in combinations(b, m)]
    )
    k = math.floor(0.025 * math.comb(13, 5))
    assert len(swaps) == math.comb(13, 5) - 1
    assert permute_groups(a, b).interval(0.95) == pytest.approx((swaps[k - 1], swaps[-k]), abs=1e-12)
    assert permute_groups(a * math.pi, b).interval(0.95)[0] == pytest.approx(
        np.sort([np.mean(x) * math.pi - np.mean(y) for m in range(1, 6) for x in combinations(a, m) for y in combinations(b, m)])[k - 1], abs=1e-9)  # fmt: skip


def test_large_cases_agree_with_the_normal_approximation():
    """25 against 25 (1.26e14 allocations), 40 and 70 pairs: the central limit holds to a few percent of p."""
    rng = np.random.default_rng(5)
    a, b = np.round(rng.normal(7, 0.3, 25), 2), np.round(rng.normal(6.95, 0.3, 25), 2)
    test = permute_groups(a, b)
    assert test.relabellings == math.comb(50, 25)
    z = (a.mean() - b.mean()) / math.sqrt(np.concatenate([a, b]).var(ddof=1) * 2 / 25)
    assert test.p_value == pytest.approx(2 * stats.norm.sf(abs(z)), rel=0.1)
    low, high = test.interval(0.95)
    assert low < a.mean() - b.mean() < high
    assert (low > 0 or high < 0) == (test.p_value < 0.05)
    for n in (40, 70):
        d = np.round(rng.normal(0.05, 0.3, n), 2)
        test = sign_flip(named(d))
        assert test.fraction.denominator <= 2**n
        assert test.p_value == pytest.approx(2 * stats.norm.sf(abs(d.sum()) / math.sqrt((d**2).sum())), rel=0.1)


def test_interval_of_many_pairs_inverts_the_test():
    """40 pairs: p of the differences less a shift passes 0.05 where the interval ends."""
    d = np.round(np.random.default_rng(6).normal(0.1, 0.3, 40), 2)
    low, high = sign_flip(named(d)).interval(0.95)
    outside, inside = (math.floor(low * 100) / 100, math.ceil(high * 100) / 100), (0.01, -0.01)
    for end, inward in zip(outside, inside, strict=True):  # ends are means of subsets: the next hundredths
        assert sign_flip(named(d - end - inward)).p_value > 0.05
        assert sign_flip(named(d - end)).p_value <= 0.05


def test_drawn_relabellings_hold_the_exact_p():
    """Off the lattice beyond counting: rounding the same values to 0.001 makes the exact p known."""
    rng = np.random.default_rng(7)
    d = np.round(rng.normal(0.15, 0.3, 30), 3)
    exact, drawn = sign_flip(d), sign_flip(d * math.pi, monte_carlo=20_000, rng=1)
    assert drawn.fraction is None and drawn.monte_carlo_uncertainty > 0
    assert drawn.p_value == pytest.approx(exact.p_value, abs=4 * drawn.monte_carlo_uncertainty)
    assert np.array(drawn.interval(0.95)) / math.pi == pytest.approx(np.array(exact.interval(0.95)), abs=0.01)
    a, b = np.round(rng.normal(7, 0.3, 18), 3), np.round(rng.normal(6.85, 0.3, 17), 3)
    exact, drawn = permute_groups(a, b), permute_groups(a * math.pi, b * math.pi, monte_carlo=20_000, rng=1)
    assert drawn.p_value == pytest.approx(exact.p_value, abs=4 * drawn.monte_carlo_uncertainty)
    assert np.array(drawn.interval(0.95)) / math.pi == pytest.approx(np.array(exact.interval(0.95)), abs=0.02)
    assert drawn == permute_groups(a * math.pi, b * math.pi, monte_carlo=20_000, rng=1)
    assert "not exact: its own standard uncertainty" in drawn.notes[0]


def test_too_many_steps_may_be_drawn_too():
    d = np.arange(-22, 28) * 30.000001 + 0.2
    drawn = sign_flip(named(d), monte_carlo=9999, rng=3)
    normal = 2 * stats.norm.sf(abs(d.sum()) / math.sqrt((d**2).sum()))
    assert drawn.p_value == pytest.approx(normal, abs=0.03)


def test_a_drawn_p_is_never_zero():
    d = 100 + random_values(3, 30)
    drawn = sign_flip(d, monte_carlo=999, rng=2)
    assert drawn.p_value == drawn.smallest_p == 1 / 1000


def test_level_and_needless_draws_are_noted():
    d = [0.41, 0.52, 0.28, 0.61, 0.37, 0.19]
    assert sign_flip(d).notes == ()
    assert (
        "cannot reach p = 0.01 in the exact test: the smallest reachable is 0.0312" in sign_flip(d, level=0.01).notes[0]
    )
    assert sign_flip(d, monte_carlo=999, rng=1).notes == ("all relabellings were counted; none was drawn",)


def test_means_of_three_mounts_need_their_step():
    thirds = np.random.default_rng(11).integers(-40, 90, 30) * 0.005 / 3
    with pytest.raises(ValueError, match="30 pairs.*step= if they are multiples"):
        sign_flip(thirds)
    assert sign_flip(thirds, step=0.005 / 3).fraction == sign_flip(np.rint(thirds / (0.005 / 3))).fraction


def test_units_that_do_not_scatter():
    assert permute_groups([7.0, 7.0], [7.0, 7.0]).fraction == 1
    assert sign_flip([0.0, 0.0, 0.0]).fraction == 1
    assert sign_flip([0.1, 0.1]).interval(0.4) == (0.1, 0.1)
