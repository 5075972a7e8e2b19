"""Rows of numbers. Evidence: the block reader and the row reader are two implementations of one grammar."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lossstats.trial_folder import number_rows
from lossstats.trial_folder.faults import FaultList
from lossstats.trial_folder.number_rows import RowForm, parse_stamp, read_block, split_fields
from lossstats.trial_folder.settings import LogKeys

KIT = LogKeys()
GOOD = b"0,6.980\n1,-0.001\n2,12.345\n3,6.990\n"


def form_of(log: LogKeys = KIT, names: tuple[str, ...] = ("time_s", "loss_W")) -> RowForm:
    return RowForm(log, names, tuple(range(len(names))), FaultList("a"))


def at_once(block: bytes, log: LogKeys = KIT) -> np.ndarray | None:
    return number_rows._read_all_at_once(block, 2, form_of(log))


def row_by_row(block: bytes, log: LogKeys = KIT) -> tuple[np.ndarray, FaultList]:
    form = form_of(log)
    rows = [number_rows._read_row(line, 2 + i, form) for i, line in enumerate(block[:-1].split(b"\n"))]
    return np.array(rows), form.faults


@given(st.data())
@settings(max_examples=400, deadline=None)
def test_block_and_rows_take_the_same_and_give_the_same(data: st.DataObject) -> None:
    block = bytearray(data.draw(st.sampled_from([GOOD, b"0.0,1\n0.5,2\n1.0,3\n", b"5,5\n6,6\n"])))
    for _ in range(data.draw(st.integers(0, 3))):
        place = data.draw(st.integers(0, len(block) - 1))
        piece = data.draw(
            st.sampled_from([b"", b"0", b"9", b"-", b".", b",", b"\n", b" ", b"+", b"e", b"_", b";", b"x"])
        )
        block[place : place + data.draw(st.integers(0, 1))] = piece
    text = bytes(block).rstrip(b"\n") + b"\n"
    fast = at_once(text)
    slow, faults = row_by_row(text)
    # Every block that the rows refuse is refused by the block reader, and every one they take is taken.
    assert (fast is None) == bool(len(faults)), (text, faults.listed())
    if fast is not None:
        assert np.array_equal(fast, slow)


@pytest.mark.parametrize(
    ("block", "log"),
    [
        (b"0,5;6,980\n1,0;-7,001\n", LogKeys(separator="semicolon", decimal=",")),
        (b"0.5\t6.980\n1.0\t-7.001\n", LogKeys(separator="tab")),
        (b"0.5,6.980\n1.0,-7.001\n", KIT),
    ],
)
def test_separators_and_decimal_signs(block: bytes, log: LogKeys) -> None:
    expected = np.array([[0.5, 6.98], [1.0, -7.001]])
    fast = at_once(block, log)
    assert fast is not None
    assert np.array_equal(fast, expected)
    assert np.array_equal(row_by_row(block, log)[0], expected)


def test_decimals_of_an_earlier_block_hold_in_a_later_one() -> None:
    form = form_of()
    read_block(b"0,6.980\n", 2, form)
    read_block(b"1,6.98\n", 3, form)
    assert [str(fault).partition(";")[0] for fault in form.faults.listed()] == [
        "a, line 3, column 2 (loss_W): found '6.98', 2 decimals"
    ]
    assert "3 as in line 2" in form.faults.listed()[0].accepted


def test_only_wanted_columns_are_numbers_and_come_in_the_wanted_order() -> None:
    form = RowForm(KIT, ("state", "loss_W", "time_s"), (2, 1), FaultList("a"))
    numbers = read_block("läuft,6.9,0\nläuft,7.0,1\n".encode(), 2, form)
    assert not len(form.faults)
    assert numbers.tolist() == [[0.0, 6.9], [1.0, 7.0]]


@pytest.mark.parametrize("text", ["+7", "1.5e3", "-2.5E-03", "7.25", "0"])
def test_free_decimals_take_signs_and_exponents(text: str) -> None:
    log = LogKeys(decimals="free")
    numbers = read_block(f"0,{text}\n".encode(), 2, form := form_of(log))
    assert not len(form.faults)
    assert numbers[0, 1] == float(text)


@pytest.mark.parametrize("text", ["1e400", "1e-400", "nan", "inf", "7.", ".5", "1_0", "٧", "", "7,5"])
def test_free_decimals_still_refuse(text: str) -> None:
    form = form_of(LogKeys(decimals="free", separator="semicolon"))
    read_block(f"0;{text}\n".encode(), 2, form)
    assert len(form.faults) == 1
    assert "accepted: a finite decimal number such as 6.985" in str(form.faults.listed()[0])


@pytest.mark.parametrize(
    ("log", "line", "fields"),
    [
        (LogKeys(), b"0, 1", [b"0", b" 1"]),
        (LogKeys(blanks="strip"), b" 0 ,\t1", [b"0", b"1"]),
        (LogKeys(separator="space"), b"  0    1 ", [b"0", b"1"]),
        (LogKeys(separator="tab"), b"0\t\t1", [b"0", b"", b"1"]),
    ],
)
def test_fields(log: LogKeys, line: bytes, fields: list[bytes]) -> None:
    assert split_fields(line, log) == fields


def test_stamps_with_offset_only() -> None:
    noon = datetime(2031, 3, 3, 12, tzinfo=UTC)
    assert parse_stamp("2031-03-03T12:00:00Z") == noon
    assert parse_stamp("2031-03-03 13:00:00.000+01:00") == noon
    assert parse_stamp("2031-03-03T13:00+01:00") == noon
    for text in (
        "2031-03-03T12:00:00",
        "2031-03-03",
        "20310303T120000Z",
        "2031-02-30T12:00:00Z",
        "03/05/2031 12:00",
        "2031-03-03T12:00:00Z\n",
        "2031-03-03T24:00:01Z",
        "٢٠٣١-03-03T12:00:00Z",
    ):
        assert parse_stamp(text) is None, text


def test_seconds_since_the_first_stamp_across_a_change_of_offset() -> None:
    form = form_of(LogKeys(time_form="iso", decimals="free"))
    block = b"2031-03-30T01:59:59+01:00,7\n2031-03-30T03:00:00.5+02:00,7\n"
    assert read_block(block, 2, form)[:, 0].tolist() == [0.0, 1.5]
    assert form.first_stamp == datetime(2031, 3, 30, 0, 59, 59, tzinfo=UTC)
