"""Blocks read by arithmetic on digits. Evidence: Python's own `float` on the same text, bit by bit; the row reader."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lossstats.trial_folder import fixed_decimals, number_rows
from lossstats.trial_folder.faults import FaultList
from lossstats.trial_folder.fixed_decimals import read_fixed_block
from lossstats.trial_folder.number_rows import RowForm
from lossstats.trial_folder.settings import LogKeys


@pytest.fixture(params=["digits", "float"])
def way(request, monkeypatch):
    """Both ways to the numbers, whatever the size of the block."""
    monkeypatch.setattr(fixed_decimals, "_MANY", 0 if request.param == "digits" else 10**9)
    return request.param


def bits(values):
    return np.asarray(values, dtype=np.float64).view(np.int64).tolist()


def written(whole, decimals, column):
    return f"{'-' if whole < 0 else ''}{abs(whole) // 10 ** decimals[column]}" + (
        f".{abs(whole) % 10 ** decimals[column]:0{decimals[column]}d}" if decimals[column] else ""
    )


@given(
    st.lists(st.tuples(*[st.integers(-(10**13), 10**13)] * 3), min_size=1, max_size=20),
    st.tuples(*[st.integers(0, 9)] * 3),
)
@settings(max_examples=300, deadline=None)
def test_numbers_are_those_of_float_to_the_last_bit(rows, decimals):
    texts = [[written(number, decimals, column) for column, number in enumerate(row)] for row in rows]
    block = "".join(",".join(row) + "\n" for row in texts).encode()
    for many in (0, 10**9):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(fixed_decimals, "_MANY", many)
            read = read_fixed_block(block, b",", b".", 3, [0, 1, 2])
        assert read.decimals == decimals
        assert bits(read.numbers) == bits([[float(text) for text in row] for row in texts])


@given(st.integers(1, 14), st.integers(0, 13), st.randoms(use_true_random=False))
@settings(max_examples=200, deadline=None)
def test_rows_of_one_length_are_read_without_looking_for_their_marks(digits, decimals, random):
    count = min(decimals, digits - 1)
    numbers = [f"{random.randrange(10**digits):0{digits}d}" for _ in range(30)]
    texts = [text[: digits - count] + ("." + text[digits - count :] if count else "") for text in numbers]
    block = "".join(f"{row:02d};{text};1\n" for row, text in enumerate(texts)).encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fixed_decimals, "_MANY", 0)
        patch.setattr(fixed_decimals, "_field_ends", None)
        read = read_fixed_block(block, b";", b".", 3, [1, 0])
    assert read.decimals == (0, count, 0)
    assert bits(read.numbers) == bits([[float(text), float(row)] for row, text in enumerate(texts)])


@pytest.mark.usefixtures("way")
def test_hardest_numbers():
    texts = ["-0.000", "0.000", "000000000007.000", "-999999999999.999", "8.125", "123456789012345.678", "-5.000"]
    read = read_fixed_block("".join(text + "\n" for text in texts).encode(), b",", b".", 1, [0])
    assert bits(read.numbers[:, 0]) == bits([float(text) for text in texts])


@pytest.mark.usefixtures("way")
def test_columns_in_the_wanted_order_and_others_only_checked():
    block = b"0;1,5;-7\n5;2,5;12\n"
    read = read_fixed_block(block, b";", b",", 3, [2, 1])
    assert read.numbers.tolist() == [[-7, 1.5], [12, 2.5]]
    assert read.decimals == (0, 1, 0)


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize(
    "block",
    [
        b"1.0,2\n1.00,2\n", b"1,2\n1,2,3\n", b"1,2\n1\n", b"1,2\n,2\n", b"1,2\n1,\n", b"1,2\n\n1,2\n", b"1.,2\n2.,2\n",
        b".5,2\n.5,2\n", b"1-1,2\n2,2\n", b"1,--2\n1,2\n", b"1,-\n1,2\n", b"1.-5,2\n1.55,2\n", b"1,2\n1.0,2\n", b"\n1,2\n",
        b"1,2e3\n1,2\n", b"1,+2\n1,2\n", b"1,2\r\n1,2\r\n", b"1,2 \n1,2\n", b"1,2\n1;2\n", b"1,2\n1.2\n", b"1,2,\n1,2,\n",
        b"-,-\n1,2\n", b"1,2\n-\n", b"1.2.3,4\n1.2.3,4\n",
    ],
)  # fmt: skip
def test_irregular_rows_are_left_to_a_closer_look(block):
    assert read_fixed_block(block, b",", b".", 2, [0, 1]) is None


@pytest.mark.usefixtures("way")
def test_a_number_beyond_all_floats_is_left_to_a_closer_look():
    assert read_fixed_block(b"9" * 400 + b",1\n", b",", b".", 2, [0, 1]) is None


# The last two have rows of one length
BLOCKS = [b"0,6.98\n5,7.02\n10,-7.11\n", b"0.0,1\n0.5,2\n11.0,-3\n", b"5,6.98\n6,7.02\n", b"10.0,1\n10.5,2\n11.0,3\n"]


@given(st.data())
@settings(max_examples=800, deadline=None)
def test_takes_by_digits_what_the_row_reader_takes(data):
    block = bytearray(data.draw(st.sampled_from(BLOCKS)))
    for _ in range(data.draw(st.integers(0, 3))):
        place = data.draw(st.integers(0, len(block) - 1))
        piece = data.draw(st.sampled_from([b"", b"0", b"93", b"-", b".", b",", b"\n", b" ", b"+", b"e", b"x"]))
        block[place : place + data.draw(st.integers(0, 2))] = piece
    text = bytes(block).rstrip(b"\n") + b"\n"
    form = RowForm(LogKeys(), ("time_s", "loss_W"), (0, 1), FaultList("a"))
    rows = [number_rows._read_row(line, 2 + i, form) for i, line in enumerate(text[:-1].split(b"\n"))]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fixed_decimals, "_MANY", 0)
        read = read_fixed_block(text, b",", b".", 2, [0, 1])
    assert (read is None) == bool(len(form.faults)), (text, form.faults.listed())
    if read is not None:
        assert bits(read.numbers) == bits(rows)
