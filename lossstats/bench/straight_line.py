"""A calibration line as a finished result: slope, zero, the load behind an indication, and what may be said."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from lossstats.bench.linearity import Array, Departure, LackOfFit, Words
from lossstats.records.argument_checks import finite_number, whole_number
from lossstats.records.estimate import Estimate, Spread, Term, make_estimate
from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

_EDGE = 3.0  # residual standard deviations that an indication may lie beyond the loads


@dataclass(frozen=True)
class CalibrationLine(Record):
    """Straight line of indication on load.

    Attributes
    ----------
    slope, intercept : float
        ``observed = intercept + slope * applied``.
    u_slope, u_intercept : float
        Standard uncertainties from the scatter about the line.
    covariance : float
        Of slope and intercept.
    correlation : float
        The same as a coefficient.
    residual_sd : float
        Standard deviation of one indication about the line.
    degrees_of_freedom : float
        Readings less 2.
    readings, loads : int
        Indications, and different loads among them.
    confidence : float
        Of the intervals.
    zero : Estimate
        The indication at no load: the intercept with its interval.
    sensitivity : Estimate
        The slope with its interval.
    departures : tuple of Departure
        Of the means of each load from the line; empty without repeated loads.
    lack_of_fit : LackOfFit or None
        Whether the means leave the line by more than repeated loads scatter.
    why_no_lack_of_fit : str
        Why it is absent.
    tolerance : float or None
        Largest departure, and largest zero, that the bench may have; in the unit of the indication.
    zero_is, linearity_is : str or None
        ``"within"`` the tolerance, ``"outside"``, or ``"undecided"``: the whole interval decides. None without
        tolerance.
    unit, load_unit : str
        Units of indication and load.
    applied, observed, residuals : ndarray, shape (n,)
        What was fitted, and what the line left.
    u_applied : Term
        Standard uncertainty common to all loads.
    u_applied_scale : Term
        Relative standard uncertainty common to all loads.
    notes : tuple of str
        Remarks.
    """

    slope: float
    intercept: float
    u_slope: float
    u_intercept: float
    covariance: float
    correlation: float
    residual_sd: float
    degrees_of_freedom: float
    readings: int
    loads: int
    confidence: float
    zero: Estimate
    sensitivity: Estimate
    departures: tuple[Departure, ...]
    lack_of_fit: LackOfFit | None
    why_no_lack_of_fit: str
    tolerance: float | None
    zero_is: Words | None
    linearity_is: Words | None
    unit: str
    load_unit: str
    applied: Array = field(repr=False, compare=False)
    observed: Array = field(repr=False, compare=False)
    residuals: Array = field(repr=False, compare=False)
    u_applied: Term
    u_applied_scale: Term
    notes: tuple[str, ...]

    title = "Calibration line"

    def line_u(self, applied: ArrayLike) -> Array:
        """Give the standard uncertainty of the line itself at a load, from scatter alone.

        Parameters
        ----------
        applied : array_like
            Loads.

        Returns
        -------
        ndarray
            Of the same shape.
        """
        x = np.asarray(applied, dtype=float)
        variance = self.u_intercept**2 + (x * self.u_slope) ** 2 + 2 * x * self.covariance
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))

    def predict(self, applied: float, *, extrapolate: bool = False) -> Estimate:
        """Give the mean indication that the line has at a load.

        Parameters
        ----------
        applied : float
            Load.
        extrapolate : bool, default False
            Whether a load outside the calibrated range is accepted.

        Returns
        -------
        Estimate
            In the unit of the indication, the correlation of slope and intercept included.

        Raises
        ------
        ValueError
            If the load is not finite or outside the calibrated range.

        References
        ----------
        JCGM 100:2008, H.3.
        """
        self._check_range(applied, "applied", 0.0, extrapolate=extrapolate)
        spread = Spread(Term(float(self.line_u(applied)), self.degrees_of_freedom))
        return make_estimate(self.intercept + self.slope * applied, spread, self.confidence, unit=self.unit)

    def correct(self, reading: float, *, readings: int = 1, extrapolate: bool = False) -> Estimate:
        """Give the load behind an indication.

        Parameters
        ----------
        reading : float
            Indication, or mean of several.
        readings : int, default 1
            How many indications were averaged; their scatter is that about the line.
        extrapolate : bool, default False
            Whether an indication outside the calibrated range is accepted.

        Returns
        -------
        Estimate
            Load with interval, effective degrees of freedom and components ``scatter``, ``loads``, ``load scale``.

        Raises
        ------
        ValueError
            If the indication is not finite or outside the calibrated range, `readings` is below 1, or the slope
            cannot be told from 0.

        Notes
        -----
        ``(reading - intercept) / slope``; its uncertainty by JCGM 100, 5.2.2, with the covariance of slope and
        intercept, as in H.3. What the loads have in common cannot show in the scatter and is added.
        """
        whole_number("readings", readings, 1)
        if self.sensitivity.low <= 0 <= self.sensitivity.high:
            raise ValueError(
                f"slope: found an interval of {self.sensitivity.low:.3g} to {self.sensitivity.high:.3g}, which "
                "holds 0; accepted: a line whose slope is told from 0, else an indication says nothing of the load"
            )
        value = (reading - self.intercept) / self.slope
        self._check_range(value, "reading", _EDGE * self.residual_sd / abs(self.slope), extrapolate=extrapolate)
        scatter = math.hypot(self.residual_sd / math.sqrt(readings), float(self.line_u(value))) / abs(self.slope)
        scale = self.u_applied_scale
        shared = {
            "loads": self.u_applied,
            "load scale": Term(abs(value) * scale.standard_uncertainty, scale.degrees_of_freedom),
        }
        spread = Spread(
            Term(scatter, self.degrees_of_freedom),
            shared={name: term for name, term in shared.items() if term.standard_uncertainty > 0},
        )
        return make_estimate(value, spread, self.confidence, unit=self.load_unit)

    def _check_range(self, load: float, name: str, edge: float, *, extrapolate: bool) -> None:
        low, high = float(self.applied.min()), float(self.applied.max())
        finite_number(name, load)
        if not (extrapolate or low - edge <= load <= high + edge):
            raise ValueError(
                f"{name}: found one at a load of {load:.6g} {self.load_unit}; accepted: within the calibrated loads, "
                f"{low:g} to {high:g} {self.load_unit}, or extrapolate=True: beyond them nobody has seen a line"
            )

    @property
    def statement(self) -> str:
        """Say what may be said of zero and linearity.

        Returns
        -------
        str
            Sentences; without a tolerance a description and no verdict.
        """
        zero, places = self.zero, decimals_for(self.zero.standard_uncertainty)
        ends = (
            f"{100 * self.confidence:g} % interval {shown(zero.low, places)} to {shown(zero.high, places)} {self.unit}"
        )
        said = [f"At no load the bench reads {shown(zero.value, places)} {self.unit} ({ends})"]
        said[0] += "." if self.tolerance is None else f": {self.zero_is}, against ±{self.tolerance:g} {self.unit}."
        if not self.departures:
            said.append(f"Linearity is not judged: {self.why_no_lack_of_fit}.")
            return " ".join(said)
        worst = max(self.departures, key=lambda one: abs(one.departure))
        span = f"{shown(worst.low, places)} to {shown(worst.high, places)} {self.unit}"
        text = (
            f"The largest departure from the line is {shown(worst.departure, places)} {self.unit} at {worst.load:g} "
            f"{self.load_unit} (interval {span}, which holds for all loads together)"
        )
        said.append(text + ("." if self.tolerance is None else f": linearity {self.linearity_is}."))
        return " ".join(said)

    def _rows(self) -> list[tuple[str, str]]:
        s, z = self.sensitivity, self.zero
        digits, places = decimals_for(s.standard_uncertainty), decimals_for(z.standard_uncertainty)
        level = f"{100 * self.confidence:g} % interval"
        rows = [
            ("readings", f"{self.readings} at {self.loads} loads"),
            ("slope", f"{shown(s.value, digits)} ({level} {shown(s.low, digits)} to {shown(s.high, digits)}) {s.unit}"),
            ("zero", f"{shown(z.value, places)} ({level} {shown(z.low, places)} to {shown(z.high, places)}) {z.unit}"),
            ("correlation", f"{shown(self.correlation, 3)} of slope and zero"),
            ("scatter", f"{shown(self.residual_sd, decimals_for(self.residual_sd))} {self.unit} about the line"),
            ("degrees of freedom", shown_dof(self.degrees_of_freedom)),
            ("linearity", _linearity_words(self)),
        ]
        if self.tolerance is not None:
            verdicts = f"zero {self.zero_is}, linearity {self.linearity_is}"
            rows.append(("tolerance", f"±{self.tolerance:g} {self.unit}: {verdicts}"))
        return [*rows, *(("note", note) for note in self.notes)]


def _linearity_words(line: CalibrationLine) -> str:
    if line.lack_of_fit is None:
        return f"not tested: {line.why_no_lack_of_fit}"
    fit = line.lack_of_fit
    return f"lack of fit p = {fit.p_value:.2g} (F = {fit.f:.3g}, {fit.dof[0]} and {fit.dof[1]} degrees of freedom)"
