"""One change in every base: by hand."""

from decimal import Decimal

import pytest

from lossstats.audit.audit_conversions import as_written, in_words, other_end
from lossstats.audit.quoted_number import read_quoted
from lossstats.audit.quoted_set import make_set


def claim(**texts):
    names = {"input_power": "input power"}
    return make_set(
        {names.get(k, k): read_quoted(k, t, unit="%" if k.startswith("percent") else "W") for k, t in texts.items()}
    )


def test_as_written():
    found = as_written(claim(before="5.1", after="8", input_power="280 W"))
    assert found["before"] == pytest.approx(-2.9 / 5.1 * 100)
    assert found["after"] == pytest.approx(-2.9 / 8 * 100)
    assert found["input power"] == pytest.approx(-2.9 / 280 * 100)
    assert found["efficiency"] == pytest.approx(100 * ((1 - 8 / 280) / (1 - 5.1 / 280) - 1))
    assert as_written(claim(before="5.1")) == {}


@pytest.mark.parametrize("percent", ["1", "9.5", "33", "50", "99"])
def test_both_ways_come_back(percent):
    """More, then less, then more again: the middle of the interval is where it was."""
    more = other_end(read_quoted("p", f"{percent} % more", unit="%"))
    for end, quoted_end in zip(more.ends, read_quoted("p", percent, unit="%").ends, strict=True):
        assert 100 * end / (100 - end) == quoted_end
    less = other_end(read_quoted("p", f"{percent} % less", unit="%"))
    low = Decimal(percent) - Decimal("0.5") * Decimal(1).scaleb(Decimal(percent).as_tuple().exponent)
    assert less is None or less.low == pytest.approx(float(100 * low / (100 - low)))


def test_nothing_left_cannot_be_turned():
    assert other_end(read_quoted("p", "100 % less", unit="%")) is None
    assert other_end(read_quoted("p", "100 % more", unit="%")).low == pytest.approx(99.5 / 199.5 * 100)
    assert "cannot be said from the other end" in in_words(claim(percent="100 % less"))[0]


def test_sentences():
    # 3.4 / 280, 3.3 / 280.05, 3.5 / 279.95; 3.4 / 272, 3.3 / 272.10, 3.5 / 271.90
    assert in_words(claim(before="8.0", after="4.6 W", input_power="280.0")) == (
        "4.6 W is 42.5 % (rounding: 41.5 to 43.5) less than 8.0 W",
        "8.0 W is 73.9 % (rounding: 71.0 to 76.9) more than 4.6 W",
        "the efficiency is 1.214 points (rounding: 1.178 to 1.250) higher after, the loss in % of the input",
        "the efficiency is 1.250 % (rounding: 1.213 to 1.287) higher after, relative to that before",
    )
    assert in_words(claim(percent="50 % more")) == (
        "A is 50 % more than B says: B is 33.3 % (rounding: 33.11 to 33.55) less than A",
    )
    both = in_words(claim(percent="50"))
    assert [line.split(":")[0] for line in both] == ["A is 50 % less than B says", "A is 50 % more than B says"]
    assert in_words(claim(before="8")) == ()
    # no change: what rounding leaves open goes both ways
    assert in_words(claim(before="8.0", after="8.0"))[0] == "8.0 W is 0.0 % (rounding: −1.3 to 1.2) less than 8.0 W"


@pytest.mark.parametrize(("before", "after"), [("0 W", "5 W"), ("5 W", "0 W")])
def test_from_or_to_nothing(before, after):
    (said,) = in_words(claim(before=before, after=after))
    assert said.startswith("0 W is 100 %") and said.endswith("less than 5 W")
