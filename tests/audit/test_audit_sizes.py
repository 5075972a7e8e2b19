"""Above the display's step, above the repeatability: by hand."""

from fractions import Fraction

import pytest

from lossstats.audit.audit_sizes import above_repeatability, above_resolution
from lossstats.audit.exact_range import make_range
from lossstats.audit.quoted_number import read_quoted


def change(low, high):
    return make_range(Fraction(low), Fraction(high))


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [("0.40", "0.60", "above"), ("-0.6", "-0.4", "above"), ("0.05", "0.15", "cannot be told"), ("0.0", "0.1", "not above"),
     ("-0.3", "0.05", "cannot be told"), ("-0.1", "0.05", "not above")],
)  # fmt: skip
def test_a_difference_of_two_readings_is_off_by_one_step_at_most(low, high, verdict):
    assert above_resolution(change(low, high), read_quoted("resolution", "0.1 W"), "W").verdict == verdict


def test_critical_difference_of_one_value_each_is_2_8_s():
    # ISO 5725-6:1994, 4.1 (from memory): repeatability limit r = 2.8 s_r, that is 1.96 sqrt(2) s_r.
    known = read_quoted("repeatability", "0.200 W")
    for low, high, verdict in (
        ("0.56", "0.60", "above"),
        ("0.50", "0.55", "not above"),
        ("0.5", "0.6", "cannot be told"),
    ):
        assert above_repeatability(change(low, high), known, (), 0.95, "W").verdict == verdict
    one = above_repeatability(change("0.5", "0.6"), known, (), 0.95, "W")
    assert "one value each way, n not being quoted, refitting alone stays below 0.5530 to 0.5557 W in 95 %" in one.words
    four = above_repeatability(change("0.5", "0.6"), known, (4,), 0.95, "W")
    assert "0.2765 to 0.2779 W" in four.words  # a half of it
    assert four.verdict == "above"
    unequal = above_repeatability(change("0.5", "0.6"), known, (4, 9), 0.95, "W")
    # 1.95996 sqrt(1/4 + 1/9) times 0.1995 and 0.2005
    assert "4 and 9 values, refitting alone stays below 0.2350 to 0.2361 W" in unequal.words
    within = above_repeatability(change("0.5540", "0.5540"), known, (), 0.95, "W")
    assert within.verdict == "cannot be told"  # the rounding of the repeatability leaves it open


def test_an_open_range_is_refused():
    with pytest.raises(ValueError, match="saving: found an open range; accepted: a saving, or both levels, as quoted"):
        above_resolution(make_range(Fraction(0), None), read_quoted("resolution", "0.1"), "W")
