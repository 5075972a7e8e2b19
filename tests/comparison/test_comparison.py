"""Comparisons by design: against scipy, closed forms and plain second implementations."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from lossstats.comparison.comparison import (
    compare_crossover,
    compare_groups,
    compare_pairs,
    compare_single,
    compare_with_controls,
)
from lossstats.comparison.saving import SharedCovariance, SharedTerm

BEFORE = [7.10, 6.84, 7.32, 6.95, 7.21]
AFTER = [6.61, 6.40, 6.71, 6.52, 6.83]
values = st.lists(st.floats(4, 9).map(lambda x: round(x, 3)), min_size=3, max_size=8).filter(lambda v: np.std(v) > 0.01)


@given(values, values)
@settings(max_examples=40, deadline=None)
def test_welch_equals_scipy(a, b):
    c, reference = compare_groups(a, b), stats.ttest_ind(a, b, equal_var=False)
    interval = reference.confidence_interval(0.95)
    assert c.p_value == pytest.approx(reference.pvalue, rel=1e-9)
    assert (c.difference.low, c.difference.high) == pytest.approx((interval.low, interval.high), rel=1e-9, abs=1e-9)
    assert c.difference.degrees_of_freedom == pytest.approx(reference.df)


@given(values, st.floats(-2, 2), st.floats(0.1, 10))
@settings(max_examples=40, deadline=None)
def test_paired_equals_scipy_and_follows_shift_and_scale(a, shift, factor):
    b = [x - 0.3 + 0.1 * math.sin(7 * i) for i, x in enumerate(a)]
    reference = stats.ttest_rel(a, b).confidence_interval(0.95)
    c = compare_pairs(a, b)
    assert (c.difference.low, c.difference.high) == pytest.approx((reference.low, reference.high), rel=1e-9)
    moved = compare_pairs([x + shift for x in a], [x + shift for x in b])
    assert moved.difference.low == pytest.approx(c.difference.low, abs=1e-9)
    scaled = compare_pairs([factor * x for x in a], [factor * x for x in b])
    assert scaled.difference.high == pytest.approx(factor * c.difference.high, rel=1e-9)
    assert (scaled.percent is None) == (c.percent is None)
    if c.percent is not None:
        assert scaled.percent.low == pytest.approx(c.percent.low, rel=1e-7)
    swapped = compare_pairs(b, a)
    assert swapped.difference.low == pytest.approx(-c.difference.high)


def test_controls_are_the_difference_of_changes():
    control_before, control_after = [7.0, 7.1, 6.9], [6.95, 7.08, 6.93]
    c = compare_with_controls(BEFORE, AFTER, control_before, control_after)
    reference = stats.ttest_ind(
        np.subtract(BEFORE, AFTER), np.subtract(control_before, control_after), equal_var=False
    ).confidence_interval(0.95)
    assert (c.difference.low, c.difference.high) == pytest.approx((reference.low, reference.high))
    corrected_after = np.mean(AFTER) + np.mean(control_before) - np.mean(control_after)
    assert c.percent.value == pytest.approx(100 * (1 - corrected_after / np.mean(BEFORE)))


def test_percent_paired_is_the_delta_method_on_the_log_ratio():
    c = compare_pairs(BEFORE, AFTER)
    m1, m2, n = np.mean(BEFORE), np.mean(AFTER), len(BEFORE)
    cov = np.cov(BEFORE, AFTER) / n
    u = math.sqrt(cov[0, 0] / m1**2 + cov[1, 1] / m2**2 - 2 * cov[0, 1] / (m1 * m2))
    t = stats.t.ppf(0.975, n - 1)
    expected = [100 * (1 - math.exp(math.log(m2 / m1) + s * t * u)) for s in (1, -1)]
    assert (c.percent.low, c.percent.high) == pytest.approx(expected)


def test_percent_of_independent_groups_has_its_own_degrees_of_freedom():
    c = compare_groups(BEFORE, AFTER[:4])
    m1, m2 = np.mean(BEFORE), np.mean(AFTER[:4])
    v1, v2, r = np.var(BEFORE, ddof=1) / 5, np.var(AFTER[:4], ddof=1) / 4, m2 / m1
    assert c.percent.degrees_of_freedom == pytest.approx((v2 + r**2 * v1) ** 2 / (v2**2 / 3 + (r**2 * v1) ** 2 / 4))


def test_gain_enters_the_difference_and_cancels_in_percent():
    plain, with_gain = compare_pairs(BEFORE, AFTER), compare_pairs(BEFORE, AFTER, shared={"gain": 0.05})
    assert with_gain.difference.components["gain"] == pytest.approx(0.05 * plain.difference.value)
    assert with_gain.percent.low == plain.percent.low
    u_a, u_b = plain.difference.standard_uncertainty, 0.05 * plain.difference.value
    assert with_gain.difference.standard_uncertainty == pytest.approx(math.hypot(u_a, u_b))
    assert with_gain.difference.degrees_of_freedom == pytest.approx(4 * (math.hypot(u_a, u_b) / u_a) ** 4)


def test_zero_cancels_in_the_difference_and_enters_percent():
    plain, with_zero = compare_pairs(BEFORE, AFTER), compare_pairs(BEFORE, AFTER, shared={"zero": 0.2})
    assert with_zero.difference == plain.difference
    m1, m2 = np.mean(BEFORE), np.mean(AFTER)
    assert with_zero.percent.components["zero"] == pytest.approx(100 * m2 / m1 * (1 / m2 - 1 / m1) * 0.2)


def test_a_new_zero_between_the_conditions_enters_twice():
    c = compare_pairs(BEFORE, AFTER, shared={"rezero": (0.01, 5)})
    assert c.difference.components["rezero"] == pytest.approx(0.01 * math.sqrt(2))


def test_shared_terms_and_covariance():
    c = compare_groups(BEFORE, AFTER, shared={"drift": SharedTerm(0.03, 0.004, 6)})
    assert c.difference.components["drift"] == 0.03
    assert c.percent.components["drift"] == pytest.approx(
        100 * math.exp(math.log(np.mean(AFTER) / np.mean(BEFORE))) * 0.004
    )
    # An error common to all cells of one condition: scatter cannot show it, so all of it is added.
    block = np.zeros((10, 10))
    block[:5, :5] = 0.02**2
    c = compare_groups(BEFORE, AFTER, shared={"drift": SharedCovariance(block)})
    assert c.difference.components["drift"] == pytest.approx(0.02)
    # Independent errors of each cell: scatter shows all of it, so nothing is added.
    c = compare_groups(BEFORE, AFTER, shared={"drift": SharedCovariance(np.eye(10) * 0.02**2)})
    assert "drift" not in c.difference.components


def test_readings_are_a_floor_and_never_added():
    plain = compare_pairs(BEFORE, AFTER)
    assert compare_pairs(BEFORE, AFTER, level_uncertainty=0.01).difference == plain.difference
    flat = compare_pairs([7.0, 7.1, 7.2], [6.5, 6.6, 6.7000001], level_uncertainty=0.05)
    assert flat.difference.standard_uncertainty == pytest.approx(0.05 * math.sqrt(2 / 3), rel=1e-6)
    assert math.isinf(flat.difference.degrees_of_freedom)
    assert any("readings set the interval" in note for note in flat.notes)


def test_no_scatter_is_never_certainty():
    with pytest.raises(
        ValueError, match="units do not scatter at all: found a standard deviation of 0; accepted: give resolution="
    ):
        compare_pairs([12.3] * 5, [12.4] * 5)
    c = compare_groups([12.3] * 5, [12.4] * 5, resolution=0.1)
    assert c.p_value > 0.01
    assert c.difference.high - c.difference.low == pytest.approx(2 * 1.959964 * 0.1 * math.sqrt(2 / 12), rel=1e-6)


def test_single_with_known_repeatability():
    c = compare_single(7.1, 6.6, repeatability=0.1, repeatability_dof=10, mounts=(2, 1), matters=0.1)
    half = stats.t.ppf(0.975, 10) * 0.1 * math.sqrt(1.5)
    assert (c.difference.low, c.difference.high) == pytest.approx((0.5 - half, 0.5 + half))
    assert c.verdict.words == "saves more than 0.1 W"
    assert "for this article only" in c.notes[0]


def test_single_without_repeatability_is_a_description():
    c = compare_single(7.1, 6.6, matters=0.1)
    assert c.difference is None
    assert c.percent is None
    assert c.p_value is None
    assert c.observed == pytest.approx(0.5)
    assert "known repeatability" in c.why_no_interval
    assert c.verdict.kind == "no verdict"
    # 0.5 = 1.96 sqrt(2) s for s = 0.18
    assert "below 0.18 W" in c.notes[1]


def test_two_units_give_an_interval_and_no_verdict():
    c = compare_pairs([7.1, 6.9], [6.6, 6.5], matters=0.1)
    assert c.difference.degrees_of_freedom == 1
    assert c.verdict.kind == "no verdict"


def test_higher_is_better_turns_the_sign():
    c = compare_pairs(AFTER, BEFORE, better="higher")
    assert c.difference.value > 0
    assert c.percent.value == pytest.approx(100 * (np.mean(BEFORE) / np.mean(AFTER) - 1))
    assert c.fieller_percent.low < c.percent.value < c.fieller_percent.high


def test_units_that_would_decide():
    c = compare_pairs([7.0, 7.3, 6.8, 7.1], [6.9, 6.9, 6.9, 6.8], matters=0.1)
    assert c.verdict.kind == "undecided"
    d = np.array([0.1, 0.4, -0.1, 0.3])
    n = c.units_to_decide

    def ends(k):
        half = stats.t.ppf(0.975, k - 1) * d.std(ddof=1) / math.sqrt(k)
        return d.mean() - half, d.mean() + half

    assert ends(n)[0] > 0 >= ends(n - 1)[0]


def test_no_percent_says_why():
    c = compare_groups([0.1, -0.2, 0.3], [0.1, 0.2, 0.3])
    assert c.percent is None
    assert "not clearly above zero" in c.why_no_percent
    c = compare_groups([-0.1, -0.2, -0.3], [0.1, 0.2, 0.3])
    assert "a level is not above zero" in c.why_no_percent
    c = compare_groups([7.0, 7.1, 6.9], [0.3, -0.3, 1e-4])
    assert c.percent is None
    assert "level after is not clearly above zero" in c.why_no_percent


def test_at_another_confidence():
    c = compare_pairs(BEFORE, AFTER, shared={"gain": 0.01})
    direct = compare_pairs(BEFORE, AFTER, shared={"gain": 0.01}, confidence=0.8)
    assert c.difference.at(0.8) == direct.difference
    assert c.percent.at(0.8) == direct.percent
    with pytest.raises(ValueError, match=r"confidence: found 95; accepted: a number between 0 and 1"):
        c.difference.at(95)


class FakeRun:
    time_s = 0


@pytest.mark.parametrize(
    ("call", "error", "text"),
    [
        (lambda: compare_pairs([7.0], [6.0]), ValueError, "before: found 1 value"),
        (lambda: compare_pairs([7.0, 7.1, math.nan], [6.0, 6.1, 6.2]), ValueError, "before: found nan at position 3"),
        (lambda: compare_groups([7.0, 7.1], [6.0, math.inf]), ValueError, "after: found inf at position 2"),
        (lambda: compare_pairs([7.0, 7.1], [6.0, 6.1, 6.2]), ValueError, "found 2 and 3 values"),
        (lambda: compare_pairs({"K01": 7.0, "K02": 7.1}, {"K01": 6.0, "K03": 6.1}), ValueError, "one condition only: K02, K03"),
        (lambda: compare_pairs({"K01": 7.0, "K02": 7.1}, {"K02": 6.0, "K01": 6.1}), ValueError, "different order"),
        (lambda: compare_pairs(pd.Series([7.0, 7.1], ["a", "b"]), pd.Series([6.0, 6.1], ["a", "c"])), ValueError, "only: b, c"),
        (lambda: compare_groups(np.full((3, 180), 7.0), [6.0, 6.1]), TypeError, "not replicates"),
        (lambda: compare_groups([FakeRun(), FakeRun()], [6.0, 6.1]), TypeError, "found FakeRun objects; accepted: one number a unit"),
        (lambda: compare_groups(np.linspace(6, 7, 36), [6.0, 6.1]), ValueError, "found 36 values without names"),
        (lambda: compare_groups([7.0, 7.1], [6.0, 6.1], matters=0), ValueError, "matters: found 0; accepted: a finite number above 0"),
        (lambda: compare_groups([7.0, 7.1], [6.0, 6.1], better="less"), ValueError, "better: found 'less'"),
        (lambda: compare_groups([7.0, 7.1], [6.0, 6.1], resolution=-1), ValueError, "resolution: found -1"),
        (lambda: compare_groups([7.0, 7.1], [6.0, 6.1], shared={"gain": -1}), ValueError, r"shared\['gain'\]: found -1"),
        (lambda: compare_single(7.0, 6.0, repeatability=0.1), ValueError, "repeatability, repeatability_dof: found 0.1, None"),
        (lambda: compare_single(7.0, 6.0, mounts=(0, 1)), ValueError, r"mounts: found \(0, 1\)"),
        (lambda: compare_single(math.nan, 6.0), ValueError, "before: found nan"),
    ],
)  # fmt: skip
def test_bad_input_is_named(call, error, text):
    with pytest.raises(error, match=text):
        call()


def test_many_named_units_are_accepted():
    units = {f"K{i:02d}": 7 + 0.01 * math.sin(i) for i in range(40)}
    assert compare_groups(units, [6.0, 6.1, 6.2]).n == (40, 3)


def test_three_renderings():
    c = compare_pairs(BEFORE, AFTER, matters=0.25)
    assert "saves more than 0.25 W" in str(c)
    assert "<table>" in c._repr_html_()
    assert c.to_dict()["difference"]["value"] == c.difference.value
    assert "_spread" not in c.to_dict()["difference"]


def test_crossover_cancels_the_period_and_shows_it():
    articles = [f"K{i:02d}" for i in range(1, 7)]
    own = np.array([6.9, 7.2, 7.0, 6.7, 7.1, 6.8])
    wobble = np.array([0.01, -0.02, 0.01, 0.02, -0.01, -0.01])
    turned = np.array([False, True, False, True, True, False])
    saving, period = 0.4, 0.15  # the second period reads 0.15 lower, whatever the condition
    before = own - np.where(turned, period, 0) + wobble
    after = own - saving - np.where(turned, 0, period)
    c = compare_crossover(
        dict(zip(articles, before, strict=True)), dict(zip(articles, after, strict=True)), ["K02", "K04", "K05"]
    )
    assert c.difference.value == pytest.approx(saving, abs=0.02)
    assert c.period.value == pytest.approx(period, abs=0.02)
    # Half the difference of the orders' mean falls from period to period: a plain Welch t.
    fall = np.where(turned, after - before, before - after)
    reference = stats.ttest_ind(fall[~turned], fall[turned], equal_var=False)
    ends = reference.confidence_interval(0.95)
    assert (c.difference.low, c.difference.high) == pytest.approx((ends.low / 2, ends.high / 2))
    assert c.p_value == pytest.approx(reference.pvalue)
    assert c.n == (3, 3)
    assert "second period lower by" in str(c)
    assert compare_crossover(before, after, turned).difference == c.difference


@pytest.mark.parametrize(
    ("first", "text"),
    [
        (["K02", "K09"], "after_first: found 'K09'; accepted: names among K01, K02, K03, K04"),
        (["K02"], "after_first: found 3 and 1 articles in the two orders; accepted: at least 2 each"),
        ([True, False], "after_first: found 2 entries; accepted: 4 bools, one a unit"),
    ],
)
def test_crossover_orders_are_checked(first, text):
    before = {"K01": 7.0, "K02": 7.1, "K03": 7.2, "K04": 7.3}
    with pytest.raises(ValueError, match=text):
        compare_crossover(before, {k: v - 0.3 - 0.01 * i for i, (k, v) in enumerate(before.items())}, first)


@pytest.mark.parametrize("matters", [0.02, 0.3, 0.45, 0.6, 2.0])
def test_equivalence_p_is_dual_to_the_interval(matters):
    c = compare_pairs(BEFORE, AFTER, matters=matters, shared={"gain": 0.02})
    within = -matters < c.difference.low and c.difference.high < matters
    assert (c.p_equivalence < 0.025) == within
    assert compare_pairs(BEFORE, AFTER).p_equivalence is None
