"""Components of variance of a nested table: how much articles, mounts and runs differ, with what certainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from lossstats.components.component_result import Components, dof_words
from lossstats.components.nested_means import NestedMeans, mean_squares_with_scatter
from lossstats.components.nested_table import Array, NestedTable, read_nested_table
from lossstats.records.argument_checks import whole_number

__all__ = ["DEFAULT_SEED", "Components", "variance_components"]

DEFAULT_SEED = 1
FEWEST_DRAWS = 2000
FEW_DOF = 5


def variance_components(
    table: Any,
    levels: Sequence[str],
    *,
    value: str = "value",
    unit: str = "",
    draws: int = 10_000,
    rng: np.random.Generator | int = DEFAULT_SEED,
) -> Components:
    """Tell how much each level of a nested table adds to the scatter.

    Parameters
    ----------
    table : pandas.DataFrame or mapping of str to sequence
        One row a value.
    levels : sequence of str
        Columns that name the units, outermost first; one to three. A label counts within the unit above: mount 1 of
        one article and mount 1 of another are two mounts.
    value : str, default "value"
        Column of the values.
    unit : str, optional
        Unit of the values, for the words.
    draws : int, default 10000
        Draws behind the intervals, 2000 at least.
    rng : Generator or int, default 1
        Generator or seed of the draws; an integer is kept in the result.

    Returns
    -------
    Components
        A standard deviation for every level and the residual.

    Raises
    ------
    TypeError
        If the table is no table of columns.
    ValueError
        If a column is missing, a label empty, a value not finite, a level cannot be separated from another, or the
        values within the innermost units do not differ at all.

    Notes
    -----
    Unweighted mean squares (`mean_squares_of`), unbiased for every layout, with generalised intervals. Balanced tables
    give the components of the analysis of variance.

    Examples
    --------
    >>> table = {"article": ["K01"] * 4 + ["K02"] * 4 + ["K03"] * 4, "mount": [1, 1, 2, 2] * 3,
    ...          "value": [6.1, 6.2, 6.4, 6.3, 7.0, 7.2, 6.9, 7.0, 5.6, 5.5, 5.9, 5.9]}
    >>> found = variance_components(table, ["article", "mount"], unit="W")
    >>> print(found.statement("residual"))
    0.082 (0.053 to 0.179) W
    """
    draws = whole_number("draws", draws, FEWEST_DRAWS)
    nested = read_nested_table(table, levels, value=value)
    means = mean_squares_with_scatter(nested, value)
    seed = int(rng) if isinstance(rng, int | np.integer) else None
    generator = np.random.default_rng(rng)
    dofs = means.degrees_of_freedom
    shrinkage = generator.chisquare(dofs[:, None], (len(dofs), draws)) / dofs[:, None]
    return _components(nested, means, unit, seed, shrinkage)


def _components(table: NestedTable, means: NestedMeans, unit: str, seed: int | None, shrinkage: Array) -> Components:
    names = means.levels
    variance = dict(zip(names, map(float, means.components), strict=True))
    counts = [*map(len, table.names), len(table.values)]
    return Components(
        levels=names,
        sd={name: math.sqrt(max(v, 0.0)) for name, v in variance.items()},
        variance=variance,
        mean_squares=dict(zip(names, map(float, means.mean_squares), strict=True)),
        degrees_of_freedom=dict(zip(names, map(float, means.degrees_of_freedom), strict=True)),
        units=dict(zip(names, counts, strict=True)),
        balanced=means.balanced,
        mean=means.mean,
        standard_uncertainty=math.sqrt(float(means.mean_squares[0]) / counts[0]),
        unit=unit,
        seed=seed,
        draws=shrinkage.shape[1],
        notes=tuple(_notes(table, means, variance, seed)),
        _means=means,
        _shrinkage=shrinkage,
    )


def _notes(table: NestedTable, means: NestedMeans, variance: dict[str, float], seed: int | None) -> list[str]:
    notes = [
        f"{name}: the estimate of the variance is below 0 ({v:.2g}); shown as 0, the level is kept"
        for name, v in variance.items()
        if v < 0
    ]
    for name, dof in zip(means.levels, means.degrees_of_freedom, strict=True):
        if dof < FEW_DOF:
            notes.append(
                f"{name}: {dof_words(float(dof))} {'tells' if dof == 1 else 'tell'} little; read the upper end"
            )
    alone = _single(table)
    if alone:
        notes.append(alone)
    if not means.balanced:
        notes.append("unbalanced table: plain means, each unit counts once; intervals are approximate")
    if seed is None:
        notes.append("intervals drawn from the caller's generator; give an integer to have them again")
    return notes


def _single(table: NestedTable) -> str:
    """Name the innermost units with a single value; they tell nothing of the residual."""
    counts = np.bincount(table.codes[-1])
    names = [name for name, n in zip(table.names[-1], counts, strict=True) if n == 1]
    if not names:
        return ""
    listed = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
    return f"one value only in {table.levels[-1]} {listed}: tells nothing of the residual"
