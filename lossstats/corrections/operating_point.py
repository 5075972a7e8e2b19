"""Operating point: how well a run kept it, and levels brought to its nominal value with the doubt of doing so."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.one_run.blocks import checked_run
from lossstats.one_run.levels import window_level
from lossstats.records.pattern import Pattern
from lossstats.records.rendering import Record, decimals_for, shown

Array = NDArray[np.float64]

_FEWEST_FOR_UNCERTAINTY = 10  # below, a window says nothing of the correlation of its readings


@dataclass(frozen=True, eq=False)
class NominalLevels(Record):
    """Levels of runs brought to the nominal value of one quantity of the operating point.

    Attributes
    ----------
    levels : ndarray, shape (runs,)
        At the nominal value, in the unit of the measurand.
    factor : ndarray, shape (runs,)
        What each level was multiplied by.
    pattern : Pattern
        Error that the doubt about the sensitivity causes, common to all runs.
    point : ndarray, shape (runs,)
        Reading of the quantity in each run.
    nominal : float
        Its nominal value.
    exponent : float or None
        k of the power form.
    relative_slope : float or None
        b of the exponential form, per unit of the quantity.
    notes : tuple of str
        What a reader must know.
    """

    levels: Array
    factor: Array
    pattern: Pattern
    point: Array
    nominal: float
    exponent: float | None
    relative_slope: float | None
    notes: tuple[str, ...] = ()

    title = "Levels at the nominal operating point"

    def _rows(self) -> list[tuple[str, str]]:
        if self.exponent is not None:
            form = f"level × (nominal / reading)^{self.exponent:g}"
        else:
            form = f"level × exp(−({self.relative_slope:g}) (reading − nominal))"
        largest = float(np.abs(self.pattern.values).max())
        return [
            ("runs", str(len(self.levels))),
            ("nominal value", f"{self.nominal:g}"),
            ("readings", f"{self.point.min():.5g} to {self.point.max():.5g}"),
            ("form", form),
            ("factors", f"{self.factor.min():.4f} to {self.factor.max():.4f}"),
            ("largest standard uncertainty by the sensitivity", shown(largest, decimals_for(largest))),
            *(("note", note) for note in self.notes),
        ]


def bring_to_nominal(
    levels: ArrayLike,
    point: ArrayLike,
    nominal: float,
    *,
    exponent: float | None = None,
    relative_slope: float | None = None,
    u: float = 0.0,
    degrees_of_freedom: float = math.inf,
) -> NominalLevels:
    """Bring levels to the nominal value of one quantity of the operating point, by a known sensitivity.

    Parameters
    ----------
    levels : array_like, shape (runs,)
        Levels as measured.
    point : array_like, shape (runs,)
        Mean of the quantity in each run: input power, speed, tension, temperature.
    nominal : float
        Its nominal value, in the same unit.
    exponent : float, optional
        Power form, level x (nominal / point)^exponent: for a quantity that has a zero of its own.
    relative_slope : float, optional
        Exponential form, level x exp(-slope (point - nominal)), relative change per unit: for a temperature in °C,
        whose zero is arbitrary. Give this or `exponent`.
    u : float, default 0.0
        Standard uncertainty of the exponent or of the relative slope.
    degrees_of_freedom : float, default inf
        Its degrees of freedom.

    Returns
    -------
    NominalLevels
        With the pattern of the error that `u` causes. It is one error for all runs: what a comparison sees of it is
        the difference between the operating points of its conditions.

    Raises
    ------
    ValueError
        Lengths that differ, values that are not finite, both or none of `exponent` and `relative_slope`, a reading
        or nominal value not above 0 in the power form, `u` negative.

    Notes
    -----
    First-order propagation (JCGM 100, 5.1.2): d level / d k = -level ln(point / nominal); d level / d b = -level
    (point - nominal). The random error of a run's own reading is part of the scatter between runs already and is not
    added; an error that the readings share is given by `reading_pattern`.

    Examples
    --------
    >>> brought = bring_to_nominal([7.14, 5.50], [285.6, 280.0], 280.0, exponent=1.0, u=0.3)
    >>> brought.levels.round(3).tolist()
    [7.0, 5.5]
    >>> round(brought.pattern.term([1, -1]).standard_uncertainty, 4)
    0.0416
    """
    y, x = _checked("levels", levels), _checked("point", point)
    if len(y) != len(x):
        raise ValueError(f"point: found {len(x)} values for {len(y)} levels; accepted: one a run")
    if not math.isfinite(nominal):
        raise ValueError(f"nominal: found {nominal!r}; accepted: a finite number")
    sensitivity = _sensitivity(exponent, relative_slope)
    distance = x - nominal if exponent is None else _log_ratio(x, nominal)
    if not (math.isfinite(u) and u >= 0):
        raise ValueError(f"u: found {u!r}; accepted: a finite standard uncertainty, 0 or above")
    if not degrees_of_freedom > 0:
        raise ValueError(f"degrees_of_freedom: found {degrees_of_freedom!r}; accepted: above 0, inf included")
    factor = np.exp(-sensitivity * distance)
    brought = y * factor
    notes = () if u > 0 else ("the sensitivity is taken as exactly known: no uncertainty was given with it",)
    pattern = Pattern(-brought * distance * u, degrees_of_freedom)
    return NominalLevels(brought, factor, pattern, x, float(nominal), exponent, relative_slope, notes)


def reading_pattern(
    brought: NominalLevels, *, scale: float = 0.0, offset: float = 0.0, degrees_of_freedom: float = math.inf
) -> Pattern:
    """Error of levels at nominal that an error of the operating-point instrument causes, common to all runs.

    Parameters
    ----------
    brought : NominalLevels
        From `bring_to_nominal`.
    scale : float, default 0.0
        Relative standard uncertainty of the scale of the instrument (its gain). Give this or `offset`, and call twice
        for two sources.
    offset : float, default 0.0
        Standard uncertainty of its zero, in the unit of the reading.
    degrees_of_freedom : float, default inf
        Of the uncertainty given.

    Returns
    -------
    Pattern
        Over the same runs.

    Raises
    ------
    ValueError
        Both or none of `scale` and `offset`; one that is negative or not finite.

    Notes
    -----
    Power form: d level / d ln reading = -k level, so that a scale error moves all levels by one factor and cancels in
    the percentage. Exponential form: d level / d reading = -b level. A wrong reading brings all runs to one wrong
    operating point; runs that stand at the same point move alike.
    """
    if not (scale >= 0 and offset >= 0 and math.isfinite(scale + offset) and (scale > 0) != (offset > 0)):
        raise ValueError(
            f"scale, offset: found {scale!r} and {offset!r}; accepted: one of them above 0 and finite, the other 0"
        )
    error = scale * brought.point + offset
    per_unit = 1.0 if brought.exponent is None else 1 / brought.point
    slope = -_sensitivity(brought.exponent, brought.relative_slope) * brought.levels * per_unit
    return Pattern(slope * error, degrees_of_freedom)


@dataclass(frozen=True)
class PointOfRun(Record):
    """How one run kept one quantity of its operating point in its final window.

    Attributes
    ----------
    mean : float
        Mean reading in the window, in the unit of the quantity.
    standard_uncertainty : float or None
        Of the mean, from the readings alone (autocorrelation and display step included).
    degrees_of_freedom : float or None
        Its degrees of freedom.
    fraction_within : float
        Share of the samples of the window that lie within the tolerance.
    samples : int
        Samples in the window.
    nominal, tolerance : float
        What was asked.
    notes : tuple of str
        What a reader must know, and why a number is absent.
    """

    mean: float
    standard_uncertainty: float | None
    degrees_of_freedom: float | None
    fraction_within: float
    samples: int
    nominal: float
    tolerance: float
    notes: tuple[str, ...] = ()

    title = "Operating point of a run"

    @property
    def mean_within(self) -> bool:
        """Whether the mean lies within the tolerance.

        Returns
        -------
        bool
            The limits count as within.
        """
        return _within(self.mean, self.nominal, self.tolerance).item()

    def _rows(self) -> list[tuple[str, str]]:
        u = self.standard_uncertainty
        places = decimals_for(self.tolerance if u is None else u)
        return [
            ("mean", shown(self.mean, places)),
            ("standard uncertainty of the mean", "none" if u is None else shown(u, places)),
            ("asked", f"{self.nominal:g} ± {self.tolerance:g}"),
            ("samples within", f"{100 * self.fraction_within:.4g} % of {self.samples}"),
            *(("note", note) for note in self.notes),
        ]


def point_of_run(
    time_s: ArrayLike,
    column: ArrayLike,
    start_s: float,
    stop_s: float | None = None,
    *,
    nominal: float,
    tolerance: float,
    resolution: float = 0.0,
) -> PointOfRun:
    """One recorded quantity of the operating point over the window from which a level is taken.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in s, rising.
    column : array_like, shape (n,)
        Readings of the quantity.
    start_s, stop_s : float
        First and last time of the window, both included; `stop_s` left out: to the end.
    nominal : float
        Nominal value of the quantity.
    tolerance : float
        Largest deviation allowed, above 0.
    resolution : float, default 0.0
        Display step of the readings.

    Returns
    -------
    PointOfRun
        Mean, its standard uncertainty, and the share of samples within the tolerance.

    Raises
    ------
    ValueError
        A tolerance that is not above 0, no sample in the window; otherwise as `lossstats.window_level`.
    """
    if not (tolerance > 0 and math.isfinite(tolerance) and math.isfinite(nominal)):
        raise ValueError(
            f"nominal, tolerance: found {nominal!r} and {tolerance!r}; accepted: finite, the tolerance above 0"
        )
    t, x = checked_run(time_s, column, fewest=2)
    inside = x[(t >= start_s) & (t <= (t[-1] if stop_s is None else stop_s))]
    if len(inside) == 0:
        raise ValueError(f"window: found no sample from {start_s:g} s; accepted: a part of {t[0]:g} s to {t[-1]:g} s")
    share = float(np.mean(_within(inside, nominal, tolerance)))
    why = _why_no_uncertainty(inside, resolution)
    if why:
        mean = math.fsum(inside) / len(inside)
        return PointOfRun(mean, None, None, share, len(inside), nominal, tolerance, (why,))
    level = window_level(t, x, start_s, stop_s, resolution=resolution)
    return PointOfRun(
        level.value, level.standard_uncertainty, level.degrees_of_freedom, share, len(inside), nominal, tolerance
    )


def _why_no_uncertainty(inside: Array, resolution: float) -> str:
    if len(inside) < _FEWEST_FOR_UNCERTAINTY:
        return (
            f"no uncertainty of the mean: {len(inside)} samples in the window, and it takes {_FEWEST_FOR_UNCERTAINTY}"
        )
    if resolution == 0 and np.ptp(inside) == 0:
        return "no uncertainty of the mean: all readings are equal and no display step is given"
    return ""


def _within(values: ArrayLike, nominal: float, tolerance: float) -> NDArray[np.bool_]:
    # A reading shown as nominal + tolerance is within, whatever its binary form.
    slack = 1e-12 * (abs(nominal) + tolerance)
    return np.abs(np.asarray(values, dtype=np.float64) - nominal) <= tolerance + slack


def _sensitivity(exponent: float | None, relative_slope: float | None) -> float:
    given = [s for s in (exponent, relative_slope) if s is not None]
    if len(given) != 1 or not math.isfinite(given[0]):
        raise ValueError(
            f"exponent, relative_slope: found {exponent!r} and {relative_slope!r}; accepted: one of them, finite: the "
            "exponent for a quantity with a zero of its own, the relative slope for a temperature"
        )
    return given[0]


def _log_ratio(x: Array, nominal: float) -> Array:
    if not nominal > 0:
        raise ValueError(f"nominal: found {nominal!r}; accepted: above 0 in the power form (else give relative_slope)")
    if not (x > 0).all():
        first = int(np.argmin(x > 0))
        raise ValueError(
            f"point: found {float(x[first])!r} in run {first} (counted from 0); accepted: above 0 in the power form "
            "(else give relative_slope)"
        )
    return np.log(x / nominal)


def _checked(name: str, values: ArrayLike) -> Array:
    array = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if array.ndim != 1 or len(array) == 0:
        raise ValueError(f"{name}: found an array of shape {array.shape}; accepted: one value a run")
    if not np.isfinite(array).all():
        first = int(np.argmin(np.isfinite(array)))
        raise ValueError(f"{name}: found {array[first]} in run {first} (counted from 0); accepted: finite numbers")
    return array
