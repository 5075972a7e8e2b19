"""How many subsets have a sum within a limit: exact counts without listing them.

Both exact tests are such counts. Turning the signs of some differences, or swapping some units of two groups,
changes the statistic by a sum over the subset chosen, so the relabellings at least as extreme as the one seen are
the subsets whose sum keeps to a limit. Two ways count them. *Half sums*: list the sums of two halves, sort one,
look the other up (Horowitz and Sahni, 1974, J. ACM 21, 277, from memory); the cost grows as 2**(n/2), whatever
the values. *Table*: count the subsets of each size and sum, one value after the other; the cost grows with the
range of the values in steps, so they must be whole numbers. `cheaper` holds the rule that chooses.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from lossstats.exact_tests.lattice import Integers

Numbers = NDArray[Any]  # integers, or floats; counts that outgrow 64 bits are Python integers

# Seconds, measured on one core; only their ratios count.
_A_HALF_SUM, _A_CELL, _A_ROW = 8e-8, 1e-9, 1.2e-5
_LISTED = 8
MOST_HALF_SUMS = 2**21
MOST_CELLS = 2 * 10**7


class Counter(Protocol):
    """Counts the subsets (or equal-sized pairs of subsets) by their sum."""

    def at_most(self, total: float, each: float = 0, scale: int = 1) -> int:
        """Count the subsets with a sum of at most `total` plus `each` / `scale` for every member.

        Parameters
        ----------
        total, each : int or float
            The limit.
        scale : int, default 1
            Denominator of `each`.

        Returns
        -------
        int
            The empty one included.
        """


def subset_sums(values: Numbers, most: int | None = None) -> Numbers:
    """Sum of every subset, in the order of counting in twos.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Integers or floats.
    most : int, optional
        Largest subset wanted.

    Returns
    -------
    ndarray
        2**n sums, or those of the subsets of at most `most` members; the empty one first.

    Examples
    --------
    >>> subset_sums(np.array([1, 10, 100])).tolist()
    [0, 1, 10, 11, 100, 101, 110, 111]
    """
    if most is None or most >= len(values):
        if len(values) <= _LISTED:
            return np.asarray(_members(len(values), values.dtype.char) @ values)
        sums = np.zeros(2 ** len(values), values.dtype)
        for i, value in enumerate(values):
            np.add(sums[: 2**i], value, out=sums[2**i : 2 ** (i + 1)])
        return sums
    sums, sizes = np.zeros(1, values.dtype), np.zeros(1, np.int8)
    for value in values:
        grow = sizes < most
        sums, sizes = np.concatenate([sums, sums[grow] + value]), np.concatenate([sizes, sizes[grow] + 1])
    return sums


@lru_cache(maxsize=2 * _LISTED + 2)
def _members(n: int, kind: str) -> Numbers:
    """Which values each subset holds: one small product is quicker than n sums of slices."""
    codes = np.arange(2**n)[:, None]
    return ((codes >> np.arange(n)) & 1).astype(kind)


class FlipSums:
    """Subsets of one sample, by half sums.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Integers or floats.
    tolerance : float, default 0
        Sums that exceed the limit by no more count as equal to it; 0 for integers.
    """

    def __init__(self, values: Numbers, tolerance: float = 0) -> None:
        self._halves = (values[0::2], values[1::2])
        self._tolerance = tolerance

    def at_most(self, total: float, each: float = 0, scale: int = 1) -> int:
        """Number of subsets with a sum of at most `total` plus `each` / `scale` for every member.

        Parameters
        ----------
        total, each : int or float
            The limit.
        scale : int, default 1
            Denominator of `each`.

        Returns
        -------
        int
            The empty subset included.
        """
        one, other = (subset_sums(half * scale - each) for half in self._halves)
        one.sort()
        other.sort()
        return int(np.searchsorted(one, total * scale + self._tolerance - other, "right").sum())


class SwapSums:
    """Pairs of equally large subsets of two samples, by the sum of the first less that of the second.

    Parameters
    ----------
    x, y : ndarray
        Integers or floats.
    tolerance : float, default 0
        As in `FlipSums`.
    """

    def __init__(self, x: Numbers, y: Numbers, tolerance: float = 0) -> None:
        self._x, self._y, self._tolerance = x, y, tolerance

    def at_most(self, total: float, each: float = 0, scale: int = 1) -> int:
        """Number of pairs whose sums differ by at most `total` plus `each` / `scale` for every member swapped.

        Parameters
        ----------
        total, each : int or float
            The limit.
        scale : int, default 1
            Denominator of `each`.

        Returns
        -------
        int
            The empty pair included.
        """
        x, y = self._x * scale - each, self._y * scale
        limit = total * scale + self._tolerance
        # Adding `width` to each value makes pairs of unequal size differ by more than any sum: one search, not
        # one a size.
        reach = 2 * (np.abs(x).sum() + np.abs(y).sum() + abs(limit)) or 1
        width = 2 * reach
        most = min(len(x), len(y))
        one, other = subset_sums(x + width, most), subset_sums(y + width, most)
        one.sort()
        other.sort()
        upper = np.searchsorted(other, one + reach, "left")
        return int((upper - np.searchsorted(other, one - limit, "left")).sum())


class FlipTable:
    """Subsets of one sample of integers, by a table of sizes and sums.

    Parameters
    ----------
    values : ndarray of int64
        Whole numbers of steps.
    """

    def __init__(self, values: Integers) -> None:
        self._least = int(values.min())
        self._at_most = np.cumsum(size_sum_table(values - self._least, len(values), 2 ** len(values)), axis=1)

    def at_most(self, total: float, each: float = 0, scale: int = 1) -> int:
        """Number of subsets with a sum of at most `total` plus `each` / `scale` for every member.

        Parameters
        ----------
        total, each : int
            The limit.
        scale : int, default 1
            Denominator of `each`.

        Returns
        -------
        int
            The empty subset included.
        """
        count, last = 0, self._at_most.shape[1] - 1
        for size, row in enumerate(self._at_most):
            limit = int(total * scale + size * each) // scale - size * self._least
            count += int(row[min(limit, last)]) if limit >= 0 else 0
        return count


class SwapTable:
    """Pairs of equally large subsets of two samples of integers, by tables of sizes and sums.

    Parameters
    ----------
    x, y : ndarray of int64
        Whole numbers of steps.
    """

    def __init__(self, x: Integers, y: Integers) -> None:
        # Each sample less its own minimum, so that a difference between the samples costs no cells.
        least_x, least_y = int(x.min()), int(y.min())
        most, largest = min(len(x), len(y)), math.comb(len(x) + len(y), len(x))
        self._offset = least_x - least_y
        self._rows_x = []
        for row in size_sum_table(x - least_x, most, largest):
            sums = np.flatnonzero(row)
            self._rows_x.append((sums, row[sums]))
        below = np.cumsum(size_sum_table(y - least_y, most, largest), axis=1)
        self._below_y = np.concatenate([np.zeros((most + 1, 1), below.dtype), below], axis=1)

    def at_most(self, total: float, each: float = 0, scale: int = 1) -> int:
        """Number of pairs whose sums differ by at most `total` plus `each` / `scale` for every member swapped.

        Parameters
        ----------
        total, each : int
            The limit.
        scale : int, default 1
            Denominator of `each`.

        Returns
        -------
        int
            The empty pair included.
        """
        count, last = 0, self._below_y.shape[1] - 1
        for size, ((sums, counts), below) in enumerate(zip(self._rows_x, self._below_y, strict=True)):
            limit = int(total * scale + size * each) // scale - size * self._offset
            count += int(counts @ (below[-1] - below.take(np.clip(sums - limit, 0, last))))
        return count


def size_sum_table(values: Integers, most: int, largest: int) -> Numbers:
    """Number of subsets of each size and sum.

    Parameters
    ----------
    values : ndarray of int64
        Not negative.
    most : int
        Largest subset wanted.
    largest : int
        Bound of all counts; from 2**63 on the counts are Python integers, which cannot overflow.

    Returns
    -------
    ndarray, shape (most + 1, largest sum + 1)
        Counts.
    """
    ordered = np.sort(values)
    top = int(ordered[len(ordered) - most :].sum())
    table = np.zeros((most + 1, top + 1), np.int64 if largest < 2**63 else object)
    table[0, 0] = 1
    reach = 0
    for i, value in enumerate(ordered.tolist()):
        rows, columns = min(i + 1, most), min(reach, top - value) + 1
        table[1 : rows + 1, value : value + columns] += table[:rows, :columns]
        reach = min(reach + value, top)
    return table


def sign_sums_at_most(sizes: Integers, limit: int) -> int | None:
    """Number of subsets of integers with a sum of at most a limit, by the cheaper way.

    Parameters
    ----------
    sizes : ndarray of int64, shape (n,)
        Not negative.
    limit : int
        Not negative; sums beyond it need no table.

    Returns
    -------
    int or None
        The empty subset included; None if both ways are too long.
    """
    n = len(sizes)
    by_table = n * (0.3 * _A_ROW + 0.5 * _A_CELL * limit) if limit < MOST_CELLS else math.inf
    if math.isinf(min(by_table, _half_sum_cost(n))):
        return None
    if _half_sum_cost(n) < by_table:
        return FlipSums(sizes).at_most(limit)
    table = np.zeros(limit + 1, np.int64 if n < 63 else object)
    table[0] = 1
    reach = 0
    for value in np.sort(sizes).tolist():
        if value > limit:
            break
        columns = min(reach, limit - value) + 1
        table[value : value + columns] += table[:columns]
        reach = min(reach + value, limit)
    return int(table.sum())


def cheaper(values: tuple[Numbers, ...], tolerance: float = 0) -> Counter | None:
    """The cheaper counter for these values.

    Parameters
    ----------
    values : tuple of ndarray
        One sample (subsets) or two (pairs of subsets of equal size).
    tolerance : float, default 0
        For floats; they can only be counted by half sums.

    Returns
    -------
    Counter or None
        None if both ways are too long (2**21 half sums; 2 10**7 cells of a table).

    Notes
    -----
    The rule, with times measured on one core: 80 ns a half sum, against 1 ns a cell and value of a table and 12 us
    a row.
    """
    tables = _table_cost(values) if values[0].dtype == np.int64 else math.inf
    sums = _half_sum_cost(len(values[0])) if len(values) == 1 else _swap_sum_cost(*map(len, values))
    if math.isinf(min(tables, sums)):
        return None
    if sums <= tables:
        return FlipSums(values[0], tolerance) if len(values) == 1 else SwapSums(values[0], values[1], tolerance)
    return FlipTable(values[0]) if len(values) == 1 else SwapTable(values[0], values[1])


def _half_sum_cost(n: int) -> float:
    sums = 2.0 ** ((n + 1) // 2)
    return 2 * sums * _A_HALF_SUM if sums <= MOST_HALF_SUMS else math.inf


def _swap_sum_cost(n: int, m: int) -> float:
    most = min(n, m)
    sums = sum(math.comb(n, k) + math.comb(m, k) for k in range(most + 1))
    return sums * _A_HALF_SUM if sums <= 2 * MOST_HALF_SUMS else math.inf


def _table_cost(values: tuple[Numbers, ...]) -> float:
    most = min(map(len, values))
    cost = 0.0
    for sample in values:
        cells = (most + 1) * float(np.sort(sample - sample.min())[len(sample) - most :].sum() + 1)
        if cells > MOST_CELLS:
            return math.inf
        cost += len(sample) * (_A_ROW + 0.4 * _A_CELL * cells) + most * _A_ROW
    return cost
