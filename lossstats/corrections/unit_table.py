"""From corrected levels of runs to one value a unit of replication: runs to mounts, mounts to articles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lossstats.records.rendering import Record

Array = NDArray[np.float64]


@dataclass(frozen=True)
class TestRun:
    """What the unit table needs to know of a test run.

    Attributes
    ----------
    article, condition, mount : str
        As in the run sheet.
    """

    article: str
    condition: str
    mount: str

    __test__ = False  # not a test case, whatever its name


@dataclass(frozen=True)
class UnitValue(Record):
    """Value of one unit in one condition.

    Attributes
    ----------
    unit : str
        Article, or article/mount where the mount is the unit.
    condition : str
        Condition.
    group : str
        ``treated`` or ``control``.
    value : float
        Mean of its mounts, each the mean of its runs.
    mounts, runs : int
        How many stand behind it.
    """

    unit: str
    condition: str
    group: str
    value: float
    mounts: int
    runs: int

    title = "Unit value"

    def _rows(self) -> list[tuple[str, str]]:
        return [("unit", self.unit), ("condition", self.condition), ("value", f"{self.value:.4g}")]


@dataclass(frozen=True, eq=False)
class UnitTable:
    """One value a unit and condition, and the averaging that made it.

    Attributes
    ----------
    values : tuple of UnitValue
        Before first, then after, then the controls in the same order; articles in the same order in both.
    averaging : ndarray, shape (cells, test runs)
        Weights of the runs in each value; each row sums to 1.
    left_out : tuple of str
        Units that lost a condition because their runs were left out, with the reason.
    """

    values: tuple[UnitValue, ...]
    averaging: Array
    left_out: tuple[str, ...] = ()

    def part(self, condition: str, group: str = "treated") -> dict[str, float]:
        """Pick the values of one condition by unit.

        Parameters
        ----------
        condition : str
            Its name.
        group : {"treated", "control"}
            Which articles.

        Returns
        -------
        dict of str to float
            In the order of the table.
        """
        return {v.unit: v.value for v in self.values if v.condition == condition and v.group == group}


def make_unit_table(
    runs: Sequence[TestRun],
    levels: Array,
    used: Sequence[bool],
    *,
    conditions: tuple[str, ...],
    controls: Sequence[str] = (),
    unit: str = "article",
    paired: bool = True,
) -> UnitTable:
    """Average runs to mounts and mounts to units; plain means, so that each mount and each unit counts once.

    Parameters
    ----------
    runs : sequence of TestRun, shape (test runs,)
        In bench order.
    levels : ndarray, shape (test runs,)
        Corrected levels.
    used : sequence of bool, shape (test runs,)
        False for runs left out by a declared rule.
    conditions : tuple of str
        Before and after, or all conditions of design several.
    controls : sequence of str
        Untouched articles.
    unit : {"article", "mount"}
        Unit of replication.
    paired : bool
        Whether a unit needs every condition; one that has lost one is left out, and said so.

    Returns
    -------
    UnitTable
        Cells in the order that the comparisons expect.

    Raises
    ------
    ValueError
        If no unit is left in a condition.
    """
    cells = _cells(runs, used, unit)
    lost: list[str] = []
    values, rows = [], []
    for group in ("treated", "control"):
        names = list(
            dict.fromkeys(name for (name, article, _) in cells if (article in controls) == (group == "control"))
        )
        wanted = [[n for n in names if (n, c) in {(k[0], k[2]) for k in cells}] for c in conditions]
        if paired:
            lost += [f"{n}: no usable run in one condition" for n in names if not all(n in w for w in wanted)]
            wanted = [[n for n in w if all(n in other for other in wanted)] for w in wanted]
        for condition, members in zip(conditions, wanted, strict=True):
            for name in members:
                mounts = next(m for (n, _, c), m in cells.items() if (n, c) == (name, condition))
                row = _row(mounts, len(runs))
                rows.append(row)
                values.append(
                    UnitValue(name, condition, group, float(row @ levels), len(mounts), sum(map(len, mounts.values())))
                )
    for condition in conditions:
        if not any(v.condition == condition and v.group == "treated" for v in values):
            raise ValueError(
                f"condition {condition}: found no usable run of any unit; accepted: at least one settled run"
            )
    return UnitTable(tuple(values), np.array(rows), tuple(lost))


def _cells(
    runs: Sequence[TestRun], used: Sequence[bool], unit: str
) -> dict[tuple[str, str, str], dict[str, list[int]]]:
    """Positions of the used runs by (unit, article, condition) and mount."""
    cells: dict[tuple[str, str, str], dict[str, list[int]]] = {}
    for position, (run, use) in enumerate(zip(runs, used, strict=True)):
        if use:
            name = run.article if unit == "article" else f"{run.article}/{run.mount}"
            cells.setdefault((name, run.article, run.condition), {}).setdefault(run.mount, []).append(position)
    return cells


def _row(mounts: dict[str, list[int]], length: int) -> Array:
    row = np.zeros(length)
    for positions in mounts.values():
        row[positions] = 1 / (len(mounts) * len(positions))
    return row
