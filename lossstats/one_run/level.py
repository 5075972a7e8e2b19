"""A level with its standard uncertainty by named source, its interval at any confidence, and its three faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lossstats.one_run.approach_posterior import Approach
from lossstats.one_run.quantisation import SIDE_OF_95
from lossstats.records.estimate import Interval, check_confidence
from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

NEGLIGIBLE = 1e-6  # part of the standard uncertainty below which a component is not shown in digits


@dataclass(frozen=True)
class Level(Record):
    """Level of a run or of a stretch of it.

    Attributes
    ----------
    value : float
        The level, in the unit of the readings.
    standard_uncertainty : float
        Root sum of squares of the components.
    degrees_of_freedom : float
        Of the standard uncertainty; carry it along, it is often below 5.
    components : dict of str to float
        Standard uncertainty by source: ``noise`` and ``resolution``.
    effective_samples : float
        How many independent readings the samples are worth, autocorrelation counted.
    samples : int
        Samples used.
    method : str
        How the level was found.
    window_start_s, window_stop_s : float or None
        Times of the first and last sample used, in s; None for a series without times.
    window_mean : Level or None
        For a run: the mean of the final window, to stand beside the level.
    approach : Approach or None
        For a run: the fitted approach; None where a level from the start is the more likely.
    extrapolated : bool
        The run has not levelled out: its time constant is more likely than not above half the run.
    end_value, rate_per_min : float or None
        Where extrapolated: the curve and its slope at the last sample.
    notes : tuple of str
        Remarks.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    components: dict[str, float]
    effective_samples: float
    samples: int
    method: str
    window_start_s: float | None = None
    window_stop_s: float | None = None
    window_mean: Level | None = None
    approach: Approach | None = None
    extrapolated: bool = False
    end_value: float | None = None
    rate_per_min: float | None = None
    notes: tuple[str, ...] = ()
    _noise_low: float = 0.0
    _noise_high: float = 0.0
    _noise_dof: float = float("inf")

    title = "Level"

    def interval(self, confidence: float = 0.95) -> Interval:
        """Coverage interval of the level.

        Parameters
        ----------
        confidence : float, default 0.95
            Above 0 and below 1.

        Returns
        -------
        Interval
            Named tuple ``(low, high)``.

        Raises
        ------
        ValueError
            Confidence not between 0 and 1.

        Notes
        -----
        Each side by itself: the half width from noise and that from resolution in quadrature. At 95 % the noise part
        is that of the posterior, at other confidences this one scaled as quantiles of t; the resolution part is the
        central part of a rectangular distribution (``0.95 sqrt(3) u`` at 95 %).
        """
        from scipy.special import stdtrit

        check_confidence(confidence)
        dof = min(self._noise_dof, 1e9)
        scale = float(stdtrit(dof, 0.5 + confidence / 2) / stdtrit(dof, 0.975)) if confidence != 0.95 else 1.0
        resolution = confidence / 0.95 * SIDE_OF_95 * self.components["resolution"]
        low = self.value - float(np.hypot(self._noise_low * scale, resolution))
        return Interval(low, self.value + float(np.hypot(self._noise_high * scale, resolution)))

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(self.standard_uncertainty)
        low, high = self.interval()
        rows = [
            ("level", shown(self.value, places)),
            ("95 % interval", f"{shown(low, places)} to {shown(high, places)}"),
            ("standard uncertainty", f"{self.standard_uncertainty:.2g} ({shown_dof(self.degrees_of_freedom)} dof)"),
            *((f"from {name}", self._shown_component(u)) for name, u in self.components.items()),
            ("samples", f"{self.samples}, worth {self.effective_samples:.1f}"),
            ("method", self.method),
        ]
        if self.window_start_s is not None:
            rows.append(("samples from", f"{self.window_start_s:g} s to {self.window_stop_s:g} s"))
        if self.window_mean is not None:
            w = self.window_mean
            mean = f"{shown(w.value, places)} (from {w.window_start_s:g} s; standard uncertainty "
            rows.append(("mean of the final window", mean + f"{w.standard_uncertainty:.2g})"))
        if self.end_value is not None and self.rate_per_min is not None:
            rate = f"{shown(self.end_value, places)}, changing by {self.rate_per_min:+.2g} a minute"
            rows.append(("value at the end", rate.replace("-", "−")))
        return rows + [("note", note) for note in self.notes]

    def _shown_component(self, u: float) -> str:
        # The rounding of a noisy reading averages out to 1e-30 and the like: digits that say nothing.
        return "negligible" if 0 < u < NEGLIGIBLE * self.standard_uncertainty else f"{u:.2g}"
