"""The level of a run with its standard uncertainty, by named source: noise and resolution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.one_run.approach import fit_approach
from lossstats.one_run.approach_posterior import AveragedFit
from lossstats.one_run.blocks import block_averages, checked_resolution, checked_run, checked_series
from lossstats.one_run.level import Level
from lossstats.one_run.mixture import standard_uncertainty_and_dof
from lossstats.one_run.quantisation import display_step, resolution_component, two_codes_at_most
from lossstats.one_run.settling import check_rule, final_start
from lossstats.one_run.stationary import stationary_mean

PROBABILITIES = (0.025, 0.15865525393145707, 0.5, 0.8413447460685429, 0.975)
FEW_EFFECTIVE = 3
LONG_APPROACH = 0.5  # time constant, as a part of the run, from which a level is an extrapolation


def run_level(
    time_s: ArrayLike,
    values: ArrayLike,
    *,
    resolution: float = 0.0,
    tolerance: float | None = None,
    final_window: float = 1 / 3,
) -> Level:
    """Find the level that a run settles to, by the averaged approach fit.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in s, rising.
    values : array_like, shape (n,)
        At least 10 readings.
    resolution : float, default 0.0
        Display step of the readings; 0 leaves rounding out of account.
    tolerance : float, optional
        Checked, not used: the level is the same whatever counts as settled (see `find_settled`).
    final_window : float, default 1/3
        Final part of the run whose mean stands beside the level, 0.1 to 0.9; at least ten samples.

    Returns
    -------
    Level
        Level, standard uncertainty by source, interval, approach, mean of the final window.

    Raises
    ------
    ValueError
        Times or readings that are not those of a run; all readings equal and no resolution given.
    """
    t, y = checked_run(time_s, values)
    step = checked_resolution(resolution)
    check_rule(tolerance, final_window)
    if np.ptp(y) == 0:
        return with_times(constant_level(y, step), t)
    fit = fit_approach(block_averages(t, y))
    return level_of_fit(t, y, fit, fit.residuals(t, y), step=step, final_window=final_window)


def window_level(
    time_s: ArrayLike,
    values: ArrayLike,
    start_s: float,
    stop_s: float | None = None,
    *,
    resolution: float = 0.0,
) -> Level:
    """Mean of a declared stretch of a run, taken as settled.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in s, rising.
    values : array_like, shape (n,)
        Readings.
    start_s, stop_s : float
        First and last time of the stretch, both included; `stop_s` left out: to the end.
    resolution : float, default 0.0
        Display step of the readings.

    Returns
    -------
    Level
        Mean with standard uncertainty.

    Raises
    ------
    ValueError
        Window outside the run or with fewer than 10 samples; otherwise as `run_level`.
    """
    t, y = checked_run(time_s, values)
    step = checked_resolution(resolution)
    stop = float(t[-1]) if stop_s is None else float(stop_s)
    slack = float(t[-1] - t[0]) / (len(t) - 1)
    if not (t[0] - slack <= start_s < stop <= t[-1] + slack):
        raise ValueError(
            f"window: found {start_s:g} s to {stop:g} s; accepted: a start before the stop, both within the run, "
            f"{t[0]:g} s to {t[-1]:g} s"
        )
    inside = (t >= start_s) & (t <= stop)
    if np.count_nonzero(inside) < 10:
        raise ValueError(
            f"window: found {np.count_nonzero(inside)} samples from {start_s:g} s to {stop:g} s; accepted: at least 10"
        )
    return with_times(_stationary_level(y[inside], step), t[inside])


def series_level(values: ArrayLike, *, resolution: float = 0.0) -> Level:
    """Mean of a whole stationary series, evenly spaced in time.

    Parameters
    ----------
    values : array_like, shape (n,)
        At least 10 readings in the order of time.
    resolution : float, default 0.0
        Display step of the readings.

    Returns
    -------
    Level
        Mean with standard uncertainty.

    Raises
    ------
    ValueError
        Too few or not finite; all readings equal and no resolution given.
    """
    return _stationary_level(checked_series(values), checked_resolution(resolution))


def with_times(level: Level, t: NDArray[np.float64]) -> Level:
    """Add the times of the first and last sample to a level.

    Parameters
    ----------
    level : Level
        Without times.
    t : ndarray, shape (n,)
        Times of its samples in s.

    Returns
    -------
    Level
        With them.
    """
    return replace(level, window_start_s=float(t[0]), window_stop_s=float(t[-1]))


def _combined(noise: float, dof: float, resolution: float) -> tuple[float, float]:
    # Root sum of squares, and its degrees of freedom by JCGM 100, G.4.1 (the resolution has infinitely many)
    total = float(np.hypot(noise, resolution))
    return total, dof * (total / noise) ** 4 if noise > 0 else float("inf")


def constant_level(y: NDArray[np.float64], step: float) -> Level:
    """Level of readings that are all equal: known to the display step.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Readings, all equal.
    step : float
        Display step.

    Returns
    -------
    Level
        The reading.

    Raises
    ------
    ValueError
        No display step given.
    """
    if step == 0:
        raise ValueError(
            f"values: all {len(y)} readings are {y[0]:g} and no resolution is given; accepted: the display step as "
            "resolution, which then is the uncertainty"
        )
    u = float(step / np.sqrt(12))
    return Level(
        value=float(y[0]),
        standard_uncertainty=u,
        degrees_of_freedom=float("inf"),
        components={"noise": 0.0, "resolution": u},
        effective_samples=1.0,
        samples=len(y),
        method="all readings equal: the reading, known to the display step (JCGM 100, F.2.2.1)",
        notes=("all readings equal: stuck, or below the resolution; the noise is unknown",),
    )


def _stationary_level(y: NDArray[np.float64], step: float) -> Level:
    from scipy.special import stdtrit

    if np.ptp(y) == 0:
        return constant_level(y, step)
    mean = stationary_mean(y)
    noise, dof = mean.standard_uncertainty, mean.degrees_of_freedom
    resolution = resolution_component(y, y - mean.value, step, mean.effective_samples - 1)
    total, total_dof = _combined(noise, dof, resolution)
    half = float(stdtrit(dof, 0.975)) * noise
    return Level(
        value=mean.value,
        standard_uncertainty=total,
        degrees_of_freedom=total_dof,
        components={"noise": noise, "resolution": resolution},
        effective_samples=mean.effective_samples,
        samples=len(y),
        method=f"mean of a stationary stretch; uncertainty by {mean.method}",
        notes=tuple(_common_notes(y, y, step, mean.effective_samples)),
        _noise_low=half,
        _noise_high=half,
        _noise_dof=dof,
    )


def _common_notes(y: NDArray[np.float64], settled: NDArray[np.float64], step: float, effective: float) -> list[str]:
    notes = []
    if effective < FEW_EFFECTIVE:
        notes.append(f"the readings are worth {effective:.1f} independent ones: the interval may be too narrow")
    if step and two_codes_at_most(settled, step):
        notes.append("fewer than three display codes: the noise does not average the rounding out")
    if not step and (found := display_step(y)):
        notes.append(
            f"readings lie on steps of {found:.3g}, but no resolution was given: rounding is not in the uncertainty"
        )
    return notes


def level_of_fit(
    t: NDArray[np.float64],
    y: NDArray[np.float64],
    fit: AveragedFit,
    residuals: NDArray[np.float64],
    *,
    step: float,
    final_window: float,
) -> Level:
    """Level of a run whose approach has been fitted.

    Parameters
    ----------
    t, y : ndarray, shape (n,)
        Checked times and readings, not all equal.
    fit : AveragedFit
        Fit of the approach to these.
    residuals : ndarray, shape (n,)
        Readings less the fitted curve.
    step : float
        Display step.
    final_window : float
        Final part of the run whose mean stands beside the level.

    Returns
    -------
    Level
        The level.
    """
    q025, q16, value, q84, q975 = fit.parts.levels().quantiles(PROBABILITIES).tolist()
    noise, dof = standard_uncertainty_and_dof((q84 - q16) / 2, (q975 - q025) / 2)
    last = slice(final_start(t, 1 / 3), None)
    effective = _effective(residuals)
    share = len(residuals[last]) / len(residuals)
    resolution = resolution_component(y[last], residuals[last], step, effective * share - 1)
    total, total_dof = _combined(noise, dof, resolution)
    notes = _common_notes(y, y[last], step, effective)
    if fit.start_weights[0] < 0.05:
        notes.append("the first part of the run does not follow the same curve as the rest, and hardly counts")
    level = Level(
        value=value,
        standard_uncertainty=total,
        degrees_of_freedom=total_dof,
        components={"noise": noise, "resolution": resolution},
        effective_samples=effective,
        samples=len(y),
        method="averaged approach fit",
        window_mean=_window_mean(t, y, step, final_window),
        approach=fit.curve if fit.curve.probability >= 0.5 else None,
        notes=tuple(notes),
        _noise_low=value - q025,
        _noise_high=q975 - value,
        _noise_dof=dof,
    )
    return _marked(with_times(level, t), fit)


def _effective(residuals: NDArray[np.float64]) -> float:
    return stationary_mean(residuals).effective_samples if np.ptp(residuals) > 0 else 1.0


def _window_mean(t: NDArray[np.float64], y: NDArray[np.float64], step: float, final_window: float) -> Level | None:
    first = final_start(t, final_window)
    if step == 0 and np.ptp(y[first:]) == 0:
        return None  # no noise and no resolution: no uncertainty to stand beside it
    return with_times(_stationary_level(y[first:], step), t[first:])


def _marked(level: Level, fit: AveragedFit) -> Level:
    # Mark a level that lies beyond the run: value and rate at its end instead
    if fit.probability_of_tau_above(LONG_APPROACH * fit.span_s) <= 0.5:
        return level
    parts = fit.parts
    rate = -(parts.weight * parts.end / parts.tau_s).sum()
    coming = fit.still_to_come().mean()
    note = (
        "has not levelled out: the time constant is more likely than not above half the run; the level is extrapolated"
    )
    return replace(
        level,
        extrapolated=True,
        end_value=float(parts.levels().mean() - coming),
        rate_per_min=float(60 * rate),
        notes=(*level.notes, note),
    )
