"""Unweighted mean squares of a nested table, balanced or not, and what they tell of the components of variance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lossstats.components.nested_table import RESIDUAL, Array, Codes, NestedTable


@dataclass(frozen=True, eq=False)
class NestedMeans:
    """Mean squares, one a level and one of the values within the innermost units.

    Attributes
    ----------
    levels : tuple of str
        Outermost first, ``"residual"`` last.
    mean_squares : ndarray, shape (levels,)
        Variance of plain means within their parent: of articles about the mean of all, of mounts about the mean of
        their article, of values about the mean of their mount.
    degrees_of_freedom : ndarray, shape (levels,)
        Children less parents.
    coefficients : ndarray, shape (levels, levels)
        Expectation of each mean square: row times the components of variance. Upper triangular, ones on the diagonal.
    contrasts : ndarray, shape (levels, levels)
        The inverse: components from mean squares.
    mean : float
        Plain mean of the outermost units.
    balanced : bool
        Whether every unit of a level has equally many children.
    """

    levels: tuple[str, ...]
    mean_squares: Array
    degrees_of_freedom: Array
    coefficients: Array
    contrasts: Array
    mean: float
    balanced: bool

    @property
    def components(self) -> Array:
        """Estimate the components of variance, unbiased and so possibly below 0.

        Returns
        -------
        ndarray, shape (levels,)
            Variance by level.
        """
        return self.contrasts @ self.mean_squares


def mean_squares_of(table: NestedTable) -> NestedMeans:
    """Average from the inside out, each unit counting once, and take the mean square of every level.

    Parameters
    ----------
    table : NestedTable
        One to three levels.

    Returns
    -------
    NestedMeans
        Mean squares and the coefficients of their expectations.

    Raises
    ------
    ValueError
        If a level has no degrees of freedom, so that it cannot be told from another; says which.

    Notes
    -----
    Searle, Casella and McCulloch (1992), Variance Components, 5.3, for unweighted means of one level; carried down
    the tree here. With equal numbers throughout they are the mean squares of the analysis of variance, each divided by
    the number of values a unit.
    """
    parents = table.parents
    _check_separable(table, parents)
    # The first value is subtracted, exactly where values agree in their leading digits, so that none are lost.
    start = float(table.values[0])
    means = table.values - start
    depth = len(parents)
    squares, dof, rows = np.zeros(depth), np.zeros(depth), np.zeros((depth, depth))
    shares = np.zeros((depth, len(means)))  # variance of each mean by component of variance
    for level in reversed(range(depth)):
        shares[level] = 1.0
        counts = np.bincount(parents[level])
        new = _averaged(means, parents[level], counts)
        dof[level] = len(means) - len(counts)
        squares[level] = np.sum((means - new[parents[level]]) ** 2) / dof[level]
        rows[level] = shares @ (1 - 1 / counts[parents[level]]) / dof[level]
        shares = np.array([np.bincount(parents[level], weights=s) / counts**2 for s in shares])
        means = new
    balanced = all(np.ptp(np.bincount(parent)) == 0 for parent in parents)
    names = (*table.levels, RESIDUAL)
    contrasts: Array = np.linalg.inv(rows).astype(np.float64)
    return NestedMeans(names, squares, dof, rows, contrasts, start + float(means[0]), balanced)


def mean_squares_with_scatter(table: NestedTable, value: str) -> NestedMeans:
    """Take the mean squares of a table whose innermost values scatter.

    Parameters
    ----------
    table : NestedTable
        One to three levels.
    value : str
        Column of the values, for the text of an error.

    Returns
    -------
    NestedMeans
        As `mean_squares_of` gives them.

    Raises
    ------
    ValueError
        If a level cannot be told from another, or the values within the innermost units do not differ at all.
    """
    means = mean_squares_of(table)
    if means.mean_squares[-1] == 0:
        raise ValueError(
            f"table, column {value!r}: found values that do not differ at all within any {table.levels[-1]}; "
            "accepted: values with some scatter (a display step may hide it: give the means of finer readings)"
        )
    return means


def _averaged(means: Array, parents: Codes, counts: Codes) -> Array:
    first = np.bincount(parents, weights=means) / counts
    # A second pass takes up what rounding left in the first.
    return first + np.bincount(parents, weights=means - first[parents]) / counts


def _check_separable(table: NestedTable, parents: tuple[Codes, ...]) -> None:
    """Refuse a table in which a level cannot be told from the one above or below."""
    levels = table.levels
    counts = [np.bincount(parent) for parent in parents]
    if len(parents[0]) == 1:
        inner = f", or levels={list(levels[1:])} for what varies within it" if levels[1:] else ""
        raise ValueError(
            f"table: found one {levels[0]} only ({table.names[0][0]}), so that nothing can be said of the "
            f"scatter from {levels[0]} to {levels[0]}; accepted: two or more{inner}"
        )
    for depth in range(1, len(levels)):
        if counts[depth].max() == 1:
            raise ValueError(
                f"table: found a single {levels[depth]} for each {levels[depth - 1]}, so that {levels[depth]} cannot "
                f"be separated from {levels[depth - 1]}; accepted: two or more for some, or levels="
                f"{[name for name in levels if name != levels[depth]]}, in which {levels[depth - 1]} contains both"
            )
    if counts[-1].max() == 1:
        rest = f", or levels={list(levels[:-1])}, in which the residual contains both" if levels[1:] else ""
        raise ValueError(
            f"table: found a single value for each {levels[-1]}, so that {levels[-1]} cannot be separated from the "
            f"residual; accepted: two or more for some{rest}"
        )
