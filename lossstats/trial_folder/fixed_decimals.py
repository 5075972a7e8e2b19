"""Blocks of perfectly regular rows of numbers, checked and read by arithmetic on whole columns of digits."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

_DIGITS = b"0123456789"
# Code of a byte: itself less "0", in 8 bits; 0 to 9 are the digits, anything else is above 9.
_ZERO = np.uint8(ord("0"))
_MINUS = (ord("-") - ord("0")) % 256
# Fifteen digits are a whole number below 2**53, and 10.0**15 is exact too: their quotient is rounded once, and so is
# the nearest float to the decimal number, the one that `float` gives.
_MOST_DIGITS = 15
# Below so many numbers the calls of numpy cost more than `float` on each.
_MANY = 1500


@dataclass(frozen=True, eq=False)
class FixedBlock:
    """Numbers of a block in which every column has one number of decimals.

    Attributes
    ----------
    numbers : ndarray, shape (rows, wanted columns)
        Finite.
    decimals : tuple of int
        Decimals of every column of the block, wanted or not.
    """

    numbers: NDArray[np.float64]
    decimals: tuple[int, ...]


def read_fixed_block(
    block: bytes, separator: bytes, decimal: bytes, columns: int, wanted: Sequence[int]
) -> FixedBlock | None:
    r"""Read a block of rows if all of them are regular to the last byte.

    Parameters
    ----------
    block : bytes
        Rows, each ended by ``\n``; one row at least.
    separator, decimal : bytes
        One byte each, not the same.
    columns : int
        Fields that a row has.
    wanted : sequence of int
        Columns whose numbers are read; the others are only checked.

    Returns
    -------
    FixedBlock or None
        None where anything needs a closer look: another character than digits, minus, separator and decimal sign, a
        row of other fields than the first, a number without digits before or after its decimal sign, a minus inside a
        number, other decimals than in the first row.

    Examples
    --------
    >>> read_fixed_block(b"0,6.98\n5,-7.02\n", b",", b".", 2, [1]).numbers.tolist()
    [[6.98], [-7.02]]
    >>> read_fixed_block(b"0,6.98\n5,7.0\n", b",", b".", 2, [1])
    """
    even = _read_even(block, separator, decimal, columns, wanted)
    if even is not None:
        return even
    codes = np.frombuffer(block, np.uint8) - _ZERO
    ends = _field_ends(block, codes, separator, decimal, columns)
    if ends is None or not _minus_leads(block, codes, separator):
        return None
    decimals = []
    for whole, end in ends:
        lengths = end - whole
        if (lengths != lengths[0]).any():
            return None
        decimals.append(max(int(lengths[0]) - 1, 0))
    places = list(wanted)
    by_digits = len(ends[0][0]) * len(places) >= _MANY
    columns_read = _by_digits(codes, ends, decimals, places) if by_digits else None
    numbers = _by_float(block, separator, decimal, columns)[:, places] if columns_read is None else columns_read
    return FixedBlock(numbers, tuple(decimals)) if np.isfinite(numbers).all() else None


def _read_even(
    block: bytes, separator: bytes, decimal: bytes, columns: int, wanted: Sequence[int]
) -> FixedBlock | None:
    # Rows as long as the first one, without a minus: most of a long log. Each digit has a column of its own in a table
    # of bytes, and none is looked for. None says nothing: other rows may be regular too.
    width = block.index(b"\n") + 1
    rows, rest = divmod(len(block), width)
    if rest or rows * len(wanted) < _MANY:
        return None
    form = re.compile(b"([0-9]+)(?:" + re.escape(decimal) + b"([0-9]+))?")
    texts = block[: width - 1].split(separator)
    fields = [field for text in texts if (field := form.fullmatch(text)) is not None]
    if not len(fields) == len(texts) == columns or max(len(fields[place][0]) for place in wanted) > _MOST_DIGITS:
        return None
    codes = np.subtract(np.frombuffer(block, np.uint8).reshape(rows, width).T, _ZERO, order="C")
    is_digit = codes[:, 0] <= 9
    if not np.where(is_digit, codes.max(axis=1) <= 9, codes.min(axis=1) == codes.max(axis=1)).all():
        return None
    decimals = [len(field[2] or b"") for field in fields]
    starts = np.cumsum([0, *(len(text) + 1 for text in texts)])
    numbers = np.empty((len(wanted), rows))
    for row, place in enumerate(wanted):
        digits = codes[starts[place] : starts[place + 1]][is_digit[starts[place] : starts[place + 1]]]
        np.divide(_joined(digits), 10.0 ** decimals[place], out=numbers[row])
    return FixedBlock(numbers.T, tuple(decimals))


def _joined(digits: NDArray[np.uint8]) -> NDArray[Any]:
    # Whole numbers from their digits, the first ones first, in the smallest type that holds them
    whole: NDArray[Any] = np.zeros(digits.shape[1], np.uint32 if len(digits) <= 9 else np.uint64)
    for digit in digits:
        whole *= 10
        whole += digit
    return whole


_Ends = list[tuple[NDArray[np.intp], NDArray[np.intp]]]


def _field_ends(block: bytes, codes: NDArray[np.uint8], separator: bytes, decimal: bytes, columns: int) -> _Ends | None:
    # For every column: where the whole part and where the field ends, row by row. None where a row has other marks than
    # the first one, or no digit before a mark.
    marks = np.flatnonzero((codes > 9) & (codes != _MINUS))
    pattern = block[: block.index(b"\n") + 1].translate(None, _DIGITS + b"-")
    fields = pattern[:-1].split(separator)
    if len(fields) != columns or not all(text in (b"", decimal) for text in fields):
        return None
    rows, rest = divmod(len(marks), len(pattern))
    if rest or np.frombuffer(block, np.uint8)[marks].tobytes() != pattern * rows:
        return None
    # The byte before the first mark may be the last of the block, a line end: that is no digit either.
    if (codes[marks - 1] > 9).any():
        return None
    table = np.ascontiguousarray(marks.reshape(rows, len(pattern)).T)
    ends, place = [], 0
    for text in fields:
        ends.append((table[place], table[place + len(text)]))
        place += 1 + len(text)
    return ends


def _minus_leads(block: bytes, codes: NDArray[np.uint8], separator: bytes) -> bool:
    if b"-" not in block:
        return True
    before = np.frombuffer(block, np.uint8)[np.flatnonzero(codes == _MINUS) - 1]
    return bool(((before == separator[0]) | (before == ord("\n"))).all())


def _by_digits(
    codes: NDArray[np.uint8], ends: _Ends, decimals: list[int], wanted: list[int]
) -> NDArray[np.float64] | None:
    # Columns side by side in memory: whoever takes one as an array does not copy it. None where a number is too long.
    numbers = np.empty((len(wanted), len(ends[0][0])))
    for row, place in enumerate(wanted):
        whole = ends[place][0]
        starts = ends[place - 1][1] + 1 if place else np.concatenate([[0], ends[-1][1][:-1] + 1])
        lengths = whole - starts
        if int(lengths.max()) + decimals[place] > _MOST_DIGITS:
            return None
        number = numbers[row]
        number.fill(0)
        for digit in _digits(codes, whole, lengths, decimals[place]):
            number *= 10
            number += digit
        if decimals[place]:
            number /= 10.0 ** decimals[place]
        negative = codes[starts] == _MINUS
        if negative.any():
            np.negative(number, out=number, where=negative)
    return numbers.T


def _digits(
    codes: NDArray[np.uint8], whole: NDArray[np.intp], lengths: NDArray[np.intp], decimals: int
) -> Iterator[NDArray[np.uint8]]:
    # Digits of all rows of a column, the first ones first; shorter numbers have zeros in front, and for a minus.
    shortest = int(lengths.min())
    for back in range(int(lengths.max()), 0, -1):
        digit = codes[whole - back]
        yield digit if back < shortest else np.where((lengths >= back) & (digit <= 9), digit, np.uint8(0))
    for ahead in range(1, decimals + 1):
        yield codes[whole + ahead]


def _by_float(block: bytes, separator: bytes, decimal: bytes, columns: int) -> NDArray[np.float64]:
    text = block[:-1].replace(b"\n", separator)
    if decimal == b",":
        text = text.replace(b",", b".")
    return np.fromiter(map(float, text.split(separator)), float).reshape(-1, columns)
