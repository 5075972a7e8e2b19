"""Linear propagation for many results at once: one model, arrays of inputs, one uncertainty a result."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.budgets.correlation import Pair, correlation_matrix
from lossstats.budgets.model_function import ModelFunction
from lossstats.budgets.sensitivities import sensitivities
from lossstats.budgets.source import Source
from lossstats.records.argument_checks import refuse
from lossstats.records.rendering import Record

Array = NDArray[np.float64]

# Share of the value, off the beat of waves: with two steps, rounding and what is left of a bend are both near 1e-13.
_STEP = 0.618e-3
# Slopes of the two steps may differ by the square of the step over the model's own scale. Below this share of u, what
# the extrapolation leaves is below 1e-10; above it the result goes through the ladder of steps.
_BEND = 1e-5
_BLOCK = 15_000  # numbers in an array: it stays in cache, and its memory is not given back and asked for again
_ALIKE = 1e-9  # of numbers and arrays, which libraries may round differently in the last digits


@dataclass(frozen=True)
class ManyResults(Record):
    """Results of one model with their standard uncertainties, m of them.

    Attributes
    ----------
    values : numpy.ndarray
        Shape (m,), the model at the estimates.
    standard_uncertainties : numpy.ndarray
        Shape (m,).
    sensitivities : dict of str to numpy.ndarray
        Shape (m,) each, derivative of the result by the input.
    stepwise : int
        How many results needed more steps than two.
    """

    values: Array
    standard_uncertainties: Array
    sensitivities: dict[str, Array]
    stepwise: int

    title = "Many results"

    def _rows(self) -> list[tuple[str, str]]:
        u = self.standard_uncertainties
        ends = f"{u.min():.2g} to {u.max():.2g}"
        return [("results", str(len(u))), ("inputs", ", ".join(self.sensitivities)), ("standard uncertainty", ends)]


def propagate_many(
    model: Callable[..., Any],
    values: Mapping[str, ArrayLike],
    uncertainties: Mapping[str, ArrayLike],
    *,
    correlation: Mapping[Pair, float] | None = None,
) -> ManyResults:
    """Linear propagation for arrays of inputs.

    Parameters
    ----------
    model : callable
        Called as ``model(**{name: value})`` and gives one number; much faster where it takes arrays.
    values : mapping of str to array_like
        Estimates by input: arrays of one length m, or single numbers for all results.
    uncertainties : mapping of str to array_like
        Standard uncertainties of the same inputs, likewise.
    correlation : mapping of (str, str) to float, optional
        Correlation coefficients of inputs, the same in every result.

    Returns
    -------
    ManyResults
        Values, standard uncertainties and sensitivities.

    Raises
    ------
    ValueError
        If names or lengths differ, a number is not finite, an uncertainty is negative, coefficients are impossible,
        or the model fails; the text says in which result.

    Notes
    -----
    JCGM 100:2008, equations (10) and (13). Central differences by two steps, extrapolated to 0; results whose two
    slopes differ more than that can mend go through the ladder of steps of `sensitivities`.

    Examples
    --------
    >>> many = propagate_many(lambda a, b: a * b, {"a": [2.0, 3.0], "b": 5.0}, {"a": 0.1, "b": 0.0})
    >>> many.standard_uncertainties.round(9).tolist()
    [0.5, 0.5]
    """
    names = list(values)
    x, u = _same_length(values, uncertainties)
    called = ModelFunction(model, dict(zip(names, x[:, 0].tolist(), strict=True)))
    if not called.single:
        refuse("model", called.outputs, "a model that gives one number")
    with np.errstate(all="ignore"):
        centre, slopes, variance, doubt = _two_steps(called, x, u)
    if not np.isfinite(centre).all():
        called.at(dict(zip(names, x[:, int(np.argmax(~np.isfinite(centre)))].tolist(), strict=True)))
    stepwise = np.flatnonzero(doubt)
    for place in stepwise:
        slopes[:, place] = _ladder(called, x[:, place], u[:, place], int(place))
    if len(stepwise) or correlation:
        variance = _variance(slopes * u, names, correlation)
    return ManyResults(
        centre, np.sqrt(np.maximum(variance, 0.0)), dict(zip(names, slopes, strict=True)), len(stepwise)
    )  # fmt: skip


def _variance(parts: Array, names: list[str], correlation: Mapping[Pair, float] | None) -> Array:
    """Equations (10) and (13) for every result; parts are sensitivity times u, shape (inputs, results)."""
    if not correlation:
        return np.asarray(np.einsum("im,im->m", parts, parts))
    matrix = correlation_matrix({name: Source(0.0, 0.0) for name in names}, correlation)
    return np.asarray(np.einsum("im,im->m", parts, matrix @ parts))


def _same_length(values: Mapping[str, ArrayLike], uncertainties: Mapping[str, ArrayLike]) -> tuple[Array, Array]:
    """Estimates and uncertainties, both of shape (inputs, results)."""
    if set(values) != set(uncertainties) or not values:
        refuse("uncertainties", sorted(uncertainties), f"one for each of the inputs {', '.join(values)}")
    pairs = [(np.asarray(values[n], dtype=float), np.asarray(uncertainties[n], dtype=float)) for n in values]
    lengths = {array.size for pair in pairs for array in pair if array.ndim == 1}
    if len(lengths) > 1 or any(array.ndim > 1 for pair in pairs for array in pair) or 0 in lengths:
        shapes = {name: tuple(array.shape for array in pair) for name, pair in zip(values, pairs, strict=True)}
        refuse("values, uncertainties", shapes, "arrays of one length, or single numbers")
    m = lengths.pop() if lengths else 1
    x, u = np.empty((len(pairs), m)), np.empty((len(pairs), m))
    for row, (estimate, spread) in enumerate(pairs):
        x[row], u[row] = estimate, spread
    if math.isfinite(x.sum()) and math.isfinite(u.sum()) and u.min() >= 0:
        return x, u
    for argument, found, bad, accepted in (
        ("values", x, ~np.isfinite(x), "finite numbers"),
        ("uncertainties", u, ~(np.isfinite(u) & (u >= 0)), "finite numbers of at least 0"),
    ):
        if bad.any():
            row, place = (int(i) for i in np.argwhere(bad)[0])
            refuse(f"{argument}[{list(values)[row]!r}][{place}]", float(found[row, place]), accepted)
    return x, u


def _two_steps(called: ModelFunction, x: Array, u: Array) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Results, slopes extrapolated from two steps, variance, and which results need more steps."""
    n, m = x.shape
    size = max(1, _BLOCK // (4 * n))
    found = [_block(called, x[:, start : start + size], u[:, start : start + size]) for start in range(0, m, size)]
    centre, slopes, doubt = (
        found[0] if len(found) == 1 else (np.concatenate(p, axis=-1) for p in zip(*found, strict=True))
    )
    parts = slopes * u
    variance = np.asarray(np.einsum("im,im->m", parts, parts))  # equation (10)
    doubt *= u
    return centre, slopes, variance, ~(np.einsum("im,im->m", doubt, doubt) <= _BEND**2 * variance)


def _block(called: ModelFunction, x: Array, u: Array) -> tuple[Array, Array, Array]:
    """Results, extrapolated slopes, and how the two steps differ; so many results that their points stay in cache."""
    step = _STEP * np.maximum(np.abs(x), u)
    if not step.all():
        step[step == 0] = _STEP
    moved = np.empty((len(x), 4, x.shape[1]))  # (input, move, result)
    twice = 2 * step
    np.add(x, step, out=moved[:, 0])
    np.add(x, twice, out=moved[:, 1])
    np.subtract(x, step, out=moved[:, 2])
    np.subtract(x, twice, out=moved[:, 3])
    centre, results = _by_columns(called, x, moved) or _by_points(called, x, moved)
    near = (results[:, 0] - results[:, 2]) / step  # twice the slope, by the near step
    far = (results[:, 1] - results[:, 3]) / twice
    return centre, (4 * near - far) / 6, (near - far) / 2


def _by_columns(called: ModelFunction, x: Array, moved: Array) -> tuple[Array, Array] | None:
    """The model at the estimates and at the moves of each input, with arrays; None where it does not take them so."""
    m = x.shape[1]
    still = np.concatenate([x] * 4, axis=1)
    still.flags.writeable = moved.flags.writeable = False  # a model that writes into its arguments goes point by point
    centre = called.with_columns(list(still[:, :m]))
    if centre is None:
        return None
    results, columns = np.empty(moved.shape), list(still)
    point = dict(zip(called.names, x[:, -1].tolist(), strict=True))
    for i, (name, moves) in enumerate(zip(called.names, moved, strict=True)):
        columns[i] = moves.reshape(-1)
        found = called.with_columns(columns)
        columns[i] = still[i]
        # The last number is held to what the model gives for plain numbers: a mean over an array does not pass.
        alone = called.with_numbers(point | {name: float(moves[-1, -1])})
        if found is None or not abs(float(found[-1]) - alone) <= _ALIKE * abs(alone):
            return None
        results[i] = found.reshape(4, m)
    return centre, results


def _by_points(called: ModelFunction, x: Array, moved: Array) -> tuple[Array, Array]:
    """The same, all points in one list, for `many` to check them or to go one by one."""
    n, m = x.shape
    points = np.empty((n, 1 + 4 * n, m))  # the estimates, then four moves of each input
    points[:] = x[:, None, :]
    for i in range(n):
        points[i, 1 + 4 * i : 5 + 4 * i] = moved[i]
    found = called.many(points.reshape(n, -1))[0].reshape(1 + 4 * n, m)
    return found[0], found[1:].reshape(n, 4, m)


def _ladder(called: ModelFunction, x: Array, u: Array, place: int) -> Array:
    found = sensitivities(called.many, x, u)
    if not np.isfinite(found.errors).all():
        row = int(np.argmax(~np.isfinite(found.errors[0])))
        raise ValueError(
            f"model: found no finite values on both sides of {called.names[row]} = {x[row]:g} in result {place}; "
            f"accepted: a model that has a derivative there"
        )
    return np.asarray(found.coefficients[0])
