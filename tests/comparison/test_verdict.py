"""The decision rule: exclusive, complete, and read in its order."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossstats.comparison.comparison import compare_pairs
from lossstats.comparison.verdict import decide

M = 0.25


@pytest.mark.parametrize(
    ("low", "high", "kind", "words"),
    [
        (-0.10, 0.20, "no difference that matters", "makes no difference that matters (0.25 W)"),
        (
            0.05,
            0.20,
            "no difference that matters",
            "makes no difference that matters (0.25 W), though a smaller one is shown",
        ),
        (
            -0.20,
            -0.05,
            "no difference that matters",
            "makes no difference that matters (0.25 W), though a smaller one is shown",
        ),
        (0.05, 0.40, "saves", "saves"),
        (0.30, 0.60, "saves", "saves more than 0.25 W"),
        (-0.60, -0.10, "costs", "costs"),
        (-0.60, -0.30, "costs", "costs more than 0.25 W"),
        (-0.20, 0.50, "not worse", "is not worse by 0.25 W"),
        (-0.50, 0.20, "not better", "is not better by 0.25 W"),
        (-0.50, 0.50, "undecided", "is not decided"),
        (-0.25, 0.20, "not better", "is not better by 0.25 W"),  # an end on the limit is not within it
        (0.0, 0.5, "not worse", "is not worse by 0.25 W"),  # 0 on the edge is not excluded
    ],
)
def test_rule(low, high, kind, words):
    verdict = decide(low, high, matters=M)
    assert (verdict.kind, verdict.words) == (kind, words)


def test_without_a_difference_that_matters():
    assert decide(0.1, 0.2).kind == "saves"
    assert decide(-0.2, -0.1).kind == "costs"
    assert decide(-0.001, 0.001).kind == "undecided"


@given(st.floats(-2, 2), st.floats(0, 2), st.floats(0.01, 1))
def test_mirror(low, width, matters):
    mirror = {"saves": "costs", "costs": "saves", "not worse": "not better", "not better": "not worse"}
    one, other = decide(low, low + width, matters=matters), decide(-low - width, -low, matters=matters)
    assert other.kind == mirror.get(one.kind, one.kind)


@given(st.floats(-2, 2), st.floats(0, 2), st.floats(0.01, 1))
def test_never_both_a_saving_and_an_end_below_zero(low, width, matters):
    verdict = decide(low, low + width, matters=matters)
    if verdict.kind == "saves":
        assert low > 0
    if verdict.kind == "no difference that matters":
        assert -matters < low
        assert low + width < matters


def test_bad_input_is_named():
    with pytest.raises(ValueError, match="low, high: found 1, 0; accepted: two numbers in order"):
        decide(1, 0)
    with pytest.raises(ValueError, match="matters: found -1; accepted: a finite number above 0"):
        decide(0, 1, matters=-1)
    with pytest.raises(ValueError, match="matters: found inf; accepted: a finite number above 0"):
        compare_pairs([7.1, 6.9, 7.3], [6.5, 6.4, 6.6], matters=math.inf)
    with pytest.raises(ValueError, match="low, high"):
        decide(float("nan"), 1)
