"""Sums over bootstrap resamples, many at a time, and the statistics that are made of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lossstats.exact_tests.lattice import Array

Combination = Literal["mean", "difference", "ratio"]
_TABLE = 10_000  # entries of a table of sums: larger ones cost more in look-ups than they save in draws
_PICKS = 2**20  # drawn at a time, which bounds the memory


def resample_sums(
    columns: list[Array], resamples: int, generator: np.random.Generator, draws: int | None = None
) -> list[Array]:
    """Draw resamples of the rows and sum each column over them.

    Parameters
    ----------
    columns : list of ndarray, each of shape (n,)
        Values of the same n units.
    resamples : int
        Number of resamples, each of n units with replacement.
    generator : Generator
        Source of randomness.
    draws : int, optional
        Rows drawn for a resample; as many as there are by default.

    Returns
    -------
    list of ndarray, each of shape (resamples,)
        Sums; the columns of one resample hold the same units.

    Notes
    -----
    A resample of n is cut into groups of k. One draw of n**k picks a group at once, and a table holds the sums of
    all groups: the same law for a k-th of the draws and look-ups, which is where the time goes.
    """
    n, k = len(columns[0]), 1
    draws = draws or n
    while k < draws and n ** (k + 1) <= _TABLE:
        k += 1
    k = -(-draws // -(-draws // k))  # no larger than the number of draws makes use of
    groups, rest = divmod(draws, k)
    sums = np.zeros((resamples, len(columns)) if len(columns) > 1 else resamples)
    at_once = max(1, _PICKS // resamples)
    for start in range(0, groups, at_once):
        _add(sums, _sums_of_groups(columns, k), min(at_once, groups - start), generator)
    if rest:
        _add(sums, _sums_of_groups(columns, rest), 1, generator)
    return list(np.ascontiguousarray(sums.T)) if len(columns) > 1 else [sums]


def _add(sums: Array, table: Array, times: int, generator: np.random.Generator) -> None:
    for row in _picks(generator, len(table), times * len(sums)).reshape(times, len(sums)):
        np.add(sums, table.take(row, axis=0), out=sums)


def _picks(generator: np.random.Generator, options: int, number: int) -> NDArray[Any]:
    """Draw whole numbers below `options` (at least 2), each as likely.

    Random bits are cut into equal shares, and the few numbers beyond the last share are drawn again: sixteen bits
    each where few are beyond, otherwise 32. The general routine does the same one by one and takes twice as long.
    """
    kind, size = (np.uint16, 2**16) if 2**16 % options < 0.02 * 2**16 else (np.uint32, 2**32)
    share = size // options
    words = -(-number * np.dtype(kind).itemsize // 8)
    bits: NDArray[Any] = generator.integers(0, 2**64, words, dtype=np.uint64).view(kind)[:number]
    beyond = np.flatnonzero(bits >= share * options) if share * options < size else np.empty(0, np.intp)
    picked: NDArray[Any] = np.floor_divide(bits, kind(share), out=bits)
    picked[beyond] = generator.integers(0, options, len(beyond))
    return picked


def _sums_of_groups(columns: list[Array], k: int) -> Array:
    """Sums of every choice of k rows, in order and with repetition; side by side, so that one look-up fetches all."""
    tables = []
    for column in columns:
        table = column
        for _ in range(k - 1):
            table = (table[:, None] + column).ravel()
        tables.append(table)
    return np.column_stack(tables) if len(tables) > 1 else tables[0]


@dataclass(frozen=True, eq=False)
class Part:
    """One sample as a ratio of sums over its units: plain means have weight one.

    Attributes
    ----------
    numerators : ndarray, shape (units,)
        For a whole article: the sum of its values.
    weights : ndarray or None
        For a whole article the number of its values, for a ratio of pairs the second values; None for ones.
    """

    numerators: Array
    weights: Array | None = None

    @property
    def units(self) -> int:
        """Number of units resampled.

        Returns
        -------
        int
            One a row of the numerators.
        """
        return len(self.numerators)

    @cached_property
    def total_weight(self) -> float:
        """Sum of the weights.

        Returns
        -------
        float
            The number of units where each counts once.
        """
        return float(self.units if self.weights is None else self.weights.sum())

    @cached_property
    def value(self) -> float:
        """Sum of the numerators over the sum of the weights.

        Returns
        -------
        float
            The value of the part.
        """
        return float(self.numerators.sum()) / self.total_weight

    @cached_property
    def residuals(self) -> Array:
        """What each unit adds beyond its share: their sum is 0.

        Returns
        -------
        ndarray, shape (units,)
            Residuals.
        """
        expected = self.value if self.weights is None else self.value * self.weights
        return np.asarray(self.numerators - expected)

    @cached_property
    def variance(self) -> float:
        """Squared standard error of `value`: s**2 / n; for weights other than one to first order.

        Returns
        -------
        float
            Variance of the value.
        """
        k = self.units
        return float(np.vdot(self.residuals, self.residuals)) * k / ((k - 1) * self.total_weight**2)

    def jackknife(self) -> Array:
        """Compute the value without each unit in turn.

        Returns
        -------
        ndarray, shape (units,)
            Values.
        """
        weights = 1.0 if self.weights is None else self.weights
        return np.asarray((self.numerators.sum() - self.numerators) / (self.total_weight - weights))

    def resample(self, resamples: int, generator: np.random.Generator, *, squares: bool) -> tuple[Array, Array | None]:
        """Draw values of resamples, and their squared standard errors.

        Parameters
        ----------
        resamples : int
            How many.
        generator : Generator
            Source of randomness.
        squares : bool
            Whether the standard errors are wanted.

        Returns
        -------
        tuple
            Values less `value`, which keeps the digits; and squared standard errors or None.
        """
        e, w, k = self.residuals, self.weights, self.units
        columns = [e] + ([e * e] if squares else [])
        if w is not None:
            columns += [w] + ([e * w, w * w] if squares else [])
        first, *rest = resample_sums(columns, resamples, generator)
        if w is None:
            shift = first / k
            return shift, (rest[0] - shift * first) / (k * (k - 1)) if squares else None
        if not squares:
            return first / rest[0], None
        ee, total, ew, ww = rest
        shift = first / total
        return shift, (ee - 2 * shift * ew + shift * shift * ww) * k / ((k - 1) * total * total)


def combined(values: list[float], combination: Combination) -> float:
    """Combine the values of the parts into the statistic.

    Parameters
    ----------
    values : list of float
        One a part.
    combination : {"mean", "difference", "ratio"}
        How.

    Returns
    -------
    float
        The statistic.
    """
    if combination == "mean":
        return values[0]
    return values[0] - values[1] if combination == "difference" else values[0] / values[1]


def combined_variance(values: list[float], variances: list[float], combination: Combination) -> float:
    """Squared standard error of the statistic, to first order.

    Parameters
    ----------
    values, variances : list of float or of ndarray
        Of the parts.
    combination : {"mean", "difference", "ratio"}
        How they are combined.

    Returns
    -------
    float or ndarray
        Squared standard error.
    """
    if combination == "ratio":
        ratio = values[0] / values[1]
        return (variances[0] + ratio * ratio * variances[1]) / (values[1] * values[1])
    return variances[0] if combination == "mean" else variances[0] + variances[1]


def jackknife(parts: list[Part], combination: Combination) -> list[Array]:
    """Compute the statistic without each unit in turn, part by part.

    Parameters
    ----------
    parts : list of Part
        The samples.
    combination : {"mean", "difference", "ratio"}
        How they are combined.

    Returns
    -------
    list of ndarray
        Values, one array a part.
    """
    if combination == "mean":
        return [parts[0].jackknife()]
    first, second = parts[0].jackknife(), parts[1].jackknife()
    if combination == "difference":
        return [first - parts[1].value, parts[0].value - second]
    return [first / parts[1].value, parts[0].value / second]


def _alike(parts: list[Part]) -> bool:
    first, second = parts
    return first.weights is None and second.weights is None and first.units == second.units and first.units**2 <= _TABLE


def resample_statistic(
    parts: list[Part], combination: Combination, resamples: int, generator: np.random.Generator, *, squares: bool
) -> tuple[Array, Array | None]:
    """Draw the statistic of many resamples, and its squared standard errors.

    Parameters
    ----------
    parts : list of Part
        The samples, resampled independently.
    combination : {"mean", "difference", "ratio"}
        How they are combined.
    resamples : int
        How many.
    generator : Generator
        Source of randomness.
    squares : bool
        Whether the standard errors are wanted.

    Returns
    -------
    tuple
        The statistic less its value in the data; squared standard errors or None.
    """
    if combination == "difference" and not squares and _alike(parts):
        # One draw for a unit of each group: a table of n**2 differences takes fewer draws than two of n.
        first, second = (part.residuals for part in parts)
        table = (first[:, None] - second).ravel()
        return resample_sums([table], resamples, generator, parts[0].units)[0] / parts[0].units, None
    drawn = [part.resample(resamples, generator, squares=squares) for part in parts]
    shifts = [shift for shift, _ in drawn]
    if combination == "ratio":
        values = [part.value + shift for part, shift in zip(parts, shifts, strict=True)]
        shift = values[0] / values[1] - parts[0].value / parts[1].value
    else:
        values = shifts
        shift = shifts[0] if combination == "mean" else shifts[0] - shifts[1]
    if not squares:
        return shift, None
    variances = [variance for _, variance in drawn]
    return shift, combined_variance(values, variances, combination)  # type: ignore[arg-type,return-value]
