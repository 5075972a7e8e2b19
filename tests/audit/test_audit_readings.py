"""Verdicts on quoted figures: by hand, by a grid of true values (second implementation), and by rounding known truths."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lossstats.audit.audit_readings import under_each_reading
from lossstats.audit.quoted_number import read_quoted
from lossstats.audit.quoted_set import READINGS, make_set

F = Fraction


def claim(**texts):
    names = {"input_power": "input power"}
    return make_set(
        {
            names.get(k, k): read_quoted(k, text, unit="%" if k.startswith("percent") else "W")
            for k, text in texts.items()
        }
    )


def reading(percent_of, **texts):
    (found,) = under_each_reading(claim(**texts), percent_of)
    return found


def test_one_level_to_the_watt_agrees_only_at_its_low_end():
    """Highest level before: the highest after over the lowest share left, 4.65 / (1 - 0.385) = 310/41."""
    found = reading("before", before="8 W", after="4.6 W", percent="38 %")
    assert found.verdict == "agrees"
    assert found.possible["before"].ends == (F("7.5"), F("4.65") / (1 - F("0.385")))
    assert found.possible["before"].ends[1] == F(310, 41)
    assert found.possible["after"].ends == (F("7.5") * (1 - F("0.385")), F("4.65"))
    assert found.possible["percent"].ends == (100 * (1 - F("4.65") / F("7.5")), F("38.5"))
    assert "only while '8 W' (before) means 7.500 to 7.561 W" in found.sentence


def test_what_would_mend_a_set_that_breaks():
    found = reading("before", before="8.0 W", after="4.6 W", percent="38 %")
    assert found.verdict == "cannot all be true"
    assert found.mends["before"].ends == (F("4.55") / F("0.625"), F(310, 41))
    assert found.mends["after"].ends == (F("7.95") * F("0.615"), F("8.05") * F("0.625"))
    assert found.mends["percent"].ends == (100 * (1 - F("4.65") / F("7.95")), 100 * (1 - F("4.55") / F("8.05")))
    assert "before 7.28 to 7.56 W in place of '8.0 W'" in found.sentence


def test_one_figure_out_of_four_breaks_the_set():
    """The saving fits both levels and the input power; only the percentage is wrong under its reading."""
    found = reading("input power", before="8.0", after="5.0", saving="3.0", percent="2.0", input_power="280.0")
    assert found.verdict == "cannot all be true"
    assert set(found.mends) == {"percent", "input power"}
    assert found.mends["percent"].low == pytest.approx(100 * 2.95 / 280.05)
    twice = reading("before", before="8.0", after="5.0", saving="1.0", percent="80.0")
    assert twice.mends == {}
    assert "no change of a single figure mends them" in twice.sentence


def test_zeros_that_may_hold_places_leave_it_open():
    found = reading("before", before="5.1", after="8.0", percent="50 %")
    assert found.verdict == "cannot be told"
    assert "agrees only if the zeros before the decimal point of '50 %' hold places" in found.sentence
    assert reading("before", before="5.1", after="8.0", percent="50.0 %").verdict == "cannot all be true"


def test_the_input_power_that_was_not_quoted():
    found = reading("input power", before="8.0", after="5.1", percent="1.0 %")
    assert found.verdict == "cannot be told"
    assert "an input power of 267 to 316 W, which is not quoted" in found.sentence  # 2.8 / 0.0105, 3.0 / 0.0095
    assert reading("efficiency", before="8.0", after="5.1", percent="1.0 %").verdict == "cannot be told"
    # 2.8 / 280.5 is 0.998 %, and 2.8 / (280.5 - 7.95) is 1.027 %: two decimals tell the two apart, one does not
    for percent, fitting in (("1.00 %", ["input power"]), ("1.0 %", ["input power", "efficiency"])):
        with_it = under_each_reading(claim(before="8.0", after="5.1", percent=percent, input_power="280 W"))
        assert [r.percent_of for r in with_it if r.verdict == "agrees"] == fitting
    assert len(under_each_reading(claim(before="8.0", after="5.1", percent="1.0 %"))) == 3


def test_a_rise_needs_no_sign():
    found = reading("before", before="5.1", after="8.0", percent="57 %")
    assert found.verdict == "agrees"
    assert reading("before", before="5.1", after="8.0", percent="57 % less").verdict == "cannot all be true"
    assert reading("before", before="5.1", after="8.0", saving="2.9 more", percent="57 % more").verdict == "agrees"


def test_a_mend_that_goes_the_other_way():
    (found,) = under_each_reading(claim(before="5.1", after="8.0", saving="2.9 less"))
    assert found.mends["saving"].ends == (F("-3.0"), F("-2.8"))
    assert "saving 2.80 to 3.00 W the other way in place of '2.9 less'" in found.sentence


def test_from_the_other_end():
    assert reading("before", percent="50 % more", percent_back="33 % less").verdict == "agrees"
    assert reading("after", percent="50 %", percent_back="33 %").verdict == "agrees"
    found = reading("before", percent="50 %", percent_back="50 %")
    assert found.verdict == "cannot all be true"
    assert found.mends["percent"].ends == (F(100) * F("49.5") / F("149.5"), F(100) * F("50.5") / F("150.5"))
    assert "percent from the other end 98.0 to 102.0 %" in found.sentence


def test_levels_and_saving_alone():
    (found,) = under_each_reading(claim(before="8.0", after="5.1", saving="3.3"))
    assert (found.percent_of, found.verdict) == ("", "cannot all be true")
    assert found.mends["saving"].ends == (F("2.8"), F("3.0"))


def base_of(key, b, a, i):
    return {"before": b, "after": a, "input power": i, "efficiency": i - b}[key]


def rounded(value, places):
    text = str(Decimal(str(float(value))).quantize(Decimal(1).scaleb(-places)))
    return text.lstrip("-"), text.startswith("-")


truths = st.tuples(st.integers(3000, 9000), st.integers(3000, 9000), st.integers(20000, 300000))


@settings(max_examples=60, deadline=None)
@given(truths, st.tuples(*[st.integers(0, 2)] * 4), st.sampled_from(list(READINGS)), st.booleans())
def test_figures_rounded_from_one_truth_always_agree(truth, places, key, with_saving):
    """Never accuse the honest: true values, each rounded on its own, are possible under the reading they came from."""
    b, a, i = (F(t, 1000) for t in truth)
    percent, fall = rounded(100 * (b - a) / base_of(key, b, a, i), places[2])
    texts = {"before": rounded(b, places[0])[0], "after": rounded(a, places[1])[0], "input_power": rounded(i, 1)[0]}
    texts["percent"] = f"{percent} {'more' if fall else 'less'}"
    if with_saving:
        saving, fall = rounded(b - a, places[3])
        texts["saving"] = f"{saving} {'more' if fall else 'less'}"
    # A level rounded to 0, or a change rounded to no change, has lost its direction.
    assume(all(float(t.split()[0]) > 0 for t in texts.values()))
    found = reading(key, **texts)
    assert found.verdict == "agrees", (texts, found.sentence)
    for name, value in (("before", b), ("after", a), ("input power", i)):
        low, high = found.possible[name].ends
        assert low <= value <= high


def grid(figure, steps):
    low, high = figure.ends
    return [low + (high - low) * F(k, steps) for k in range(steps + 1)]


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(st.integers(40, 60), st.integers(38, 62), st.integers(1, 40)),
    st.sampled_from(["before", "after", "input power"]),
)
def test_a_grid_of_true_values_finds_the_same(figures, key):
    """Second implementation: plain search over levels and input power, each in its own rounding interval."""
    b, a, p = figures
    texts = {"before": f"{b / 10:.1f}", "after": f"{a / 10:.1f}", "percent": f"{p}.0" if p % 10 else f"{p}."[:-1]}
    if key == "input power":
        texts["input_power"] = "12 W"
    the_claim = claim(**texts)
    (found,) = under_each_reading(the_claim, key)
    figure = the_claim.figures
    low, high = figure["percent"].ends
    rise = -1 if b < a else 1
    powers = grid(figure["input power"], 8) if key == "input power" else [F(100)]
    seen = [
        (x, y)
        for x in grid(figure["before"], 40)
        for y in grid(figure["after"], 40)
        for z in powers
        if low <= rise * 100 * (x - y) / base_of(key, x, y, z) <= high
    ]
    if found.verdict == "agrees":
        for side, name in enumerate(("before", "after")):
            values = [point[side] for point in seen]
            end = found.possible[name].ends
            assert all(end[0] <= v <= end[1] for v in values)
            # a step of the grid is 0.0025 W; one figure's end is reached where the other's is, within two steps
            if values:
                assert min(values) - end[0] <= F("0.01")
                assert end[1] - max(values) <= F("0.01")
    else:
        assert not seen


def test_three_renderings():
    found = reading("before", before="8 W", after="4.6 W", percent="38 %")
    assert "of the level before  agrees, only while" in str(found)
    assert "possible percent" in found._repr_html_()
    assert found.to_dict()["possible"]["before"]["exact_high"] == "310/41"
