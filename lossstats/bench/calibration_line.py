"""Calibrate an indication against known loads: straight line by least squares, with covariance (JCGM 100, H.3)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lossstats.bench.linearity import Array, LackOfFit, judge_fit, judge_linearity, place_of
from lossstats.bench.straight_line import CalibrationLine
from lossstats.records.argument_checks import above_zero, not_negative
from lossstats.records.estimate import Interval, Spread, Term, check_confidence, make_estimate

FEWEST_LOADS = 3


def calibrate_line(
    applied: ArrayLike,
    observed: ArrayLike,
    *,
    u_applied: float | None = None,
    u_applied_scale: float | None = None,
    u_applied_dof: float = math.inf,
    tolerance: float | None = None,
    confidence: float = 0.95,
    unit: str = "W",
    load_unit: str = "W",
) -> CalibrationLine:
    """Fit a straight line to indications under calibrated loads.

    Parameters
    ----------
    applied : array_like, shape (n,)
        Loads, at least 3 different ones; each several times if linearity is to be judged.
    observed : array_like, shape (n,)
        Indications.
    u_applied : float, optional
        Standard uncertainty that all loads have in common, in their unit (a zero, an arm); scatter cannot show it.
    u_applied_scale : float, optional
        Relative standard uncertainty that all loads have in common (a factor, a certificate).
    u_applied_dof : float, default inf
        Degrees of freedom of both.
    tolerance : float, optional
        Largest zero and largest departure allowed, in the unit of the indication; fixed beforehand.
    confidence : float, default 0.95
        Of the intervals.
    unit, load_unit : str, default "W"
        Units of indication and load.

    Returns
    -------
    CalibrationLine
        Slope, intercept, their covariance, zero and linearity; `CalibrationLine.correct` gives the load behind an
        indication.

    Raises
    ------
    ValueError
        If the two differ in length, a number is not finite, there are fewer than 3 different loads or 3 readings, the
        indications lie on the line exactly, or an argument is out of range.

    Notes
    -----
    Ordinary least squares, equal scatter at all loads. Loads that scatter on their own are in the scatter about the
    line and are not added again. Departures of the means of repeated loads have intervals from the scatter of the
    repeats (Bonferroni over the loads); the test of lack of fit is the usual F of both.

    References
    ----------
    JCGM 100:2008, H.3; NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.6 and 4.4.4.6 (lack of fit).
    """
    x, y = _checked(applied, observed)
    common, scale = _common_terms(u_applied, u_applied_scale, u_applied_dof)
    check_confidence(confidence)
    if tolerance is not None:
        above_zero("tolerance", tolerance)
    slope, intercept, cov = _fit(x, y)
    residuals = y - (intercept + slope * x)
    dof = len(x) - 2
    sd = math.sqrt(float(residuals @ residuals) / dof)
    if sd <= 1e-12 * float(np.ptp(y) or abs(y[0]) or 1.0):
        raise ValueError("observed: found indications exactly on a line; accepted: readings with their scatter")
    u_slope, u_intercept = math.sqrt(cov[0, 0]), math.sqrt(cov[1, 1])
    zero = make_estimate(intercept, Spread(Term(u_intercept, dof)), confidence, unit=unit)
    sensitivity = make_estimate(slope, Spread(Term(u_slope, dof)), confidence, unit=f"{unit} per {load_unit}")
    fit, departures, why = judge_fit(x, residuals, confidence)
    zero_is = None if tolerance is None else place_of(Interval(zero.low, zero.high), tolerance)
    return CalibrationLine(
        slope=slope,
        intercept=intercept,
        u_slope=u_slope,
        u_intercept=u_intercept,
        covariance=float(cov[0, 1]),
        correlation=float(cov[0, 1]) / (u_slope * u_intercept),
        residual_sd=sd,
        degrees_of_freedom=float(dof),
        readings=len(x),
        loads=len(np.unique(x)),
        confidence=confidence,
        zero=zero,
        sensitivity=sensitivity,
        departures=departures,
        lack_of_fit=fit,
        why_no_lack_of_fit=why,
        tolerance=tolerance,
        zero_is=zero_is,
        linearity_is=None if tolerance is None else judge_linearity(departures, tolerance),
        unit=unit,
        load_unit=load_unit,
        applied=x,
        observed=y,
        residuals=residuals,
        u_applied=common,
        u_applied_scale=scale,
        notes=_notes(x, fit, confidence),
    )


def _checked(applied: ArrayLike, observed: ArrayLike) -> tuple[Array, Array]:
    x, y = (np.array(values, dtype=np.float64) for values in (applied, observed))
    if x.ndim != 1 or x.shape != y.shape:
        raise ValueError(
            f"applied, observed: found shapes {x.shape} and {y.shape}; accepted: one indication a load, in one row"
        )
    for name, values in (("applied", x), ("observed", y)):
        bad = np.flatnonzero(~np.isfinite(values))
        if len(bad):
            raise ValueError(f"{name}: found {values[bad[0]]} at place {bad[0] + 1}; accepted: finite numbers")
    loads = len(np.unique(x))
    if loads < FEWEST_LOADS:
        what = "all loads equal" if loads == 1 else f"{loads} different loads in {len(x)} readings"
        raise ValueError(
            f"applied: found {what}; accepted: at least {FEWEST_LOADS} different loads over the range in use; two "
            "give a line through anything"
        )
    for values in (x, y):
        values.flags.writeable = False
    return x, y


def _common_terms(u_applied: float | None, u_scale: float | None, dof: float) -> tuple[Term, Term]:
    for name, u in (("u_applied", u_applied), ("u_applied_scale", u_scale)):
        not_negative(name, u or 0.0)
    if not dof > 0:
        raise ValueError(f"u_applied_dof: found {dof!r}; accepted: above 0")
    return Term(u_applied or 0.0, dof), Term(u_scale or 0.0, dof)


def _fit(x: Array, y: Array) -> tuple[float, float, Array]:
    """Slope, intercept and their covariance; fitted about the mean load, where the two are independent."""
    middle = float(x.mean())
    (slope, mean), about_mean = np.polyfit(x - middle, y, 1, cov=True)
    turn = np.array([[1.0, 0.0], [-middle, 1.0]])
    return float(slope), float(mean - slope * middle), turn @ about_mean @ turn.T


def _notes(x: Array, fit: LackOfFit | None, confidence: float) -> tuple[str, ...]:
    notes = []
    if fit is not None and fit.p_value < 1 - confidence:
        notes.append(
            "the loads leave the line by more than repeats scatter: uncertainties of the line and of corrected "
            "readings are too small; calibrate over a shorter range, or with a curve"
        )
    if not x.min() <= 0 <= x.max():
        notes.append("the zero is extrapolated: no load lies at or on both sides of 0")
    return tuple(notes)
