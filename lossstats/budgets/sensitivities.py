"""Sensitivity coefficients by central differences with a checked step, and the second-order terms (JCGM 100, 5.1)."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Many = Callable[[Array], Array]  # points (inputs, points) to values (outputs, points), nan where the model fails

_STEPS = 32  # each half of the one before: from a sixth of the value down to 1e-10 of it
_OFF_BEAT = 0.6180339887  # steps that no whole number of waves fits, where every difference would vanish
_ORDERS = 6  # extrapolations: what is left falls as the step to the power 2, 4, ... 12
_ROUNDING = 2 * float(np.finfo(float).eps)


class Sensitivities(NamedTuple):
    """Partial derivatives of every output by every input, and how far they may be off.

    Attributes
    ----------
    coefficients : numpy.ndarray
        Shape (outputs, inputs); nan where the model works at no step.
    errors : numpy.ndarray
        Estimated error of each, same shape; infinite where the model works at no step.
    """

    coefficients: Array
    errors: Array


class SecondOrderTerms(NamedTuple):
    """What the first-order formula leaves out, by output; nan where the model fails within u of the estimates.

    Attributes
    ----------
    variance : numpy.ndarray
        Shape (outputs,), to be added to the first-order variance.
    shift : numpy.ndarray
        Shape (outputs,), expectation of the output less the model's value at the estimates.
    """

    variance: Array
    shift: Array


def sensitivities(many: Many, values: Array, uncertainties: Array) -> Sensitivities:
    """Differentiate a model at one point.

    Parameters
    ----------
    many : callable
        The model at many points: shape (inputs, points) to (outputs, points), nan where it fails.
    values : numpy.ndarray
        The estimates, shape (inputs,).
    uncertainties : numpy.ndarray
        Their standard uncertainties: the scale of the steps where an estimate is small beside them.

    Returns
    -------
    Sensitivities
        Coefficients and their estimated errors.

    Notes
    -----
    Central differences over a ladder of steps, each half of the one before, extrapolated to a step of 0 (Ridders 1982,
    Adv. Eng. Softw. 4, 75, from memory). Of all extrapolations the one is taken that differs least from those it is
    made of, rounding included: no step needs to be chosen, and steps at which the model fails fall out. One step of
    u, as in JCGM 100, 5.1.3, note 2, is exact for parabolas only.

    Examples
    --------
    >>> found = sensitivities(lambda x: np.exp(x), np.array([1.0]), np.array([0.1]))
    >>> abs(found.coefficients[0, 0] / np.e - 1) < 1e-12
    np.True_
    """
    n = len(values)
    steps = _first_steps(values, uncertainties)[:, None] * 0.5 ** np.arange(_STEPS)
    moves = np.eye(n)[:, :, None] * steps  # (input, moved input, step)
    up, down = values[:, None, None] + moves, values[:, None, None] - moves
    found = many(np.concatenate([up.reshape(n, -1), down.reshape(n, -1)], axis=1))
    high, low = np.moveaxis(found.reshape(len(found), 2, n, _STEPS), 1, 0)
    own = np.arange(n)
    taken = up[own, own] - down[own, own]  # steps as the floating-point numbers lie, not as intended
    slopes, rounding = (high - low) / taken, _ROUNDING * (np.abs(high) + np.abs(low)) / taken
    return _extrapolate(slopes, rounding)


def reaches(many: Many, values: Array, uncertainties: Array) -> Array:
    """Move one input after the other by u, and see how far each output goes.

    Parameters
    ----------
    many : callable
        The model at many points.
    values : numpy.ndarray
        The estimates, shape (inputs,).
    uncertainties : numpy.ndarray
        Their standard uncertainties.

    Returns
    -------
    numpy.ndarray
        Shape (outputs, inputs), the larger of the two changes; nan where the model fails on either side.
    """
    moves = np.diag(uncertainties)
    found = many(np.concatenate([values[:, None], values[:, None] + moves, values[:, None] - moves], axis=1))
    change = np.abs(found[:, 1:] - found[:, :1])
    up, down = np.split(change, 2, axis=1)
    return np.asarray(np.maximum(up, down))


def second_order_terms(many: Many, values: Array, factor: Array) -> SecondOrderTerms:
    """Second-order terms of the combined variance.

    Parameters
    ----------
    many : callable
        The model at many points.
    values : numpy.ndarray
        The estimates, shape (inputs,).
    factor : numpy.ndarray
        Shape (inputs, inputs): factor @ factor.T is the covariance of the estimates. For independent inputs their
        standard uncertainties in the diagonal.

    Returns
    -------
    SecondOrderTerms
        Variance and shift of every output.

    Notes
    -----
    JCGM 100:2008, 5.1.2, note: the sum over i, j of (f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2, for independent normal
    inputs. Correlated ones are first turned into independent ones along the columns of `factor`, where the same
    formula holds. The shift is half the sum of f_ii u_i^2.

    Steps of a half and a quarter of u, extrapolated to 0: the terms are to tell what the bend of the model does
    within u, and at such steps rounding moves them by no more than the model's own last digits.

    Examples
    --------
    >>> terms = second_order_terms(lambda x: x**2, np.array([0.0]), np.array([[0.1]]))
    >>> round(float(terms.variance[0]), 8), round(float(terms.shift[0]), 8)
    (0.0002, 0.01)
    """
    lines = factor[:, np.any(factor != 0, axis=0)]
    if lines.shape[1] == 0:
        zero = np.zeros(len(many(values[:, None])))
        return SecondOrderTerms(zero, zero)
    coarse, fine = (_curvatures(many, values, lines, step) for step in (0.5, 0.25))
    first, bend, third = (f + (f - c) / 3 for c, f in zip(coarse, fine, strict=True))  # what goes as the step squared
    variance = 0.5 * (bend**2).sum(axis=(1, 2)) + (first[:, :, None] * third).sum(axis=(1, 2))
    return SecondOrderTerms(variance, 0.5 * np.trace(bend, axis1=1, axis2=2))


def _first_steps(values: Array, uncertainties: Array) -> Array:
    scale = np.maximum(np.abs(values) / 4, uncertainties)
    return np.asarray(_OFF_BEAT * np.where(scale > 0, scale, 1.0))


def _extrapolate(slopes: Array, rounding: Array) -> Sensitivities:
    """Pick, among all extrapolations to a step of 0, the one with the least estimated error; steps last."""
    table, best, least = slopes, np.full(slopes.shape[:-1], np.nan), np.full(slopes.shape[:-1], np.inf)
    for order in range(1, _ORDERS + 1):
        larger, smaller = table[..., :-1], table[..., 1:]
        table = smaller + (smaller - larger) / (4**order - 1)
        if order == 1:  # two steps may agree by chance, as on a wave; three are asked for
            continue
        error = np.maximum(np.abs(table - smaller), np.abs(table - larger)) + rounding[..., order:]
        error = np.where(np.isfinite(error), error, np.inf)
        place = error.argmin(axis=-1)[..., None]
        lowest = np.take_along_axis(error, place, axis=-1)[..., 0]
        better = lowest < least
        best = np.where(better, np.take_along_axis(table, place, axis=-1)[..., 0], best)
        least = np.where(better, lowest, least)
    return Sensitivities(best, least)


def _curvatures(many: Many, values: Array, lines: Array, h: float) -> tuple[Array, Array, Array]:
    """Derivatives along the lines by steps of h: g_i, g_ij and g_ijj (j last), each with the outputs first."""
    n = lines.shape[1]
    unit = np.eye(n) * h
    pairs = list(combinations(range(n), 2))
    crossed = [a * unit[i] + b * unit[j] for i, j in pairs for a in (1, -1) for b in (1, -1)]
    moves = np.vstack([np.zeros((1, n)), unit, -unit, 2 * unit, -2 * unit, *crossed])
    found = many(values[:, None] + lines @ moves.T)
    middle, (up, down, far_up, far_down) = found[:, :1], np.split(found[:, 1 : 1 + 4 * n], 4, axis=1)
    first = (up - down) / (2 * h)
    bend, third = np.empty((len(found), n, n)), np.empty((len(found), n, n))
    own = np.arange(n)
    bend[:, own, own] = (up - 2 * middle + down) / h**2
    third[:, own, own] = (far_up - 2 * up + 2 * down - far_down) / (2 * h**3)
    corners = found[:, 1 + 4 * n :].reshape(len(found), len(pairs), 4)
    for (i, j), (pp, pm, mp, mm) in zip(pairs, np.moveaxis(corners, 0, -1), strict=True):
        bend[:, i, j] = bend[:, j, i] = (pp - pm - mp + mm) / (4 * h**2)
        third[:, i, j] = (pp - 2 * up[:, i] + pm - mp + 2 * down[:, i] - mm) / (2 * h**3)
        third[:, j, i] = (pp - 2 * up[:, j] + mp - pm + 2 * down[:, j] - mm) / (2 * h**3)
    return first, bend, third
