"""Rounding and the three renderings of a record."""

import math
from dataclasses import dataclass, field

import numpy as np
import pytest

from lossstats.records.rendering import Record, decimals_for, plain, shown, shown_dof, shown_p, two_digits


@dataclass(frozen=True)
class Sample(Record):
    value: float
    inner: dict
    _secret: int = field(default=7, repr=False)
    title = "Sample <b>"

    def _rows(self):
        return [("value", str(self.value)), ("a longer label", "x < y")]


def test_text_is_aligned():
    assert str(Sample(1.5, {})).splitlines() == ["Sample <b>", "  value           1.5", "  a longer label  x < y"]


def test_long_values_are_folded_below_where_they_begin():
    words = " ".join(f"word-{k}" for k in range(60))

    class Long(Sample):
        def _rows(self):
            return [("in words", words), ("name of the file", "x" * 150), ("lines", "one\ntwo")]

    record = Long(1.5, {})
    _, *lines = str(record).splitlines()
    begin = 2 + len("name of the file") + 2
    folded = lines[: next(k for k, line in enumerate(lines) if "name of" in line)]
    assert len(folded) > 1
    assert max(map(len, folded)) <= 100
    assert all(line[:begin].strip() == "" for line in folded[1:])
    assert " ".join(line[begin:] for line in folded) == words
    assert lines[len(folded) :] == [
        f"  name of the file  {'x' * 150}",
        "  lines             one",
        " " * begin + "two",
    ]
    assert words in record._repr_html_()


def test_html_is_escaped():
    page = Sample(1.5, {})._repr_html_()
    assert "<caption>Sample &lt;b&gt;</caption>" in page
    assert "x &lt; y" in page
    assert "<b>" not in page


def test_dict_holds_plain_values_and_no_ingredients():
    record = Sample(np.float64(1.5), {"a": np.array([1, 2]), "b": (Sample(2.0, {}), math.inf)})
    content = record.to_dict()
    assert content == {"value": 1.5, "inner": {"a": [1, 2], "b": [{"value": 2.0, "inner": {}}, math.inf]}}
    assert type(content["value"]) is float
    assert type(plain(np.int64(3))) is int


@pytest.mark.parametrize(
    ("u", "places"),
    # Two significant digits of u, JCGM 100:2008, 7.2.6.
    [(0.0234, 3), (0.234, 2), (2.34, 1), (23.4, 0), (234.0, 0), (0.0996, 2), (0.00994, 4), (0.0, 3), (math.inf, 3)],
)
def test_two_digits_of_the_uncertainty(u, places):
    assert decimals_for(u) == places


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [
        (0.4251, 2, "0.43"),
        (-0.4251, 2, "−0.43"),
        (-0.001, 2, "0.00"),
        (5.0, 0, "5"),
        (math.inf, 1, "∞"),
        (-math.inf, 1, "−∞"),
    ],
)
def test_numbers_as_shown(value, places, text):
    assert shown(value, places) == text


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (0.3512, "0.35"),
        (0.0996, "0.10"),
        (12.4, "12"),
        (0.0, "0"),
        (1.24e-7, "1.2e−07"),
        (-0.5, "−0.50"),
        (3e7, "3.0e+07"),
    ],
)
def test_number_with_two_digits(number, words):
    assert two_digits(number) == words


def test_degrees_of_freedom_as_shown():
    assert [shown_dof(x) for x in (5.0, 7.26, math.inf, 1e6)] == ["5", "7.3", "∞", "∞"]


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (0.0, "below 0.0001"),
        (0.00012, "0.00012"),
        (0.0316, "0.032"),
        (0.994, "0.99"),
        (0.9996, "above 0.99"),
        (1.0, "1"),
    ],
)
def test_p_is_never_0_and_1_only_where_it_is(p, text):
    assert shown_p(p) == text
