"""Linearity: whether the means of repeated loads leave a straight line by more than the repeats scatter."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lossstats.records.estimate import Interval, Term, coverage_factor

Array = NDArray[np.float64]
Words = Literal["within", "outside", "undecided"]


class LackOfFit(NamedTuple):
    """F test of the load means about the line against the scatter of repeated loads.

    Attributes
    ----------
    f : float
        Ratio of the mean squares.
    dof : tuple of int
        Loads less 2, and readings less loads.
    p_value : float
        Chance of a ratio at least as large, were the line straight.
    repeat_sd : float
        Standard deviation of the repeats about their own means.
    """

    f: float
    dof: tuple[int, int]
    p_value: float
    repeat_sd: float


class Departure(NamedTuple):
    """Mean departure from the line at one load.

    Attributes
    ----------
    load : float
        The load.
    departure : float
        Mean indication less the line.
    low, high : float
        Interval that holds for all loads together.
    """

    load: float
    departure: float
    low: float
    high: float


def judge_fit(
    applied: Array, residuals: Array, confidence: float
) -> tuple[LackOfFit | None, tuple[Departure, ...], str]:
    """Test the line against repeated loads.

    Parameters
    ----------
    applied : ndarray, shape (n,)
        Loads, at least 3 different ones.
    residuals : ndarray, shape (n,)
        Indications less the line.
    confidence : float
        Of the intervals of all departures together.

    Returns
    -------
    lack_of_fit : LackOfFit or None
        The test; None without repeated loads.
    departures : tuple of Departure
        One a load; empty without repeated loads.
    why : str
        Why there is no test.

    Notes
    -----
    A mean of m repeats leaves the line with the variance ``s**2 (1/m - h)``, h the leverage of the load; the factors
    are Student's for confidence ``1 - (1 - c) / loads`` (Bonferroni). NIST/SEMATECH e-Handbook, 4.4.4.6.
    """
    from scipy.special import fdtrc

    loads, place, counts = np.unique(applied, return_inverse=True, return_counts=True)
    n, k = len(applied), len(loads)
    if n == k:
        return (
            None,
            (),
            "every load was applied once; apply each at least twice, or the line cannot be told from scatter",
        )
    means = np.bincount(place, residuals) / counts
    within = float(np.sum((residuals - means[place]) ** 2))
    if within <= 1e-24 * float(np.sum(residuals**2)):
        return None, (), "repeats agree to the last digit; record finer than they scatter"
    about, sd = float(counts @ means**2), math.sqrt(within / (n - k))
    f = about / (k - 2) / sd**2
    off = applied - applied.mean()
    leverage = 1 / n + (loads - applied.mean()) ** 2 / float(off @ off)
    each = coverage_factor(Term(1.0, n - k), 1 - (1 - confidence) / k)
    half = each * sd * np.sqrt(np.maximum(1 / counts - leverage, 0.0))
    rows = zip(loads.tolist(), means.tolist(), (means - half).tolist(), (means + half).tolist(), strict=True)
    return LackOfFit(f, (k - 2, n - k), float(fdtrc(k - 2, n - k, f)), sd), tuple(Departure(*row) for row in rows), ""


def place_of(interval: Interval, tolerance: float) -> Words:
    """Hold a whole interval against a tolerance.

    Parameters
    ----------
    interval : Interval
        Low and high.
    tolerance : float
        Above 0.

    Returns
    -------
    {"within", "outside", "undecided"}
        Within where the whole interval is within ± tolerance, outside where all of it is beyond.

    Examples
    --------
    >>> place_of(Interval(-0.1, 0.2), 0.3), place_of(Interval(0.2, 0.4), 0.3), place_of(Interval(0.4, 0.5), 0.3)
    ('within', 'undecided', 'outside')
    """
    if -tolerance <= interval.low and interval.high <= tolerance:
        return "within"
    return "outside" if interval.low > tolerance or interval.high < -tolerance else "undecided"


def judge_linearity(departures: tuple[Departure, ...], tolerance: float) -> Words:
    """Hold the departures of all loads against a tolerance.

    Parameters
    ----------
    departures : tuple of Departure
        One a load; empty without repeated loads.
    tolerance : float
        Above 0.

    Returns
    -------
    {"within", "outside", "undecided"}
        Within where every load is, outside where any load is.
    """
    places = {place_of(Interval(one.low, one.high), tolerance) for one in departures}
    if "outside" in places:
        return "outside"
    return "within" if places == {"within"} else "undecided"
