"""A bench that takes a power loss as the difference of two shaft powers: its transducers, by data sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.budgets.source import Source
from lossstats.records.argument_checks import above_zero, finite_number, not_negative, refuse

SHAFTS = ("in", "out")


@dataclass(frozen=True)
class Transducer:
    """Torque transducer of one shaft with its speed sensor, as the data sheet and the certificate state it.

    Attributes
    ----------
    full_scale_Nm : float
        Rated torque, in N m, above 0.
    torque_class_percent : float
        Accuracy class, in percent of `class_of`.
    class_of : {"full scale", "reading"}
        What the class is a percentage of.
    class_as : {"half width", "standard uncertainty"}
        Whether the class bounds the error (taken as rectangular) or is its standard uncertainty.
    class_dof : float
        Degrees of freedom of the class.
    zero_Nm : float
        Standard uncertainty of the zero, in N m.
    span_percent_per_10K : float
        Temperature coefficient of the sensitivity, in percent of the reading per 10 K.
    zero_percent_per_10K : float
        Temperature coefficient of the zero, in percent of full scale per 10 K.
    temperature_K : float
        Largest departure from the temperature of calibration, in K.
    torque_step_Nm : float
        Display step of the torque, in N m.
    speed_gain : float
        Relative standard uncertainty of the speed.
    speed_step_rpm : float
        Display step of the speed, in r/min.

    Raises
    ------
    ValueError
        A number that is negative or not finite, a full scale of 0, an unknown word.

    Notes
    -----
    That data sheets give a class in percent of full scale and temperature coefficients in percent per 10 K, for span
    and zero apart, is common practice; no source. They bound the error, so that the coefficients times the largest
    departure are taken as half widths of rectangular distributions (JCGM 100, 4.3.7). An error within the class is
    taken as an error of the sensitivity, of the size that the class has at the torque measured: that keeps more of it
    in a difference of losses than an error of constant size in N m would, and the same in one loss.
    """

    full_scale_Nm: float
    torque_class_percent: float
    class_of: Literal["full scale", "reading"] = "full scale"
    class_as: Literal["half width", "standard uncertainty"] = "half width"
    class_dof: float = math.inf
    zero_Nm: float = 0.0
    span_percent_per_10K: float = 0.0
    zero_percent_per_10K: float = 0.0
    temperature_K: float = 0.0
    torque_step_Nm: float = 0.0
    speed_gain: float = 0.0
    speed_step_rpm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no data sheet would state."""
        for name, words in (
            ("class_of", ("full scale", "reading")),
            ("class_as", ("half width", "standard uncertainty")),
        ):
            if getattr(self, name) not in words:
                refuse(name, getattr(self, name), f"{words[0]!r} or {words[1]!r}")
        for field in fields(self):
            if field.name not in ("class_of", "class_as", "class_dof"):
                not_negative(field.name, getattr(self, field.name))
        above_zero("full_scale_Nm", self.full_scale_Nm)
        if not self.class_dof > 0:
            refuse("class_dof", self.class_dof, "degrees of freedom above 0, or infinity")

    def errors(self, torque_Nm: ArrayLike) -> dict[str, Source]:
        """Give the errors that the transducer makes in every run alike.

        Parameters
        ----------
        torque_Nm : array_like
            Torques that it measures, in N m. A class of full scale is related to the mean of their sizes, each
            weighted by its size, so that runs at no load do not count.

        Returns
        -------
        dict of str to Source
            ``torque gain``, ``temperature span`` and ``speed gain``, relative; ``torque zero`` and ``temperature
            zero`` in N m. Only those that are not 0.

        Raises
        ------
        ValueError
            A torque beyond full scale or not finite; torques that are all 0, with a class of full scale.
        """
        per_10K = self.temperature_K / 10 / 100
        sources = {
            "torque gain": self._class(np.abs(np.atleast_1d(np.asarray(torque_Nm, dtype=np.float64)))),
            "temperature span": Source.rectangular(self.span_percent_per_10K * per_10K),
            "torque zero": Source.normal(self.zero_Nm, unit="N m"),
            "temperature zero": Source.rectangular(
                self.zero_percent_per_10K * per_10K * self.full_scale_Nm, unit="N m"
            ),
            "speed gain": Source.normal(self.speed_gain),
        }
        return {name: source for name, source in sources.items() if source.standard_uncertainty > 0}

    def _class(self, sizes: NDArray[np.float64]) -> Source:
        if not (np.isfinite(sizes).all() and sizes.max() <= self.full_scale_Nm):
            raise ValueError(
                f"torque: found {float(sizes.max()):g} N m; accepted: finite, at most the full scale of "
                f"{self.full_scale_Nm:g} N m"
            )
        relative = self.torque_class_percent / 100
        if self.class_of == "full scale":
            if not sizes.any():
                raise ValueError("torque: found 0 in all runs; accepted: a torque to which the class can be related")
            relative *= self.full_scale_Nm * float(sizes.sum() / (sizes @ sizes))
        if self.class_as == "half width":
            return Source.rectangular(relative, dof=self.class_dof)
        return Source.normal(relative, dof=self.class_dof)


@dataclass(frozen=True)
class PowerBench:
    """Two shafts, the article between them.

    Attributes
    ----------
    input, output : Transducer
        Of the driving and of the driven shaft.
    shared_calibration : float
        Correlation of the two torque calibrations, 0 to 1: 1 where both transducers were calibrated in one chain by
        one standard and that standard makes all of the error, 0 where they have nothing in common.

    Raises
    ------
    ValueError
        If the correlation is not between 0 and 1.
    """

    input: Transducer
    output: Transducer
    shared_calibration: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a correlation that two calibrations of one chain cannot have."""
        if not 0 <= self.shared_calibration <= 1:
            refuse("shared_calibration", self.shared_calibration, "0 to 1")


@dataclass(frozen=True)
class ShaftReadings:
    """What the bench shows of one level.

    Attributes
    ----------
    torque_in_Nm, torque_out_Nm : float
        Torques of the driving and of the driven shaft, in N m.
    speed_in_rpm, speed_out_rpm : float
        Their speeds, in r/min.

    Raises
    ------
    ValueError
        If a reading is not finite.
    """

    torque_in_Nm: float
    speed_in_rpm: float
    torque_out_Nm: float
    speed_out_rpm: float

    def __post_init__(self) -> None:
        """Refuse readings that are no numbers."""
        for field in fields(self):
            finite_number(field.name, getattr(self, field.name))
