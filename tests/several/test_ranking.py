"""Rankings: against scipy, closed forms and plain second implementations."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.multitest import multipletests

from lossstats.several.ranking import rank_conditions

RNG = np.random.default_rng(11)
ARTICLE = RNG.normal(6.5, 0.3, 7)
SPREAD = {
    "A": RNG.normal(6.6, 0.3, 5),
    "B": RNG.normal(5.9, 0.2, 6),
    "C": RNG.normal(6.5, 0.4, 4),
    "D": RNG.normal(7.2, 0.3, 7),
}
BLOCKS = {k: ARTICLE + shift + RNG.normal(0, 0.1, 7) for k, shift in zip("ABCD", (0.0, -0.5, 0.06, 0.3), strict=True)}


def test_all_pairs_equal_scipy():
    ranking, reference = rank_conditions(SPREAD), stats.tukey_hsd(*SPREAD.values(), equal_var=False)
    interval = reference.confidence_interval(0.95)
    for pair in ranking.comparisons:
        i, j = (list(SPREAD).index(name) for name in (pair.first, pair.second))
        assert (pair.low, pair.high) == pytest.approx((interval.low[i, j], interval.high[i, j]), abs=1e-6)
        assert pair.p_adjusted == pytest.approx(reference.pvalue[i, j], abs=1e-6)
    assert ranking.overall_p == pytest.approx(stats.f_oneway(*SPREAD.values(), equal_var=False).pvalue)


def test_many_to_one_by_hand():
    """Welch t of each with the control; Holm's p by statsmodels; intervals by the multivariate t of scipy."""
    ranking = rank_conditions(SPREAD, control="A")
    single = [stats.ttest_ind(SPREAD["A"], SPREAD[name], equal_var=False) for name in "BCD"]
    assert [p.p_adjusted for p in ranking.comparisons] == pytest.approx(
        multipletests([t.pvalue for t in single], method="holm")[1]
    )
    v = {name: np.var(x, ddof=1) / len(x) for name, x in SPREAD.items()}
    loading = np.array([math.sqrt(v["A"] / (v["A"] + v[name])) for name in "BCD"])
    shape = np.outer(loading, loading)
    np.fill_diagonal(shape, 1.0)
    for pair, t in zip(ranking.comparisons, single, strict=True):
        u = math.sqrt(v["A"] + v[pair.second])
        box = np.full(3, (pair.high - pair.difference) / u)
        inside = stats.multivariate_t.cdf(box, shape=shape, df=t.df, lower_limit=-box, random_state=2, maxpts=100_000)
        assert inside == pytest.approx(0.95, abs=5e-5)
        assert pair.difference == pytest.approx(SPREAD["A"].mean() - SPREAD[pair.second].mean())


@pytest.mark.parametrize("control", [None, "A"])
def test_blocks_by_hand(control):
    ranking = rank_conditions(BLOCKS, control=control, blocks=True)
    single = [stats.ttest_rel(BLOCKS[p.first], BLOCKS[p.second]) for p in ranking.comparisons]
    number = 3 if control else 6
    assert len(ranking.comparisons) == number
    holm = multipletests([t.pvalue for t in single], method="holm")[1]
    for pair, t, p in zip(ranking.comparisons, single, holm, strict=True):
        interval = t.confidence_interval(1 - 0.05 / number)
        assert (pair.low, pair.high) == pytest.approx((interval.low, interval.high))
        assert pair.p_adjusted == pytest.approx(p)


def test_order_groups_and_words():
    ranking = rank_conditions(BLOCKS, control="A", blocks=True, matters=0.15)
    assert ranking.order[0] == "B" and ranking.order[3] == "D"
    assert ranking.groups == (ranking.order[1:3],)  # A and C
    assert [p.verdict.kind for p in ranking.comparisons] == ["saves", "no difference that matters", "costs"]
    assert "the others not with each other" in " ".join(ranking.notes)
    every = rank_conditions(BLOCKS, blocks=True)
    assert every.groups == ranking.groups and every.notes == ()


def test_groups_may_overlap():
    steps = {name: [k - 1, k - 0.3, k + 0.3, k + 1] for k, name in enumerate("ABCDE")}
    ranking = rank_conditions(steps)
    apart = {frozenset((p.first, p.second)) for p in ranking.comparisons if not p.low <= 0 <= p.high}
    assert apart  # the outermost are told apart
    assert len(ranking.groups) > 1
    for group in ranking.groups:  # no pair in a group is told apart, and nothing can be added
        assert not any(frozenset((a, b)) in apart for a in group for b in group if a != b)
        for other in set("ABCDE") - set(group):
            assert any(frozenset((other, name)) in apart for name in group)
    together = {frozenset((a, b)) for group in ranking.groups for a in group for b in group if a != b}
    assert together | apart == {frozenset((p.first, p.second)) for p in ranking.comparisons}


def test_all_told_apart_leaves_no_group():
    wide = {"A": [1.0, 1.1, 1.2], "B": [5.0, 5.1, 5.2], "C": [9.0, 9.1, 9.2]}
    assert rank_conditions(wide).groups == ()
    assert rank_conditions(wide, control="A").groups == ()


def test_higher_is_better_turns_signs_and_order():
    low, high = rank_conditions(SPREAD, control="A"), rank_conditions(SPREAD, control="A", better="higher")
    assert high.order == low.order[::-1]
    for one, other in zip(low.comparisons, high.comparisons, strict=True):
        assert (one.difference, one.low, one.p_adjusted) == pytest.approx(
            (-other.difference, -other.high, other.p_adjusted)
        )
    assert high.ratios.equals(low.ratios)


