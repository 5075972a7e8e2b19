"""Figures as quoted: closed forms by hand, and every refusal with its words."""

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossstats.audit.quoted_number import read_interval, read_quoted


# Half a unit of the last digit written, by hand.
@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("8 W", "7.5", "8.5"), ("8.0 W", "7.95", "8.05"), ("8.00W", "7.995", "8.005"), ("4,65 W", "4.645", "4.655"),
        (".5", "0.45", "0.55"), ("0.5", "0.45", "0.55"), ("about 0.5 W", "0.4", "0.6"), ("~ 0.5", "0.4", "0.6"),
        ("1 000 W", "999.5", "1000.5"), ("1 234 567.8", "1234567.75", "1234567.85"), ("0 W", "0", "0.5"),
        ("4.5 to 4.7 W", "4.5", "4.7"), ("280", "279.5", "280.5"), ("0,125 W", "0.1245", "0.1255"),
        ("4.650", "4.6495", "4.6505"),
    ],
)  # fmt: skip
def test_the_last_digit_makes_the_interval(text, low, high):
    figure = read_quoted("before", text)
    assert figure.ends == (Fraction(low), Fraction(high))
    assert (figure.low, figure.high) == (float(low), float(high))
    assert figure.unit == "W"


def test_words_behind_and_the_percent_sign():
    for text, direction in (("50 % more", "more"), ("50% less", "less"), ("50", ""), ("50 more", "more")):
        figure = read_quoted("percent", text, unit="%")
        assert figure.direction == direction
        assert figure.ends == (Fraction("49.5"), Fraction("50.5"))


@pytest.mark.parametrize(
    ("text", "wider"),
    [("50", (45.0, 55.0)), ("1000", (500.0, 1500.0)), ("280", (275.0, 285.0)), ("1 200", (1150, 1250))],
)
def test_zeros_before_the_point_are_read_as_digits_and_said_so(text, wider):
    figure = read_quoted("before", text)
    assert figure.wider == wider
    assert "zeros read as digits" in str(figure)
    loose = figure.read_wider()
    assert (loose.low, loose.high) == wider
    assert loose.read_wider() is loose


@pytest.mark.parametrize("text", ["50.0", "8", "0", "0.50", "101"])
def test_no_wider_reading_where_no_zero_is_in_doubt(text):
    figure = read_quoted("before", text)
    assert figure.wider is None
    assert figure.read_wider() is figure


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1,000 W", "before: found '1,000 W', where the comma may part thousands or decimals; accepted: '1000' for the one, '1.000' for the other"),
        ("1,000.5", "before: found '1,000.5'; accepted: digits with at most one decimal sign"),
        ("1.000.000", "accepted: digits with at most one decimal sign"),
        ("eight", "before: found 'eight'; accepted: digits"),
        ("", "before: found ''"),
        ("8e3", "before: found '8e3'"),
        ("8 kW", "before: found '8 kW' in 'kW'; accepted: W, or no unit"),
        ("8 %", "before: found '8 %' in '%'; accepted: W, or no unit"),
        ("-8 W", "before: found '-8 W' with a sign, which may mean a saving or a fall; accepted: no sign"),
        ("nan", "before: found 'nan'"),
        ("4.7 to 4.5", "before: found '4.7 to 4.5'; accepted: the lower end first"),
        ("about 4.5 to 4.7", "accepted: digits, such as '4.5 to 4.7'"),
        ("1 00", "before: found '1 00'"),
        ("0." + "3" * 5000, "accepted: at most 30 digits"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_in_one_way_is_refused(text, words):
    with pytest.raises(ValueError, match="before") as caught:
        read_quoted("before", text)
    assert words in str(caught.value)


def test_a_number_is_refused_since_it_has_no_digits_as_written():
    with pytest.raises(TypeError, match="before: found 8.0, a float; accepted: text with the digits as written"):
        read_quoted("before", 8.0)


def test_intervals():
    low, high = read_interval("interval", "-0.1 to 0.8 W")
    assert low.ends == (Fraction("-0.15"), Fraction("-0.05"))
    assert high.ends == (Fraction("0.75"), Fraction("0.85"))
    assert read_interval("interval", ("−1 %", "12 %"), unit="%")[0].value == -1
    for wrong, words in (
        ("0.8", r"interval: found '0.8'; accepted: two ends with 'to' between"),
        ("0.8 to 0.2", "interval: found '0.8' before '0.2'; accepted: the lower end first"),
        (("1", "2", "3"), "interval: found 3 ends; accepted: two"),
        ("x to 0.2", "interval, lower end: found 'x'"),
    ):
        with pytest.raises(ValueError, match=words):
            read_interval("interval", wrong)


@given(st.decimals("0.001", "9999", places=6), st.integers(0, 4), st.sampled_from([ROUND_HALF_EVEN, ROUND_HALF_UP]))
def test_a_rounded_number_holds_the_true_one(true, places, rule):
    """The decimal module is the second implementation: whichever way it rounds, the truth lies in the interval."""
    text = str(true.quantize(Decimal(1).scaleb(-places), rounding=rule))
    low, high = read_quoted("before", text).ends
    assert low <= Fraction(true) <= high
    assert high - low <= Fraction(1, 10**places)


def test_three_renderings():
    figure = read_quoted("before", "8 W")
    assert str(figure) == "Figure as quoted\n  as written  8 W\n  read as     7.5 to 8.5 W"
    assert "<td" in figure._repr_html_()
    assert figure.to_dict()["low"] == 7.5
    assert "Fraction" not in repr(figure)
