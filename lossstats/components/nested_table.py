"""A nested table, read and checked: values, and for every value the unit of each level that it belongs to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.records.argument_checks import refuse

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
MOST_LEVELS = 3
RESIDUAL = "residual"


@dataclass(frozen=True, eq=False)
class NestedTable:
    """Values in a tree of units.

    Attributes
    ----------
    levels : tuple of str
        Outermost first.
    values : ndarray, shape (values,)
        Finite, in the unit of the measurand.
    codes : tuple of ndarray, shape (values,) each
        By level: number of the unit that the value belongs to, from 0, in the order of first appearance.
    names : tuple of tuple of str
        By level: names of the units, such as ``"K01/2"`` for mount 2 of article K01.
    """

    levels: tuple[str, ...]
    values: Array
    codes: tuple[Codes, ...]
    names: tuple[tuple[str, ...], ...]

    @property
    def parents(self) -> tuple[Codes, ...]:
        """Parent of every unit, level by level.

        Returns
        -------
        tuple of ndarray
            For each level the number of the unit one level up that each unit belongs to; 0 at the outermost. A last
            entry holds the same for the values.
        """
        above = np.zeros(len(self.values), dtype=np.intp)
        found = []
        for code, names in zip(self.codes, self.names, strict=True):
            parent = np.zeros(len(names), dtype=np.intp)
            parent[code] = above
            found.append(parent)
            above = code
        return (*found, above)


def read_nested_table(table: Any, levels: Sequence[str], *, value: str = "value") -> NestedTable:
    """Check a table with one row a value, and number its units.

    Parameters
    ----------
    table : pandas.DataFrame or mapping of str to sequence
        Columns of equal length.
    levels : sequence of str
        Columns that name the units, outermost first; one to three of them. A label counts within the unit above: mount
        1 of one article and mount 1 of another are two mounts.
    value : str, default "value"
        Column of the values.

    Returns
    -------
    NestedTable
        The values in the order of the table.

    Raises
    ------
    TypeError
        If it is no table of columns, or `levels` is a bare text.
    ValueError
        If a column is missing or there twice, columns differ in length, a label is empty, or a value is not a finite
        number.

    Examples
    --------
    >>> table = {"article": ["K01", "K01", "K02"], "mount": [1, 2, 1], "value": [6.1, 6.3, 5.9]}
    >>> read_nested_table(table, ["article", "mount"]).names[1]
    ('K01/1', 'K01/2', 'K02/1')
    """
    chosen = _checked_levels(levels, value)
    columns = _columns(table, [*chosen, value])
    values = np.array([_number(x, value, row) for row, x in enumerate(columns[value], start=1)])
    codes, names = [], []
    above = [""] * len(values)
    for level in chosen:
        labels = [_label(x, level, row) for row, x in enumerate(columns[level], start=1)]
        paths = list(zip(above, labels, strict=True))
        numbers = {path: number for number, path in enumerate(dict.fromkeys(paths))}
        above = [f"{outer}/{inner}" if outer else inner for outer, inner in paths]
        codes.append(np.array([numbers[path] for path in paths], dtype=np.intp))
        names.append(tuple(f"{outer}/{inner}" if outer else inner for outer, inner in numbers))
    return NestedTable(chosen, values, tuple(codes), tuple(names))


def _checked_levels(levels: Sequence[str], value: str) -> tuple[str, ...]:
    if isinstance(levels, str):
        raise TypeError(f'levels: found the text {levels!r}; accepted: a list of columns, such as ["{levels}"]')
    chosen = tuple(levels)
    if not 1 <= len(chosen) <= MOST_LEVELS or not all(isinstance(level, str) for level in chosen):
        refuse("levels", list(chosen), f'one to {MOST_LEVELS} names of columns, outermost first: ["article", "mount"]')
    if len({*chosen, value, RESIDUAL}) < len(chosen) + 2:
        refuse("levels", list(chosen), f"names that differ from each other, from {value!r} and from {RESIDUAL!r}")
    return chosen


def _columns(table: Any, wanted: Sequence[str]) -> dict[str, list[Any]]:
    if not (hasattr(table, "keys") and hasattr(table, "__getitem__")):
        raise TypeError(
            f"table: found {type(table).__name__}; accepted: a pandas.DataFrame or a mapping of columns, one row a "
            "value"
        )
    there = [str(name) for name in table]
    for name in wanted:
        if there.count(name) != 1:
            times = "no column" if name not in there else f"{there.count(name)} columns"
            raise ValueError(f"table: found {times} {name!r}; accepted: one each; the table has {', '.join(there)}")
    columns = {name: list(table[name]) for name in wanted}
    lengths = {name: len(column) for name, column in columns.items()}
    if len(set(lengths.values())) > 1:
        found = ", ".join(f"{name} {length}" for name, length in lengths.items())
        raise ValueError(f"table: found columns of {found} entries; accepted: equally many in each")
    if not columns[wanted[-1]]:
        raise ValueError("table: found no row; accepted: one row a value")
    return columns


def _number(found: Any, column: str, row: int) -> float:
    accepted = "a finite number"
    place = f"table, row {row}, column {column!r}"
    if isinstance(found, bool | np.bool_ | str | bytes):
        refuse(place, found, accepted)
    try:
        number = float(found)
    except (TypeError, ValueError):
        refuse(place, found, accepted)
    if not math.isfinite(number):
        refuse(place, number, accepted)
    return number


def _label(found: Any, column: str, row: int) -> str:
    place, accepted = f"table, row {row}, column {column!r}", "a name or a whole number that tells the unit"
    empty = found is None or type(found).__name__ == "NAType" or found != found  # noqa: PLR0124 nan is not itself
    if empty or not str(found).strip():
        raise ValueError(f"{place}: found an empty label; accepted: {accepted}")
    if isinstance(found, float | np.floating) and float(found).is_integer():
        return str(int(found))  # a column of whole numbers that pandas has read as 1.0, 2.0
    return str(found).strip()
