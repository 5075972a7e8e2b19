"""Correlation of input quantities: stated coefficients, or readings taken together (JCGM 100, 5.2)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.budgets.source import Source
from lossstats.records.argument_checks import finite_number, refuse

Array = NDArray[np.float64]
Pair = tuple[str, str]
# Coefficients rounded in the last bit may leave an eigenvalue this far below zero; more cannot be rounding.
_ROUNDING = 1e-9
_GROUPS = "groups of two or more input names, such as [('V', 'I')]"


def correlation_matrix(
    inputs: Mapping[str, Source],
    correlation: Mapping[Pair, float] | None = None,
    simultaneous: Sequence[Sequence[str]] = (),
) -> Array:
    """Correlation matrix of the estimates, in the order of the inputs.

    Parameters
    ----------
    inputs : mapping of str to Source
        The input quantities by name, n of them.
    correlation : mapping of (str, str) to float, optional
        Coefficients, each pair once; pairs that are not named are uncorrelated.
    simultaneous : sequence of sequences of str
        Groups of inputs whose readings were taken together: reading i of one belongs to reading i of the others.

    Returns
    -------
    numpy.ndarray
        Shape (n, n), ones in the diagonal.

    Raises
    ------
    ValueError
        If a name is not an input, a pair lacks its partner or is given twice, a coefficient lies outside -1 to 1,
        readings are missing or not of equal number, or the coefficients cannot hold together.

    Notes
    -----
    The coefficient of two means is that of their readings (JCGM 100:2008, 5.2.3, equation 17).

    Examples
    --------
    >>> inputs = {"a": Source.normal(0.1), "b": Source.normal(0.2)}
    >>> correlation_matrix(inputs, {("a", "b"): 0.5}).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    stated = _stated(inputs, correlation or {})
    observed = _observed(inputs, simultaneous)
    both = sorted(tuple(sorted(pair)) for pair in stated.keys() & observed.keys())
    if both:
        refuse("correlation", both[0], "no coefficient for a pair that simultaneous readings already correlate")
    names = list(inputs)
    matrix = np.eye(len(names))
    for pair, r in (stated | observed).items():
        i, j = (names.index(name) for name in pair)
        matrix[i, j] = matrix[j, i] = r
    _check_possible(names, matrix)
    return matrix


def correlated_groups(matrix: Array) -> list[list[int]]:
    """Group the inputs that hang together through correlations, by their places.

    Parameters
    ----------
    matrix : numpy.ndarray
        Correlation matrix, shape (n, n).

    Returns
    -------
    list of list of int
        Every place once; an uncorrelated input is a group of one.
    """
    groups: list[list[int]] = []
    for i in range(len(matrix)):
        linked = [group for group in groups if any(matrix[i, j] != 0 for j in group)]
        merged = sorted([i, *(j for group in linked for j in group)])
        groups = [group for group in groups if group not in linked] + [merged]
    return sorted(groups)


def _stated(inputs: Mapping[str, Source], correlation: Mapping[Any, float]) -> dict[frozenset[str], float]:
    found: dict[frozenset[str], float] = {}
    for key, coefficient in correlation.items():
        if isinstance(key, str) or not isinstance(key, Sequence) or len(key) != 2:
            refuse("correlation", key, "pairs of input names, such as ('V', 'I'): a partner is missing or too many")
        for name in key:
            _check_name("correlation", key, name, inputs)
        if key[0] == key[1]:
            refuse("correlation", tuple(key), "two different inputs")
        r = finite_number(f"correlation[{tuple(key)!r}]", coefficient)
        if abs(r) > 1:
            refuse(f"correlation[{tuple(key)!r}]", r, "a coefficient from -1 to 1")
        if found.setdefault(frozenset(key), r) != r:
            refuse(f"correlation[{tuple(key)!r}]", r, f"{found[frozenset(key)]!r} again, or the pair once only")
    return found


def _observed(inputs: Mapping[str, Source], simultaneous: Sequence[Sequence[str]]) -> dict[frozenset[str], float]:
    if isinstance(simultaneous, str):
        refuse("simultaneous", simultaneous, _GROUPS)
    found: dict[frozenset[str], float] = {}
    for place, group in enumerate(simultaneous):
        argument = f"simultaneous[{place}]"
        if isinstance(group, str) or len(group) < 2 or len(set(group)) < len(group):
            refuse(argument, group, _GROUPS)
        for name in group:
            _check_name(argument, group, name, inputs)
            if not inputs[name].observed:
                refuse(argument, name, "inputs made by Source.readings, whose readings are known")
        counts = {name: len(inputs[name].observed) for name in group}
        if len(set(counts.values())) > 1:
            refuse(argument, counts, "the same number of readings of each")
        for pair in combinations(group, 2):
            found[frozenset(pair)] = _coefficient(*(inputs[name].observed for name in pair))
    return found


def _check_name(argument: str, where: object, name: str, inputs: Mapping[str, Source]) -> None:
    if name not in inputs:
        refuse(argument, name, f"one of the inputs {', '.join(inputs)} (in {where!r})")


def _coefficient(x: tuple[float, ...], y: tuple[float, ...]) -> float:
    a, b = (np.asarray(readings) - np.mean(readings) for readings in (x, y))
    scale = float(np.sqrt((a @ a) * (b @ b)))
    if scale == 0:  # one of them does not move: its uncertainty is 0, and so is every covariance with it
        return 0.0
    return float(np.clip(a @ b / scale, -1, 1))


def _check_possible(names: list[str], matrix: Array) -> None:
    """Refuse coefficients that no quantities can have, naming the fewest that clash."""
    lowest = _lowest(matrix)
    if lowest >= -_ROUNDING:
        return
    group = max(correlated_groups(matrix), key=lambda places: -_lowest(matrix[np.ix_(places, places)]))
    triples = (list(t) for t in combinations(group, 3))
    clash = next((t for t in triples if _lowest(matrix[np.ix_(t, t)]) < -_ROUNDING), group)
    pairs = ", ".join(f"r({names[i]}, {names[j]}) = {matrix[i, j]:g}" for i, j in combinations(clash, 2))
    raise ValueError(
        f"correlation: found {pairs}; accepted: coefficients that can hold together (the smallest eigenvalue of the "
        f"matrix, here {lowest:.2g}, must not be negative; a pair that is not given counts as 0)"
    )


def _lowest(matrix: Array) -> float:
    return float(np.linalg.eigvalsh(matrix)[0])
