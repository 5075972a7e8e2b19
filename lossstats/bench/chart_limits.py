"""Constants and limits of control charts: computed, not typed; and what limits from few checks do to false alarms."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from lossstats.records.argument_checks import whole_number
from lossstats.records.rendering import Record

Array = NDArray[np.float64]
SpreadFrom = Literal["moving range", "standard deviation"]
_REACH = 9.0  # standard deviations; a normal variable beyond has a chance of 1e-19


@lru_cache(maxsize=64)
def c4(n: int) -> float:
    """Mean of the standard deviation of n normal readings, over the true one.

    Parameters
    ----------
    n : int
        Readings, at least 2.

    Returns
    -------
    float
        Divide a mean standard deviation by it.

    Raises
    ------
    ValueError
        If n is below 2.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.

    Examples
    --------
    >>> round(c4(2), 4), round(c4(5), 4)
    (0.7979, 0.94)
    """
    whole_number("n", n, 2)
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


@lru_cache(maxsize=64)
def d2(n: int) -> float:
    """Mean of the range of n normal readings, over the true standard deviation.

    Parameters
    ----------
    n : int
        Readings, at least 2.

    Returns
    -------
    float
        Divide a mean range by it; 2 / sqrt(pi) for n = 2.

    Raises
    ------
    ValueError
        If n is below 2.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2; the integral of Tippett (1925) (from memory).

    Examples
    --------
    >>> round(d2(2), 3), round(d2(5), 3)
    (1.128, 2.326)
    """
    whole_number("n", n, 2)
    from scipy.special import ndtr

    # The integrand vanishes with all derivatives at both ends: the plain sum is exact to rounding.
    x, step = np.linspace(-_REACH, _REACH, 721, retstep=True)
    return float(step * np.sum(1 - ndtr(x) ** n - ndtr(-x) ** n))


def chart_spread(values: Array, spread_from: SpreadFrom) -> float:
    """Estimate the standard deviation of one check from a base period.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Checks in the order of time.
    spread_from : {"moving range", "standard deviation"}
        Mean difference of neighbours over d2 (a slow drift hardly widens it), or standard deviation over c4.

    Returns
    -------
    float
        In the unit of the values; 0 if all are equal.

    Raises
    ------
    ValueError
        If `spread_from` is neither.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 and 6.3.2.
    """
    return float(_spreads(np.asarray(values, dtype=float)[None, :], spread_from)[0])


def _spreads(rows: Array, spread_from: SpreadFrom) -> Array:
    if spread_from == "moving range":
        return np.asarray(np.abs(np.diff(rows, axis=1)).mean(axis=1) / d2(2))
    if spread_from == "standard deviation":
        return np.asarray(rows.std(axis=1, ddof=1) / c4(rows.shape[1]))
    raise ValueError(f"spread_from: found {spread_from!r}; accepted: {' or '.join(map(repr, get_args(SpreadFrom)))}")


def moving_average(values: Array, centre: float, weight: float) -> Array:
    """Exponentially weighted moving average, started at the centre.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Checks in the order of time.
    centre : float
        Where it starts.
    weight : float
        Weight of the newest check (lambda), above 0, at most 1.

    Returns
    -------
    ndarray, shape (n,)
        ``z[i] = weight * values[i] + (1 - weight) * z[i-1]``.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.

    Examples
    --------
    >>> moving_average(np.array([52.0, 47.0]), 50.0, 0.3).round(2).tolist()
    [50.6, 49.52]
    """
    off: Array = np.asarray(values, dtype=np.float64)[None, :] - centre
    return np.asarray(_moving_averages(off, weight)[0] + centre, dtype=np.float64)


def _moving_averages(rows: Array, weight: float) -> Array:
    from scipy.signal import lfilter

    return np.asarray(lfilter([weight], [1.0, weight - 1.0], rows, axis=1))


def moving_average_sd(count: int, weight: float) -> Array:
    """Exact standard deviations of the moving average after 1, 2, ... checks, over that of one check.

    Parameters
    ----------
    count : int
        Checks since its start.
    weight : float
        Weight of the newest check, above 0, at most 1.

    Returns
    -------
    ndarray, shape (count,)
        Rises towards ``sqrt(weight / (2 - weight))``, the constant that simpler charts use from the first check.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 (the constant); the sum of the squared weights.
    """
    i = np.arange(1, count + 1, dtype=np.float64)
    reached: Array = 1 - np.power(1 - weight, 2 * i)
    return np.asarray(np.sqrt(weight / (2 - weight) * reached), dtype=np.float64)


def pooled_sd(sds: Array, dofs: Array) -> tuple[float, float]:
    """Pool the standard deviations within checks.

    Parameters
    ----------
    sds : ndarray, shape (k,)
        Standard deviations.
    dofs : ndarray, shape (k,)
        Their degrees of freedom, not all 0.

    Returns
    -------
    sd : float
        Root of the mean square, weighted by degrees of freedom.
    dof : float
        Their sum.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 2.2.3.2 and 2.4.4.3.
    """
    sds, dofs = np.asarray(sds, dtype=float), np.asarray(dofs, dtype=float)
    total = float(dofs.sum())
    return math.sqrt(float(dofs @ sds**2) / total), total


def repeatability_limit(pooled: float, pooled_dof: float, dof: float, alpha: float) -> float:
    """Upper limit of the standard deviation within one new check.

    Parameters
    ----------
    pooled : float
        Standard deviation pooled over the base period.
    pooled_dof : float
        Its degrees of freedom.
    dof : float
        Degrees of freedom of the new check.
    alpha : float
        Chance that a check of unchanged repeatability lies above.

    Returns
    -------
    float
        ``pooled * sqrt(F)``, F the upper quantile for (dof, pooled_dof).

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 2.2.3: repeatability is held by a one-sided F limit.
    """
    from scipy.special import fdtri

    return pooled * math.sqrt(float(fdtri(dof, pooled_dof, 1 - alpha)))


@dataclass(frozen=True)
class FalseAlarms(Record):
    """How often limits alarm on a bench that never changed; found by simulation.

    Attributes
    ----------
    base : int
        Checks that the limits come from; 0 stands for limits known exactly.
    further : int
        Checks judged by them.
    per_check : float
        Share of the further checks outside the limits for single checks.
    any_single : float
        Share of benches with one or more such checks.
    any_average : float
        Share of benches whose moving average is outside at least once.
    any_rule : float
        Share of benches with either.
    trials : int
        Simulated benches.
    """

    base: int
    further: int
    per_check: float
    any_single: float
    any_average: float
    any_rule: float
    trials: int

    title = "False alarms on a bench that never changed"

    def _rows(self) -> list[tuple[str, str]]:
        return [
            ("limits from", f"{self.base} checks" if self.base else "exact knowledge"),
            ("a good check outside", f"{100 * self.per_check:.2f} %"),
            (f"any alarm in {self.further} checks", f"{100 * self.any_rule:.0f} %"),
            ("by single checks", f"{100 * self.any_single:.0f} %"),
            ("by the moving average", f"{100 * self.any_average:.0f} %"),
        ]


def simulate_false_alarms(
    base: int,
    further: int,
    *,
    spread_from: SpreadFrom = "moving range",
    width: float = 3.0,
    weight: float = 0.2,
    average_width: float = 3.0,
    trials: int = 4000,
    rng: np.random.Generator | int = 0,
) -> FalseAlarms:
    """Find by simulation how often the chart alarms on a bench that never changed.

    Parameters
    ----------
    base : int
        Checks of the base period, at least 2; 0: centre and standard deviation known exactly.
    further : int
        Checks after it, at least 1.
    spread_from : {"moving range", "standard deviation"}
        How the spread is estimated.
    width : float, default 3.0
        Half width of the limits for single checks, in standard deviations.
    weight : float, default 0.2
        Weight of the newest check in the moving average.
    average_width : float, default 3.0
        Half width of its limits, in its own standard deviations.
    trials : int, default 4000
        Simulated benches, independent normal checks.
    rng : Generator or int
        Source of chance.

    Returns
    -------
    FalseAlarms
        Shares; their standard error is at most 0.5 / sqrt(trials).

    Raises
    ------
    ValueError
        If `base` is 1 or below 0, or there is nothing to judge.
    """
    if base < 0 or base == 1 or further < 1 or trials < 1:
        raise ValueError(
            f"base, further, trials: found {base}, {further}, {trials}; accepted: base 0 or at least 2, the others at "
            "least 1"
        )
    draws = np.random.default_rng(rng).standard_normal((trials, base + further))
    before, after = draws[:, :base], draws[:, base:]
    centre = before.mean(axis=1) if base else np.zeros(trials)
    spread = (_spreads(before, spread_from) if base else np.ones(trials))[:, None]
    off = after - centre[:, None]
    single = np.abs(off) > width * spread
    limit = average_width * spread * moving_average_sd(further, weight)
    average = np.abs(_moving_averages(off, weight)) > limit
    one, mean = single.any(axis=1), average.any(axis=1)
    return FalseAlarms(
        base=base,
        further=further,
        per_check=float(single.mean()),
        any_single=float(one.mean()),
        any_average=float(mean.mean()),
        any_rule=float((one | mean).mean()),
        trials=trials,
    )