def test_ratios_have_simultaneous_limits_in_the_log():
    ranking = rank_conditions(SPREAD, control="A")
    for ratio in ranking.control_ratios:
        assert ratio.percent == pytest.approx(100 * SPREAD[ratio.condition].mean() / SPREAD["A"].mean())
        assert ratio.low * ratio.high == pytest.approx(ratio.percent**2)
    # A tiny relative scatter: limits of ratio and difference agree to first order.
    far = {name: 1000 + x for name, x in SPREAD.items()}
    ranking = rank_conditions(far, control="A")
    for pair, ratio in zip(ranking.comparisons, ranking.control_ratios, strict=True):
        assert 100 - ratio.high == pytest.approx(100 * pair.low / far["A"].mean(), abs=2e-3)


@given(st.floats(-3, 3), st.floats(0.2, 20))
@settings(max_examples=8, deadline=None)
def test_shift_and_scale(shift, factor):
    for control in (None, "C"):
        ranking = rank_conditions(SPREAD, control=control)
        moved = rank_conditions({k: factor * (x + shift) for k, x in SPREAD.items()}, control=control)
        for one, other in zip(ranking.comparisons, moved.comparisons, strict=True):
            assert (factor * one.low, factor * one.high) == pytest.approx((other.low, other.high), rel=1e-6, abs=1e-9)
            assert one.p_adjusted == pytest.approx(other.p_adjusted, rel=1e-6, abs=1e-12)


def test_gain_enters_once_and_outside_the_factor():
    plain, shared = (rank_conditions(SPREAD, control="A", shared=s) for s in (None, {"gain": 0.05}))
    for one, other in zip(plain.comparisons, shared.comparisons, strict=True):
        gain = stats.norm.ppf(0.975) * 0.05 * abs(one.difference)
        assert other.high - other.difference == pytest.approx(math.hypot(one.high - one.difference, gain), rel=1e-9)
        assert other.components["gain"] == pytest.approx(0.05 * abs(one.difference))
        assert other.p_adjusted == one.p_adjusted
    assert shared.ratios.equals(plain.ratios)  # cancels in a ratio


def test_zero_cancels_in_differences_and_not_in_ratios():
    plain, shared = (rank_conditions(SPREAD, control="A", shared=s) for s in (None, {"zero": 0.5}))
    assert [p.low for p in plain.comparisons] == pytest.approx([p.low for p in shared.comparisons])
    assert (shared.ratios["low"] < plain.ratios["low"]).all()


def test_other_confidence_and_simultaneous_is_wider_than_single():
    ninety, usual = rank_conditions(SPREAD, confidence=0.9), rank_conditions(SPREAD)
    assert all(a.low > b.low for a, b in zip(ninety.comparisons, usual.comparisons, strict=True))
    for pair in usual.comparisons:
        assert pair.factor > stats.t.ppf(0.975, pair.degrees_of_freedom)


def test_two_units_have_intervals_and_no_verdict():
    ranking = rank_conditions({**SPREAD, "E": [6.0, 6.2]}, control="A")
    assert ranking.comparisons[-1].verdict.kind == "no verdict"
    assert ranking.comparisons[-1].low < ranking.comparisons[-1].high
    assert any("unequal and small groups (5, 6, 4, 7, 2)" in note for note in ranking.notes)
    apart = rank_conditions({name: [x, x + 0.001] for name, x in zip("ABC", (1, 2, 3), strict=True)})
    assert all(not pair.low <= 0 <= pair.high for pair in apart.comparisons) and apart.groups == (("A", "B", "C"),)


def test_floor_is_noted():
    values = {"A": [6.0, 6.0, 6.0], "B": [6.0, 6.0, 6.0], "C": [6.0, 6.2, 6.1]}
    ranking = rank_conditions(values, resolution=0.1)
    assert "the readings set these intervals" in ranking.notes[0] and "B against A" in ranking.notes[0]
    assert ranking.comparisons[0].p_adjusted == 1.0


def test_p_and_interval_that_disagree_are_noted():
    # Holm's smallest p falls below 5 % where the single-step interval still holds 0.
    base = RNG.normal(6.0, 0.2, 6)
    for shift in np.arange(0.2, 0.6, 0.002):
        ranking = rank_conditions(
            {"A": base, "B": base[::-1] - shift, "C": base - shift, "D": base - shift}, control="A"
        )
        split = [(p.p_adjusted < 0.05) != (not p.low <= 0 <= p.high) for p in ranking.comparisons]
        assert any("interval and adjusted p disagree in" in note for note in ranking.notes) == any(split)
        if any(split):
            return
    pytest.fail("no such case met")


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"control": "X"}, "control: found 'X'; accepted: 'A' or 'B' or 'C' or 'D', or None"),
        ({"confidence": 95}, "confidence: found 95; accepted: a number between 0 and 1"),
        ({"matters": -0.1}, "matters: found -0.1; accepted: a finite number above 0, or None"),
        ({"better": "less"}, "better: found 'less'; accepted: 'lower' or 'higher'"),
        ({"resolution": -1}, "resolution: found -1; accepted: 0 or above"),
        ({"shared": {"gain": -0.1}}, r"shared\['gain'\]: found -0.1; accepted: u >= 0"),
    ],
)
def test_options_are_checked(options, match):
    with pytest.raises(ValueError, match=match):
        rank_conditions(SPREAD, **options)


def test_ratio_near_zero_is_refused_and_does_not_overflow():
    values = {"A": [6.0, 6.3, 6.1], "B": [0.4, -0.5, 0.2], "C": [0.001, -0.001, 0.0005]}
    ratios = rank_conditions(values, control="A").control_ratios
    assert all(ratio.percent is None and "not clearly above zero" in ratio.why_no_percent for ratio in ratios)
