"""Where a run has levelled out, and whether it has: settled, moving, or undecided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.one_run.approach import fit_approach
from lossstats.one_run.approach_posterior import AveragedFit
from lossstats.one_run.blocks import FEWEST_SAMPLES, Blocks, block_averages, checked_resolution, checked_run
from lossstats.one_run.mixture import Mixture
from lossstats.one_run.noise import Whitening, whitening
from lossstats.records.rendering import Record, decimals_for, shown

CHANCE = 0.05  # of each wrong firm answer at its boundary
FEWEST_FOR_OWN_NOISE = 24
WIDEST = 3  # width of the interval of the change, in tolerances, beyond which a run is too noisy to be called settled

Status = Literal["settled", "moving", "undecided"]


@dataclass(frozen=True)
class Settled(Record):
    """Whether one run has levelled out.

    Attributes
    ----------
    status : {"settled", "moving", "undecided"}
        The answer.
    tolerance : float
        Largest change still to come that counts as settled.
    window_start_s, window_stop_s : float
        The final window, in s.
    change, change_low, change_high : float
        Change over the final window (slope times length) with its 90 % interval.
    to_come, to_come_low, to_come_high : float
        Change still to come after the last sample, by the approach fit, with its 90 % interval.
    tolerance_for_power : float
        Tolerance at which a run as noisy as this one, if level, would be called settled in about 80 % of cases.
    notes : tuple of str
        Remarks.
    """

    status: Status
    tolerance: float
    window_start_s: float
    window_stop_s: float
    change: float
    change_low: float
    change_high: float
    to_come: float
    to_come_low: float
    to_come_high: float
    tolerance_for_power: float
    notes: tuple[str, ...]

    title = "Settled?"

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(max(self.change_high - self.change_low, self.tolerance) / 4)

        def three(a: float, b: float, c: float) -> str:
            return f"{shown(a, places)} ({shown(b, places)} to {shown(c, places)}, 90 %)"

        rows = [
            ("answer", self.status),
            ("tolerance", shown(self.tolerance, places)),
            ("final window", f"{self.window_start_s:g} s to {self.window_stop_s:g} s"),
            ("change over the window", three(self.change, self.change_low, self.change_high)),
            ("change still to come", three(self.to_come, self.to_come_low, self.to_come_high)),
        ]
        return rows + [("note", note) for note in self.notes]


def find_settled(
    time_s: ArrayLike,
    values: ArrayLike,
    *,
    resolution: float = 0.0,
    tolerance: float | None = None,
    final_window: float = 1 / 3,
) -> Settled:
    """Whether a run has levelled out at its end.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in s, rising.
    values : array_like, shape (n,)
        Readings.
    resolution : float, default 0.0
        Display step of the readings.
    tolerance : float, optional
        Largest change still to come that counts as settled, in the unit of the readings, fixed before the data are
        seen. Left out: the smallest one that this run could answer, named in a note.
    final_window : float, default 1/3
        Final part of the run that is looked at, 0.1 to 0.9.

    Returns
    -------
    Settled
        Answer, window, change and what is still to come.

    Raises
    ------
    ValueError
        Times or readings that are not those of a run; tolerance not above 0; window outside 0.1 to 0.9.

    Notes
    -----
    *Moving*: the 90 % interval of the change over the window, with the noise of the whole run, lies wholly outside
    the tolerance; or both the change still to come and the change with the noise of the window alone do.
    *Settled*: the change still to come is inside the tolerance with 95 % probability on each side, the estimated
    change over the window is at most the tolerance, and its 90 % interval no wider than three tolerances (without
    this, a run too noisy to show anything would now and then be called settled by luck). Otherwise *undecided*.
    "Settled" bounds what is still to come, not the change over the window.
    """
    t, y = checked_run(time_s, values)
    step = checked_resolution(resolution)
    check_rule(tolerance, final_window)
    if np.ptp(y) == 0:
        return all_equal_settled(t, y, step, tolerance, final_window)
    blocks = block_averages(t, y)
    return judge(t, y, blocks, fit_approach(blocks), tolerance=tolerance, final_window=final_window)


def check_rule(tolerance: float | None, final_window: float) -> None:
    """Refuse a tolerance or a final window that makes no sense.

    Parameters
    ----------
    tolerance : float or None
        Must be above 0.
    final_window : float
        Must lie in 0.1 to 0.9.

    Raises
    ------
    ValueError
        Outside those limits.
    """
    if tolerance is not None and not (np.isfinite(tolerance) and tolerance > 0):
        raise ValueError(f"tolerance: found {tolerance!r}; accepted: a number above 0, in the unit of the readings")
    if not 0.1 <= final_window <= 0.9:
        raise ValueError(f"final_window: found {final_window!r}; accepted: 0.1 to 0.9 of the run")


def final_start(t: NDArray[np.float64], final_window: float) -> int:
    """First sample of the final window, which holds at least ten samples.

    Parameters
    ----------
    t : ndarray, shape (n,)
        Times in s.
    final_window : float
        Final part of the run.

    Returns
    -------
    int
        Index of the sample.
    """
    n = len(t)
    span = (t[-1] - t[0]) * n / (n - 1)
    first = int(np.searchsorted(t, t[0] + span * (1 - final_window) * (1 - 1e-9)))
    return min(first, n - FEWEST_SAMPLES)


def judge(
    t: NDArray[np.float64],
    y: NDArray[np.float64],
    blocks: Blocks,
    fit: AveragedFit,
    *,
    tolerance: float | None,
    final_window: float,
) -> Settled:
    """Judge a run whose approach has been fitted.

    Parameters
    ----------
    t, y : ndarray, shape (n,)
        Checked times and readings, not all equal.
    blocks : Blocks
        Block averages of them.
    fit : AveragedFit
        Fit of the approach to these.
    tolerance : float or None
        Largest change still to come.
    final_window : float
        Final part of the run.

    Returns
    -------
    Settled
        The answer.
    """
    first = final_start(t, final_window)
    length = (t[-1] - t[first]) * (len(t) - first) / (len(t) - first - 1)
    low, change, high = _change(blocks, fit, t[first], length).quantiles([CHANCE, 0.5, 1 - CHANCE]).tolist()
    # 80 % of level runs need 0.54 to 1.06 of this half width, by simulation with 24 to 2000 samples, phi up to 0.9
    attainable = (high - low) / 2
    notes = []
    if tolerance is None:
        tolerance = attainable
        notes.append(f"no tolerance given: {attainable:.2g}, the smallest that this run could answer, was taken")
    coming = fit.still_to_come()
    status = _status(t[first:], y[first:], length, change=(low, change, high), coming=coming, tolerance=tolerance)
    if status == "undecided":
        notes.append(f"a tolerance of {attainable:.2g} would be answered with 'settled' in about 80 % of level runs")
    come = _central(coming)
    return Settled(status, tolerance, float(t[first]), float(t[-1]), change, low, high, *come, attainable, tuple(notes))


def _status(
    t: NDArray[np.float64],
    y: NDArray[np.float64],
    length: float,
    *,
    change: tuple[float, float, float],
    coming: Mixture,
    tolerance: float,
) -> Status:
    # Apply the rule; t and y are those of the final window
    below, above = coming.below(-tolerance), 1 - coming.below(tolerance)
    if change[0] > tolerance or change[2] < -tolerance:
        return "moving"
    if max(below, above) >= 1 - CHANCE and len(y) >= FEWEST_FOR_OWN_NOISE:
        own = _own_change(t, y, length).quantiles([CHANCE, 1 - CHANCE])
        if own[0] > tolerance or own[1] < -tolerance:
            return "moving"
    telling = change[2] - change[0] <= WIDEST * tolerance
    if telling and max(below, above) <= CHANCE and abs(change[1]) <= tolerance:
        return "settled"
    return "undecided"


def _central(coming: Mixture) -> tuple[float, float, float]:
    # Median and 90 % interval of what is still to come; no approach is a point at 0 in it
    at_zero = float(coming.weight[coming.scale == 0].sum() / coming.weight.sum())
    if at_zero > 1 - CHANCE:
        return 0.0, 0.0, 0.0
    spread = coming.scale > 0
    moving = Mixture(coming.weight[spread], coming.centre[spread], coming.scale[spread], coming.dof[spread])
    under_zero = moving.below(0.0) * (1 - at_zero)
    wanted = np.array([0.5, CHANCE, 1 - CHANCE])
    off_zero = (wanted < under_zero) | (wanted > under_zero + at_zero)
    inside = np.where(wanted < under_zero, wanted, wanted - at_zero)[off_zero] / (1 - at_zero)
    found = np.zeros(3)
    found[off_zero] = moving.quantiles(inside.tolist(), exact=False)
    median, low, high = found.tolist()
    return median, low, high


def _change(blocks: Blocks, fit: AveragedFit, start_s: float, length_s: float) -> Mixture:
    # Change over the window by its slope, with the noise that the fit to the whole run has left
    inside = blocks.time_s >= start_s - 1e-9 * blocks.span_s
    inside[-4:] = True
    phi, at = np.unique(fit.parts.phi, return_inverse=True)
    weight = np.bincount(at, fit.parts.weight).astype(np.float64)
    variance = np.bincount(at, fit.parts.weight * fit.parts.variance) / weight
    dof = np.bincount(at, fit.parts.weight * fit.parts.dof) / weight
    noise = whitening(blocks.time_s[inside], blocks.spacing_s)
    slope, squared, _ = _slopes(blocks.time_s[inside], blocks.values[inside], length_s, noise)
    # gaps inside the window, or outside it, can make the two grids of correlations differ: the nearest one stands in
    near = np.abs(noise.phi[:, None] - phi).argmin(0)
    return Mixture(weight, slope[near], np.sqrt(variance / squared[near]), dof)


def _slopes(
    t: NDArray[np.float64], y: NDArray[np.float64], length_s: float, noise: Whitening
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    # Generalised least squares: slope times length, squared length of the regressor, residual sum of squares
    both = noise(np.stack([y - y[-1], (t - t.mean()) / length_s]))
    on_ones = np.vecdot(both, noise.ones[:, None]) / noise.ones_squared[:, None]
    both -= on_ones[:, :, None] * noise.ones[:, None]
    squared = np.vecdot(both[:, 1], both[:, 1])
    slope = np.vecdot(both[:, 0], both[:, 1]) / squared
    left = both[:, 0] - slope[:, None] * both[:, 1]
    return slope, squared, np.vecdot(left, left)


def _own_change(t: NDArray[np.float64], y: NDArray[np.float64], length_s: float) -> Mixture:
    # Change over the window by its slope, with noise models fitted to the window alone
    blocks = block_averages(t, y)
    m = len(blocks.values)
    noise = whitening(blocks.time_s, blocks.spacing_s)
    slope, squared, rss = _slopes(blocks.time_s, blocks.values, length_s, noise)
    rss = np.maximum(rss, 1e-26 * m * max(float(np.var(blocks.values)), 1e-300))
    log_weight = noise.log_weight - 0.5 * np.log(squared) - (m - 2) / 2 * np.log(rss / rss.min())
    weight = np.exp(log_weight - log_weight.max())
    return Mixture(weight / weight.sum(), slope, np.sqrt(rss / (m - 2) / squared), np.full(len(slope), m - 2.0))


def all_equal_settled(
    t: NDArray[np.float64], y: NDArray[np.float64], step: float, tolerance: float | None, final_window: float
) -> Settled:
    """Answer for a run of equal readings: whatever changed stayed below the display step.

    Parameters
    ----------
    t, y : ndarray, shape (n,)
        Checked times and readings.
    step : float
        Display step.
    tolerance : float or None
        Largest change still to come.
    final_window : float
        Final part of the run.

    Returns
    -------
    Settled
        Settled if the tolerance is at least the display step, else undecided.

    Raises
    ------
    ValueError
        No display step given.
    """
    if step == 0:
        raise ValueError(
            f"values: all {len(y)} readings are {y[0]:g} and no resolution is given; "
            "accepted: the display step as resolution, which then bounds the change"
        )
    limit = tolerance if tolerance is not None else step
    status: Status = "settled" if step <= limit else "undecided"
    notes = ["all readings equal: stuck, or below the resolution; the change is known to the display step only"]
    if tolerance is None:
        notes.append(f"no tolerance given: {step:g}, the display step, was taken")
    first = final_start(t, final_window)
    return Settled(status, limit, float(t[first]), float(t[-1]), 0.0, -step, step, 0.0, -step, step, step, tuple(notes))
