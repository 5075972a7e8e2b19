"""Mean squares of articles, changes, mounts and runs of a trial, and the variances that they estimate."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from lossstats.records.estimate import Term
from lossstats.records.rendering import shown_dof

_SOURCES = ("run", "mount", "change", "article")
Cells = dict[tuple[str, str], list[list[float]]]


@dataclass(frozen=True)
class MeanSquare:
    """A mean square and what it is expected to be.

    Attributes
    ----------
    value : float
        Mean square.
    degrees_of_freedom : float
        Of it.
    expected : dict of str to float
        Multiples of the variances by source whose sum it estimates.
    """

    value: float
    degrees_of_freedom: float
    expected: dict[str, float] = field(default_factory=dict)


def mean_squares(cells: Cells, *, blocks: bool) -> dict[str, MeanSquare]:
    """Unweighted mean squares of one trial and their expectations.

    Parameters
    ----------
    cells : dict of (str, str) to list of list of float
        By article and condition: the levels of the runs of each mount.
    blocks : bool
        Whether articles were measured in every condition; those that were not are left aside for the change.

    Returns
    -------
    dict of str to MeanSquare
        By source, those with degrees of freedom.
    """
    found = {"run": _run_square(cells), "mount": _mount_square(cells)}
    found |= _block_squares(cells) if blocks else {"article": _group_square(cells)}
    return {name: square for name, square in found.items() if square is not None}


def pool(trials: Iterable[Mapping[str, MeanSquare]]) -> dict[str, MeanSquare]:
    """Pool mean squares of several trials by their degrees of freedom.

    Parameters
    ----------
    trials : iterable of mapping of str to MeanSquare
        One mapping a trial.

    Returns
    -------
    dict of str to MeanSquare
        By source.
    """
    gathered: dict[str, list[MeanSquare]] = {}
    for trial in trials:
        for name, square in trial.items():
            gathered.setdefault(name, []).append(square)
    return {name: _pooled(squares) for name, squares in gathered.items()}


def solve(squares: Mapping[str, MeanSquare]) -> tuple[dict[str, Term], tuple[str, ...]]:
    """Solve for the standard deviations whose expected mean squares are those found.

    Parameters
    ----------
    squares : mapping of str to MeanSquare
        By source. A source without a mean square of its own is contained in the others.

    Returns
    -------
    tuple
        Standard deviation and degrees of freedom by source, and notes.

    Raises
    ------
    ValueError
        If there is no mean square.
    """
    names = [name for name in _SOURCES if name in squares]
    if not names:
        raise ValueError(
            "folders_or_trials: found nothing repeated, neither runs nor mounts nor articles; accepted: trials with at "
            "least one of them repeated"
        )
    system = np.array([[squares[row].expected.get(column, 0.0) for column in names] for row in names])
    parts = np.linalg.inv(system) * np.array([squares[name].value for name in names])
    dofs = np.array([squares[name].degrees_of_freedom for name in names])
    components, notes = {}, []
    for name, row in zip(names, parts, strict=True):
        variance = float(row.sum())
        if variance <= 0:
            components[name] = Term(0.0, squares[name].degrees_of_freedom)
            notes.append(
                f"{name}: cannot be told from 0 with {shown_dof(squares[name].degrees_of_freedom)} "
                "degrees of freedom; that does not make it 0"
            )
            continue
        components[name] = Term(math.sqrt(variance), float(variance**2 / (row**2 / dofs).sum()))
    return components, tuple(notes)


def _run_square(cells: Cells) -> MeanSquare | None:
    mounts = [mount for cell in cells.values() for mount in cell]
    dof = sum(len(mount) - 1 for mount in mounts)
    total = sum(float(np.var(mount)) * len(mount) for mount in mounts)
    return MeanSquare(total / dof, dof, {"run": 1.0}) if dof else None


def _mount_square(cells: Cells) -> MeanSquare | None:
    dof = sum(len(cell) - 1 for cell in cells.values())
    if not dof:
        return None
    total, runs = 0.0, 0.0
    for cell in cells.values():
        total += float(np.var([np.mean(mount) for mount in cell])) * len(cell)
        runs += (len(cell) - 1) * float(np.mean([1 / len(mount) for mount in cell]))
    return MeanSquare(total / dof, dof, {"mount": 1.0, "run": runs / dof})


def _within(cells: Iterable[list[list[float]]]) -> dict[str, float]:
    """Multiples of the variances of mounts and runs in the mean of a cell, averaged over cells."""
    cells = list(cells)
    mount = float(np.mean([1 / len(cell) for cell in cells]))
    run = float(np.mean([sum(1 / len(mount) for mount in cell) / len(cell) ** 2 for cell in cells]))
    return {"mount": mount, "run": run}


def _mean(cell: list[list[float]]) -> float:
    return float(np.mean([np.mean(mount) for mount in cell]))


def _block_squares(cells: Cells) -> dict[str, MeanSquare | None]:
    conditions = list(dict.fromkeys(condition for _, condition in cells))
    articles = list(dict.fromkeys(article for article, _ in cells))
    whole = [a for a in articles if all((a, c) in cells for c in conditions)]
    n, k = len(whole), len(conditions)
    if n < 2 or k < 2:
        return {}
    used = {(a, c): cells[a, c] for a in whole for c in conditions}
    means = np.array([[_mean(used[a, c]) for c in conditions] for a in whole])
    rest = means - means.mean(axis=1, keepdims=True) - means.mean(axis=0) + means.mean()
    dof = (n - 1) * (k - 1)
    within = _within(used.values())
    # The change is the difference of two conditions: twice the interaction of article and condition.
    change = MeanSquare(
        2 * float((rest**2).sum()) / dof, dof, {"change": 1.0, **{name: 2 * part for name, part in within.items()}}
    )
    spread = float(np.var(means.mean(axis=1), ddof=1))
    expected = {"article": 1.0, "change": 0.5 / k, **{name: part / k for name, part in within.items()}}
    return {"change": change, "article": MeanSquare(spread, n - 1, expected)}


def _group_square(cells: Cells) -> MeanSquare | None:
    groups: dict[str, list[float]] = {}
    for (_, condition), cell in cells.items():
        groups.setdefault(condition, []).append(_mean(cell))
    dof = sum(len(group) - 1 for group in groups.values())
    total = sum(float(np.var(group)) * len(group) for group in groups.values())
    expected = {"article": 1.0, "change": 0.5, **_within(cells.values())}
    return MeanSquare(total / dof, dof, expected) if dof else None


def _pooled(squares: Sequence[MeanSquare]) -> MeanSquare:
    dof = sum(square.degrees_of_freedom for square in squares)
    value = sum(square.value * square.degrees_of_freedom for square in squares) / dof
    shared = set.intersection(*(set(square.expected) for square in squares))
    expected = {
        name: sum(square.expected[name] * square.degrees_of_freedom for square in squares) / dof
        for name in squares[0].expected
        if name in shared
    }
    return MeanSquare(value, dof, expected)
