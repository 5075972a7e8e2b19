"""Power of the comparisons by quadrature: no simulation, no seed, and a number where the usual routines give none."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from lossstats.exact_tests.lattice import Array
from lossstats.records.argument_checks import above_zero, finite_number, open_share, whole_number

_REACH = 8.5  # normal quantiles beyond have a probability of 1e-17
_NODES_PAIRED = 161


def power_paired(difference: float, sd: float, n: int, *, alpha: float = 0.05) -> float:
    """Power of the two-sided paired t test.

    Parameters
    ----------
    difference : float
        True mean difference, in the unit of `sd`.
    sd : float
        Standard deviation of one pair's difference.
    n : int
        Pairs, at least 2.
    alpha : float, default 0.05
        Size of the test.

    Returns
    -------
    float
        Chance that the test refuses no difference; `alpha` for a difference of 0.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    Given the standard deviation found, refusal is an event of one normal variable; its chance is averaged over the
    chi distribution of the standard deviation. Noncentral t routines give nan for large differences; this does not.

    Examples
    --------
    >>> round(power_paired(0.3, 0.25, 6), 3)
    0.655
    """
    _check_groups(difference, alpha, ((sd, n, "sd", "n"),))
    from scipy.special import ndtr, stdtrit

    ratio, weights = variance_nodes(n - 1, _NODES_PAIRED)
    limit = -stdtrit(n - 1, alpha / 2) * np.sqrt(ratio)
    shift = abs(difference) / (sd / math.sqrt(n))
    return float(weights @ (ndtr(shift - limit) + ndtr(-shift - limit)))


def power_welch(difference: float, sd1: float, n1: int, sd2: float, n2: int, *, alpha: float = 0.05) -> float:
    """Power of the two-sided Welch test of two independent groups of normal units.

    Parameters
    ----------
    difference : float
        True difference of the means.
    sd1 : float
        Standard deviation of the units of the first group, in the same unit.
    n1 : int
        Its units, at least 2.
    sd2 : float
        Standard deviation of the units of the second group.
    n2 : int
        Its units, at least 2.
    alpha : float, default 0.05
        Nominal size of the test.

    Returns
    -------
    float
        Chance that the test refuses no difference; for a difference of 0 its true size, which is not `alpha`.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    As `power_paired`, averaged over both sample variances. A noncentral t with n1 + n2 - 2 degrees of freedom is
    optimistic: 0.62 claimed where 0.51 is true, for three units a group.

    Examples
    --------
    >>> round(power_welch(0.0, 1.0, 3, 1.0, 3), 4)
    0.0351
    """
    _check_groups(difference, alpha, ((sd1, n1, "sd1", "n1"), (sd2, n2, "sd2", "n2")))
    from scipy.special import ndtr, stdtrit

    nodes = {2: 81, 3: 41, 4: 41}.get(min(n1, n2), 31)  # within 1e-8 of the limit of many nodes, usually 1e-10
    (ratio1, weights1), (ratio2, weights2) = (variance_nodes(n - 1, nodes) for n in (n1, n2))
    a, b = (sd1 * sd1 / n1 * ratio1)[:, None], (sd2 * sd2 / n2 * ratio2)[None, :]
    dof = (a + b) ** 2 / (a * a / (n1 - 1) + b * b / (n2 - 1))
    true_u = math.hypot(sd1 / math.sqrt(n1), sd2 / math.sqrt(n2))
    limit = -stdtrit(dof, alpha / 2) * np.sqrt(a + b) / true_u
    shift = abs(difference) / true_u
    chance = ndtr(shift - limit) + ndtr(-shift - limit)
    return float((weights1 @ chance) @ weights2)


def smallest_difference_paired(sd: float, n: int, *, power: float = 0.8, alpha: float = 0.05) -> float:
    """Smallest true difference that the paired t test finds with the power wanted.

    Parameters
    ----------
    sd : float
        Standard deviation of one pair's difference.
    n : int
        Pairs, at least 2.
    power : float, default 0.8
        Wanted, above `alpha`.
    alpha : float, default 0.05
        Size of the test.

    Returns
    -------
    float
        The difference, in the unit of `sd`.

    Raises
    ------
    ValueError
        If an argument is out of range.
    RuntimeError
        If the power recomputed there is not the one wanted.

    Examples
    --------
    >>> round(smallest_difference_paired(0.25, 6), 3)
    0.359
    """
    _check_groups(0.0, alpha, ((sd, n, "sd", "n"),))
    return _smallest(lambda d: power_paired(d, sd, n, alpha=alpha), sd / math.sqrt(n), power, alpha)


def smallest_difference_welch(
    sd1: float, n1: int, sd2: float, n2: int, *, power: float = 0.8, alpha: float = 0.05
) -> float:
    """Smallest true difference that the Welch test finds with the power wanted.

    Parameters
    ----------
    sd1 : float
        Standard deviation of the units of the first group.
    n1 : int
        Its units, at least 2.
    sd2 : float
        Standard deviation of the units of the second group.
    n2 : int
        Its units, at least 2.
    power : float, default 0.8
        Wanted, above the size of the test.
    alpha : float, default 0.05
        Nominal size of the test.

    Returns
    -------
    float
        The difference, in the unit of the standard deviations.

    Raises
    ------
    ValueError
        If an argument is out of range.
    RuntimeError
        If the power recomputed there is not the one wanted.
    """
    _check_groups(0.0, alpha, ((sd1, n1, "sd1", "n1"), (sd2, n2, "sd2", "n2")))
    unit = math.hypot(sd1 / math.sqrt(n1), sd2 / math.sqrt(n2))
    return _smallest(lambda d: power_welch(d, sd1, n1, sd2, n2, alpha=alpha), unit, power, alpha)


def _smallest(power_at: Callable[[float], float], unit: float, power: float, alpha: float) -> float:
    found = smallest_difference(power_at, unit, power, alpha)
    check_reached(power_at(found), found, power)
    return found


def smallest_difference(
    power_at: Callable[[float], float], unit: float, power: float, alpha: float, *, farthest: float = math.inf
) -> float:
    """Find the difference at which a rising power is the one wanted.

    Parameters
    ----------
    power_at : callable
        Power by difference.
    unit : float
        First difference tried.
    power : float
        Wanted.
    alpha : float
        Nominal size of the test.
    farthest : float, default inf
        No difference beyond this many units is tried.

    Returns
    -------
    float
        In the unit of `unit`; infinite where no difference up to there reaches it.

    Raises
    ------
    ValueError
        If the power is not between the chance at no difference and 1.
    """
    from scipy.optimize import brentq

    size = max(power_at(0.0), alpha)
    if not size < power < 1:
        raise ValueError(
            f"power: found {power!r}; accepted: above the chance at no difference ({size:.3g}) and below 1"
        )
    top = unit
    while power_at(top) < power:
        top *= 2
        if top > farthest * unit:
            return math.inf
    return float(brentq(lambda d: power_at(d) - power, 0.0, top, xtol=1e-12 * top))


def check_reached(reached: float, difference: float, power: float) -> None:
    """Refuse an answer of a solver at which the power, computed again, is not the one wanted.

    Parameters
    ----------
    reached : float
        Power at the difference found.
    difference : float
        What the solver found.
    power : float
        Wanted.

    Raises
    ------
    RuntimeError
        Says what was found.
    """
    if abs(reached - power) > 1e-6:
        raise RuntimeError(f"power: found {reached:.6g} at the difference {difference:.6g} where {power:g} was sought")


@lru_cache(maxsize=256)
def variance_nodes(dof: int, number: int) -> tuple[Array, Array]:
    """Give nodes and weights of a sample variance over its true value, for normal units.

    Parameters
    ----------
    dof : int
        Degrees of freedom of the sample variance, at least 1.
    number : int
        Nodes.

    Returns
    -------
    tuple of ndarray, shape (number,)
        Sample variance over the true one, rising, and the chance that stands for it; the chances add up to 1.

    Notes
    -----
    The variable of integration is the normal quantile z of the variance's own distribution function: the integrand
    is then smooth and dies as exp(-z**2 / 2) to both sides, where the plain trapezoid rule gains digits faster than
    any power of the number of nodes, even for one degree of freedom.
    """
    from scipy.special import gammainccinv, gammaincinv, ndtr

    z = np.linspace(-_REACH, _REACH, number)
    lower, upper = ndtr(np.minimum(z, 0)), ndtr(-np.maximum(z, 0))
    ratio = np.where(z < 0, gammaincinv(dof / 2, lower), gammainccinv(dof / 2, upper)) * 2 / dof
    weights = np.exp(-z * z / 2)
    return ratio, weights / weights.sum()


def _check_groups(difference: float, alpha: float, groups: tuple[tuple[float, int, str, str], ...]) -> None:
    """Refuse a test of which no power can be given; groups are standard deviation, number, and the names of both."""
    finite_number("difference", difference)
    open_share("alpha", alpha)
    for sd, n, sd_name, n_name in groups:
        above_zero(sd_name, sd)
        whole_number(n_name, n, 2)
