"""Stated forms of time stamps. Evidence: `datetime.strftime` writes them, `datetime.strptime` is the second reader."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossstats.trial_folder.stamp_forms import parse_offset, stamp_reader, wrong_form

FORMS = [
    "%d.%m.%Y %H:%M:%S",
    "%m/%d/%Y %I:%M:%S %p",
    "%Y%m%d %H%M%S",
    "%Y-%m-%d %H:%M:%S,%f",
    "%d/%m/%y %H.%M",
    "%Y-%m-%dT%H:%M:%S%z",
]


@pytest.mark.parametrize("form", FORMS)
@given(moment=st.datetimes(datetime(2000, 1, 1), datetime(2068, 12, 31)))  # noqa: DTZ001 - the offset is stated beside
def test_what_is_written_in_a_form_comes_back(form: str, moment: datetime) -> None:
    zone = timezone(timedelta(hours=1))
    text = moment.replace(tzinfo=zone).strftime(form)
    expected = datetime.strptime(text, form).replace(tzinfo=zone)
    assert wrong_form(form) is None
    assert stamp_reader(form, None if "%z" in form else "+01:00")(text) == expected


def test_day_and_month_are_as_stated_and_never_turned() -> None:
    first, other = (stamp_reader(form, "Z") for form in ("%d.%m.%Y %H:%M", "%m.%d.%Y %H:%M"))
    assert first("03.04.2031 09:10") == datetime(2031, 4, 3, 9, 10, tzinfo=UTC)
    assert other("03.04.2031 09:10") == datetime(2031, 3, 4, 9, 10, tzinfo=UTC)
    assert first("28.03.2031 09:10") is not None
    assert other("28.03.2031 09:10") is None


@pytest.mark.parametrize(
    "text",
    [
        "03.03.2031 09:10",
        "03.03.2031 09:10:0",
        "03.03.2031  09:10:00",
        " 03.03.2031 09:10:00",
        "31.02.2031 09:10:00",
        "03.03.2031 24:10:00",
        "03.03.2031 09:60:00",
        "03.03.1031 09:10:00",
        "٠٣.03.2031 09:10:00",
        "03.03.2031 09:10:00\n",
        "",
    ],
)
def test_other_texts_are_refused(text: str) -> None:
    assert stamp_reader("%d.%m.%Y %H:%M:%S", "+01:00")(text) is None


def test_one_digit_where_a_sign_stands_beside_it() -> None:
    assert stamp_reader("%m/%d/%Y %I:%M:%S %p", "-05:00")("3/4/2031 12:05:00 am") == datetime(
        2031, 3, 4, 0, 5, tzinfo=timezone(timedelta(hours=-5))
    )
    assert stamp_reader("%m/%d/%Y %I:%M:%S %p", "Z")("3/4/2031 13:05:00 PM") is None
    assert stamp_reader("%Y%m%d %H%M%S", "Z")("203134 091000") is None


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ("%d.%m.%Y", "no %H or %I"),
        ("%d.%m.%Y %y %H:%M", "both %Y or %y"),
        ("%d.%d.%m.%Y %H:%M", "%d more than once"),
        ("%d. %B %Y %H:%M", "the part %B"),
        ("%d.%m.%Y %I:%M", "one of %I and %p without the other"),
        ("%d.%m.%Y %H:%M,%f", "%f without %S"),
        ("%d.%m.%Y %H:%M %", "the part %"),
    ],
)
def test_forms_that_are_none(form: str, told: str) -> None:
    assert wrong_form(form) == told


def test_offsets() -> None:
    assert parse_offset("-0530") == timezone(timedelta(hours=-5, minutes=-30))
    assert parse_offset("Z") == UTC
    assert [parse_offset(text) for text in ("CET", "1", "+1:00", "+25:00", "+01:75", "")] == [None] * 6
