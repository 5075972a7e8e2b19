"""What the averaged approach fit finds: the curve, the posterior of each start, and the starts together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.one_run.mixture import Mixture
from lossstats.records.rendering import Record, decimals_for, shown


@dataclass(frozen=True)
class Approach(Record):
    """One curve through the whole run: ``level + amplitude exp(-(t - start_s) / time_constant_s)``.

    Attributes
    ----------
    probability : float
        Posterior probability that there is an approach at all.
    amplitude : float
        What the approach adds at the first sample; positive where the run comes down.
    time_constant_s : float
        Time constant in s.
    level : float
        Where this one curve ends; the level of the run averages three starts and may differ a little.
    start_s : float
        Time of the first sample in s.
    """

    probability: float
    amplitude: float
    time_constant_s: float
    level: float
    start_s: float

    title = "Approach"

    def at(self, time_s: ArrayLike) -> NDArray[np.float64]:
        """Value of the curve.

        Parameters
        ----------
        time_s : array_like
            Times in s.

        Returns
        -------
        ndarray
            Values in the unit of the readings.
        """
        age = np.asarray(time_s, dtype=np.float64) - self.start_s
        return np.asarray(self.level + self.amplitude * np.exp(-age / self.time_constant_s))

    def _rows(self) -> list[tuple[str, str]]:
        return [
            ("probability of an approach", shown(self.probability, 3)),
            ("amplitude at the start", shown(self.amplitude, decimals_for(abs(self.amplitude)))),
            ("time constant", f"{self.time_constant_s:.3g} s"),
        ]


@dataclass(frozen=True, eq=False)
class StartFit:
    """Posterior of one start, as parts of a mixture; one part a noise model and time constant, or no approach.

    Attributes
    ----------
    weight : ndarray, shape (k,)
        Posterior weight of the part.
    level, level_scale, dof : ndarray, shape (k,)
        t distribution of the level under the part.
    end, end_scale : ndarray, shape (k,)
        The same of what the approach still adds at the last sample (0 without an approach).
    tau_s : ndarray, shape (k,)
        Time constant in s, infinite without an approach.
    phi : ndarray, shape (k,)
        Correlation of neighbouring blocks.
    variance : ndarray, shape (k,)
        Variance of one block.
    """

    weight: NDArray[np.float64]
    level: NDArray[np.float64]
    level_scale: NDArray[np.float64]
    dof: NDArray[np.float64]
    end: NDArray[np.float64]
    end_scale: NDArray[np.float64]
    tau_s: NDArray[np.float64]
    phi: NDArray[np.float64]
    variance: NDArray[np.float64]

    def levels(self) -> Mixture:
        """Posterior of the level.

        Returns
        -------
        Mixture
            In the unit of the readings.
        """
        return Mixture(self.weight, self.level, self.level_scale, self.dof)

    def approach_probability(self) -> float:
        """Posterior weight of all parts with an approach.

        Returns
        -------
        float
            Between 0 and 1.
        """
        return float(self.weight[np.isfinite(self.tau_s)].sum() / self.weight.sum())


@dataclass(frozen=True, eq=False)
class AveragedFit:
    """Fits of the starts and their weights.

    Attributes
    ----------
    starts : tuple of StartFit
        One for each start that could be fitted; the whole run first.
    start_weights : tuple of float
        Their weights; they add up to 1.
    parts : StartFit
        All parts of all starts under their weights.
    curve : Approach
        One curve through the whole run.
    stop_s : float
        Time of the last sample.
    span_s : float
        Length of the run.
    """

    starts: tuple[StartFit, ...]
    start_weights: tuple[float, ...]
    parts: StartFit
    curve: Approach
    stop_s: float
    span_s: float

    def residuals(self, time_s: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take the curve of the whole run off the readings, or the level where an approach is the less likely.

        Parameters
        ----------
        time_s, values : ndarray, shape (n,)
            Times and readings.

        Returns
        -------
        ndarray, shape (n,)
            Residuals.
        """
        if self.curve.probability < 0.5:
            return values - self.starts[0].levels().mean()
        return values - self.curve.at(time_s)

    def still_to_come(self) -> Mixture:
        """Posterior of level minus curve at the last sample.

        Returns
        -------
        Mixture
            With a point at 0 for "no approach".
        """
        p = self.parts
        return Mixture(p.weight, -p.end, p.end_scale, p.dof)

    def probability_of_tau_above(self, limit_s: float) -> float:
        """Posterior probability of an approach with a time constant above a limit.

        Parameters
        ----------
        limit_s : float
            Limit in s.

        Returns
        -------
        float
            Probability.
        """
        p = self.parts
        return float(p.weight[np.isfinite(p.tau_s) & (p.tau_s > limit_s)].sum())
