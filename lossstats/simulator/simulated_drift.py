"""Drift of a simulated bench between runs, as a function of the hours since the bench day began."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LinearDrift:
    """A steady change.

    Attributes
    ----------
    per_h : float
        Change an hour, in the measurand's unit.
    """

    per_h: float

    def at(self, hours: Array) -> Array:
        """``per_h * hours``.

        Parameters
        ----------
        hours : array, shape (runs,)
            Hours since the start of the bench day.

        Returns
        -------
        array, shape (runs,)
            The drift.
        """
        return self.per_h * hours


@dataclass(frozen=True)
class WarmUpDrift:
    """A bench that warms up over the day and levels out.

    Attributes
    ----------
    amplitude : float
        Change when all is warm, in the measurand's unit.
    time_constant_h : float
        Time constant in hours.
    """

    amplitude: float
    time_constant_h: float

    def at(self, hours: Array) -> Array:
        """``amplitude * (1 - exp(-hours / time_constant_h))``.

        Parameters
        ----------
        hours : array, shape (runs,)
            Hours since the start of the bench day.

        Returns
        -------
        array, shape (runs,)
            The drift.
        """
        return self.amplitude * -np.expm1(-hours / self.time_constant_h)


@dataclass(frozen=True)
class BowDrift:
    """A parabola, 0 at both ends of a day, for example from the temperature of the hall.

    Attributes
    ----------
    height : float
        Height in the middle, in the measurand's unit.
    length_h : float
        Length of the day in hours.
    """

    height: float
    length_h: float

    def at(self, hours: Array) -> Array:
        """``4 height x (1 - x)`` with ``x = hours / length_h``.

        Parameters
        ----------
        hours : array, shape (runs,)
            Hours since the start of the bench day.

        Returns
        -------
        array, shape (runs,)
            The drift.
        """
        x = hours / self.length_h
        return 4 * self.height * x * (1 - x)


@dataclass(frozen=True)
class StepDrift:
    """A sudden change, for example of a belt tension.

    Attributes
    ----------
    height : float
        Height of the step, in the measurand's unit.
    at_h : float
        The step lies before the first run that starts at or after this hour.
    """

    height: float
    at_h: float

    def at(self, hours: Array) -> Array:
        """0 before ``at_h``, ``height`` from there on.

        Parameters
        ----------
        hours : array, shape (runs,)
            Hours since the start of the bench day.

        Returns
        -------
        array, shape (runs,)
            The drift.
        """
        return np.where(hours >= self.at_h, self.height, 0.0)


@dataclass(frozen=True)
class WalkDrift:
    """A random walk (Wiener process).

    Attributes
    ----------
    sd_per_root_h : float
        Standard deviation of the change over one hour, in the measurand's unit; over t hours it is this times
        the square root of t.
    """

    sd_per_root_h: float

    def draw(self, hours: Array, *, rng: np.random.Generator | int, trials: int = 1) -> Array:
        """Draw a walk of its own for every trial.

        Parameters
        ----------
        hours : array, shape (runs,)
            Hours since the start of the bench day, not falling.
        rng : Generator or int
            Source of randomness.
        trials : int, default 1
            Number of independent walks.

        Returns
        -------
        array, shape (trials, runs)
            The drifts.
        """
        rng = np.random.default_rng(rng)
        steps = self.sd_per_root_h * np.sqrt(np.diff(hours, prepend=0.0))
        walk: Array = np.cumsum(steps * rng.standard_normal((trials, len(hours))), axis=1)
        return walk


Drift = LinearDrift | WarmUpDrift | BowDrift | StepDrift | WalkDrift


def drift_of_day(drifts: tuple[Drift, ...], hours: Array, *, rng: np.random.Generator | int, trials: int = 1) -> Array:
    """Sum of the drifts at the starts of the runs of one bench day.

    Parameters
    ----------
    drifts : tuple of Drift
        They add up; none: 0.
    hours : array, shape (runs,)
        Hours since the start of the bench day, not falling.
    rng : Generator or int
        Source of randomness of the random walks.
    trials : int, default 1
        Number of independent trials.

    Returns
    -------
    array, shape (trials, runs)
        In the measurand's unit.
    """
    rng = np.random.default_rng(rng)
    total = np.zeros((trials, len(hours)))
    for drift in drifts:
        total += drift.draw(hours, rng=rng, trials=trials) if isinstance(drift, WalkDrift) else drift.at(hours)
    return total
