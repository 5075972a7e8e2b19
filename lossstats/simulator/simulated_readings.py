"""Readings of one simulated run: approach, noise, and what display and logger do to them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from lossstats.records.argument_checks import above_zero, not_negative, refuse, whole_number

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Approach:
    """Warm-up inside a run: a sum of exponentials and a creep.

    Attributes
    ----------
    amplitudes : tuple of float
        Distance from the level at time 0 of each exponential, in the measurand's unit; negative: from below.
    time_constants_s : tuple of float
        Time constant of each, in s.
    creep : float
        Steady change over the whole run; it is 0 at the last sample, so that the level is the level at the end.
    """

    amplitudes: tuple[float, ...] = ()
    time_constants_s: tuple[float, ...] = ()
    creep: float = 0.0

    def __post_init__(self) -> None:
        if len(self.amplitudes) != len(self.time_constants_s):
            raise ValueError(
                f"Approach: found {len(self.amplitudes)} amplitudes and {len(self.time_constants_s)} time constants; "
                "accepted: one time constant for every amplitude"
            )
        for tau in self.time_constants_s:
            above_zero("Approach.time_constants_s", tau)

    def at(self, time_s: Array) -> Array:
        """Deviation from the level.

        Parameters
        ----------
        time_s : array, shape (n,)
            Times in s; the last one is the end of the run.

        Returns
        -------
        array, shape (n,)
            Deviation in the measurand's unit.
        """
        deviation = np.zeros_like(time_s)
        for amplitude, tau in zip(self.amplitudes, self.time_constants_s, strict=True):
            deviation += amplitude * np.exp(-time_s / tau)
        if self.creep and time_s[-1] > 0:  # a run of one sample has no length over which to creep
            deviation += self.creep * (time_s / time_s[-1] - 1.0)
        return deviation

    def scaled(self, factor: float) -> Approach:
        """Give the same approach from another distance.

        Parameters
        ----------
        factor : float
            Multiplies the amplitudes; time constants and creep stay.

        Returns
        -------
        Approach
            The scaled one.
        """
        return Approach(tuple(a * factor for a in self.amplitudes), self.time_constants_s, self.creep)


@dataclass(frozen=True)
class Noise:
    """Noise of the readings: a first-order autoregressive part and a white part.

    Attributes
    ----------
    correlated_sd : float
        Standard deviation of the autoregressive part (of its readings, not of its innovations).
    phi : float
        Its lag-1 correlation per sample, above -1 and below 1.
    white_sd : float
        Standard deviation of the white part.
    student_dof : float
        Degrees of freedom of Student t innovations and white noise, above 2; infinite: normal. The standard
        deviations are those given in either case.
    """

    correlated_sd: float = 0.02
    phi: float = 0.3
    white_sd: float = 0.0
    student_dof: float = math.inf

    def __post_init__(self) -> None:
        not_negative("Noise.correlated_sd", self.correlated_sd)
        not_negative("Noise.white_sd", self.white_sd)
        if not -1 < self.phi < 1:
            refuse("Noise.phi", self.phi, "above -1 and below 1")
        if not self.student_dof > 2:
            refuse("Noise.student_dof", self.student_dof, "above 2, where the standard deviation exists")

    def draw(self, samples: int, *, rng: np.random.Generator | int, runs: int | None = None) -> Array:
        """Noise of one run or of several independent runs.

        Parameters
        ----------
        samples : int
            Samples in a run.
        rng : Generator or int
            Source of randomness.
        runs : int, optional
            Number of runs; left out: one run, as a 1-d array.

        Returns
        -------
        array, shape (samples,) or (runs, samples)
            Stationary from the first sample on.
        """
        rng = np.random.default_rng(rng)
        shape = (runs or 1, samples)
        noise = self._correlated(shape, rng) if self.correlated_sd else np.zeros(shape)
        if self.white_sd:
            noise = noise + self.white_sd * self._standard(shape, rng)
        return noise[0] if runs is None else noise

    def mean_sd(self, samples: int) -> float:
        """Give the standard deviation of the mean of a run, in closed form.

        Parameters
        ----------
        samples : int
            Samples averaged.

        Returns
        -------
        float
            For the autoregressive part from its covariance ``sd^2 phi^|i - j|`` summed over all pairs.
        """
        n, phi = samples, self.phi
        factor = (1 + phi) / (1 - phi) - 2 * phi * (1 - phi**n) / (n * (1 - phi) ** 2)
        return math.sqrt((self.correlated_sd**2 * factor + self.white_sd**2) / n)

    def _correlated(self, shape: tuple[int, int], rng: np.random.Generator) -> Array:
        innovations = self._standard(shape, rng)
        if self.phi:
            from scipy.signal import lfilter

            # The first value carries the full stationary sd, so that there is no run-in.
            innovations[:, 1:] *= math.sqrt(1 - self.phi**2)
            innovations = np.asarray(lfilter([1.0], [1.0, -self.phi], innovations, axis=1), dtype=np.float64)
        return self.correlated_sd * innovations

    def _standard(self, shape: tuple[int, int], rng: np.random.Generator) -> Array:
        if math.isinf(self.student_dof):
            return rng.standard_normal(shape)
        return rng.standard_t(self.student_dof, shape) * math.sqrt(1 - 2 / self.student_dof)


@dataclass(frozen=True)
class Display:
    """Indication: display step and ends of the range.

    Attributes
    ----------
    step : float
        Display step; 0: none.
    lowest, highest : float
        Readings beyond are shown as these.
    """

    step: float = 0.0
    lowest: float = -math.inf
    highest: float = math.inf

    def __post_init__(self) -> None:
        not_negative("Display.step", self.step)
        if not self.lowest < self.highest:
            refuse("Display.lowest", self.lowest, f"below highest, here {self.highest}")

    def show(self, values: Array) -> Array:
        """Show values as the display gives them.

        Parameters
        ----------
        values : array
            Of any shape.

        Returns
        -------
        array
            The floats nearest to whole numbers of steps, so that they print with as few digits as the step.
        """
        shown = np.clip(values, self.lowest, self.highest)
        if not self.step:
            return shown
        decimals = max(0, -int(Decimal(repr(self.step)).normalize().as_tuple().exponent))
        return np.round(np.rint(shown / self.step) * self.step, decimals) + 0.0  # + 0.0: no negative zero


@dataclass(frozen=True)
class Faults:
    """What goes wrong in a run, by sample number counted from 0.

    Attributes
    ----------
    spikes : tuple of (int, float)
        Sample and height of a single wild reading.
    stuck : tuple of (int, int)
        First and last sample of a stretch that repeats the reading before it (its first, at the start of a run).
    gaps : tuple of (int, int)
        First and last sample that the logger lost.
    """

    spikes: tuple[tuple[int, float], ...] = ()
    stuck: tuple[tuple[int, int], ...] = ()
    gaps: tuple[tuple[int, int], ...] = ()

    def _spiked(self, values: Array) -> Array:
        spiked = values.copy()
        for sample, height in self.spikes:
            spiked[sample] += height
        return spiked

    def _held(self, values: Array) -> Array:
        held = values.copy()
        for first, last in self.stuck:
            held[first : last + 1] = held[max(first - 1, 0)]
        return held

    def kept(self, samples: int) -> NDArray[np.bool_]:
        """Which samples reached the log.

        Parameters
        ----------
        samples : int
            Samples in the run, gaps counted in.

        Returns
        -------
        array of bool, shape (samples,)
            False in the gaps.
        """
        kept = np.ones(samples, dtype=np.bool_)
        for first, last in self.gaps:
            kept[first : last + 1] = False
        return kept


def simulate_run(
    level: float = 5.0,
    *,
    samples: int = 180,
    interval_s: float = 5.0,
    approach: Approach | None = None,
    noise: Noise | None = None,
    display: Display | None = None,
    faults: Faults | None = None,
    rng: np.random.Generator | int,
) -> tuple[Array, Array]:
    """Simulate the readings of one run with a known level.

    Parameters
    ----------
    level : float, default 5.0
        The level to which the run settles.
    samples : int, default 180
        Number of samples, those lost in gaps counted in.
    interval_s : float, default 5.0
        Time between samples; the first one is at 0 s.
    approach : Approach, optional
        Warm-up inside the run; left out: none.
    noise : Noise, optional
        Left out: ``Noise()``.
    display : Display, optional
        Left out: neither steps nor ends of range.
    faults : Faults, optional
        Left out: none.
    rng : Generator or int
        Source of randomness; the same integer gives the same readings.

    Returns
    -------
    time_s : array, shape (n,)
        Times in s.
    values : array, shape (n,)
        Readings in the unit of the level.

    Examples
    --------
    >>> time_s, values = simulate_run(6.5, samples=3, noise=Noise(0.0), display=Display(step=0.5), rng=1)
    >>> time_s.tolist(), values.tolist()
    ([0.0, 5.0, 10.0], [6.5, 6.5, 6.5])
    """
    samples = whole_number("samples", samples, 1)
    time_s = np.arange(samples, dtype=np.float64) * above_zero("interval_s", interval_s)
    values = level + (noise or Noise()).draw(samples, rng=rng)
    if approach is not None:
        values = values + approach.at(time_s)
    return logged(time_s, values, display or Display(), faults or Faults())


def logged(time_s: Array, values: Array, display: Display, faults: Faults) -> tuple[Array, Array]:
    """Pass readings through spikes, display, stuck display and gaps, in this order, into the log.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        Times, and readings before the display.
    display : Display
        Steps and ends of range.
    faults : Faults
        What goes wrong.

    Returns
    -------
    time_s : array, shape (m,)
        Times of the samples logged.
    values : array, shape (m,)
        Their readings.
    """
    shown = faults._held(display.show(faults._spiked(values)))
    kept = faults.kept(len(time_s))
    return time_s[kept], shown[kept]
