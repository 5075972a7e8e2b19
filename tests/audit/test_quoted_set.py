"""Ranges that a set of quoted figures leaves, by hand."""

from fractions import Fraction

import pytest

from lossstats.audit.quoted_number import read_quoted
from lossstats.audit.quoted_set import change_range, make_set, percent_range, quoted_percent, range_of

F = Fraction


def claim(**texts):
    return make_set({k: read_quoted(k, t, unit="%" if k.startswith("percent") else "W") for k, t in texts.items()})


def test_ranges_that_other_checks_rest_on():
    assert change_range(claim(before="8.0", after="5.1", percent="99 %")).ends == (F("2.8"), F("3.0"))
    assert change_range(claim(before="5.1", after="8.0")).ends == (F("-3.0"), F("-2.8"))
    assert change_range(claim(before="8.0", after="5.1", saving="2.81")).ends == (F("2.805"), F("2.815"))
    assert change_range(claim(before="8.0", after="5.1", saving="3.3")) is None
    assert change_range(claim(before="8.0")) is None
    assert percent_range(claim(before="5.1", after="8", percent="3 %"), "before").ends == (
        100 * (1 - F("8.5") / F("5.05")), 100 * (1 - F("7.5") / F("5.15")),
    )  # fmt: skip
    assert quoted_percent(claim(before="5.1", after="8", percent="57 %")).ends == (F("-57.5"), F("-56.5"))
    assert quoted_percent(claim(before="5.1")) is None


def test_which_way_a_figure_counts():
    rise = claim(before="5.1", after="8", saving="2.9", percent="57 %", percent_back="36 %")
    assert [rise.sign(name) for name in ("before", "saving", "percent", "percent_back")] == [1, -1, -1, -1]
    fall = claim(before="8", after="5.1", saving="2.9", percent="36 % less", percent_back="57 % more")
    assert [fall.sign(name) for name in ("saving", "percent", "percent_back")] == [1, 1, 1]
    worded = claim(percent="50 % more", percent_back="33 % less")
    assert (worded.sign("percent"), worded.sign("percent_back")) == (-1, -1)
    assert not worded.rise and rise.rise


def test_open_ends():
    only = claim(before="8.0")
    assert range_of(only, "", "after").ends == (0, None)
    assert range_of(only, "before", "percent").ends == (None, 100)
    # a level cannot be above the input power
    assert range_of(only, "", "input power").ends == (F("7.95"), None)


def test_a_percentage_needs_a_reading():
    with pytest.raises(ValueError, match="percent: found no reading; accepted: one of before, after, input power"):
        range_of(claim(before="8.0"), "", "percent")
