"""The level of a run with its standard uncertainty, by named source: noise and resolution."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.one_run.approach import Approach, AveragedFit, fit_approach
from lossstats.one_run.blocks import block_averages, checked_resolution, checked_run, checked_series
from lossstats.one_run.mixture import standard_uncertainty_and_dof
from lossstats.one_run.quantisation import SIDE_OF_95, display_step, resolution_component, two_codes_at_most
from lossstats.one_run.screening import Screening, off_point_samples, screen
from lossstats.one_run.settling import Settled, all_equal_settled, check_rule, final_start, judge
from lossstats.one_run.stationary import stationary_mean
from lossstats.records.estimate import Interval, check_confidence
from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

PROBABILITIES = (0.025, 0.15865525393145707, 0.5, 0.8413447460685429, 0.975)
FEW_EFFECTIVE = 3
NEGLIGIBLE = 1e-6  # part of the standard uncertainty below which a component is not shown in digits
LONG_APPROACH = 0.5  # time constant, as a part of the run, from which a level is an extrapolation


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
        return _with_times(_constant_level(y, step), t)
    fit = fit_approach(block_averages(t, y))
    return _level_of_fit(t, y, fit, fit.residuals(t, y), step=step, final_window=final_window)


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
    return _with_times(_stationary_level(y[inside], step), t[inside])


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


def _with_times(level: Level, t: NDArray[np.float64]) -> Level:
    return replace(level, window_start_s=float(t[0]), window_stop_s=float(t[-1]))


def _combined(noise: float, dof: float, resolution: float) -> tuple[float, float]:
    # Root sum of squares, and its degrees of freedom by JCGM 100, G.4.1 (the resolution has infinitely many)
    total = float(np.hypot(noise, resolution))
    return total, dof * (total / noise) ** 4 if noise > 0 else float("inf")


def _constant_level(y: NDArray[np.float64], step: float) -> Level:
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
        return _constant_level(y, step)
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


def _level_of_fit(
    t: NDArray[np.float64],
    y: NDArray[np.float64],
    fit: AveragedFit,
    residuals: NDArray[np.float64],
    *,
    step: float,
    final_window: float,
) -> Level:
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
    return _marked(_with_times(level, t), fit)


def _effective(residuals: NDArray[np.float64]) -> float:
    return stationary_mean(residuals).effective_samples if np.ptp(residuals) > 0 else 1.0


def _window_mean(t: NDArray[np.float64], y: NDArray[np.float64], step: float, final_window: float) -> Level | None:
    first = final_start(t, final_window)
    if step == 0 and np.ptp(y[first:]) == 0:
        return None  # no noise and no resolution: no uncertainty to stand beside it
    return _with_times(_stationary_level(y[first:], step), t[first:])


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


@dataclass(frozen=True)
class ReducedRun(Record):
    """One run, reduced.

    Attributes
    ----------
    level : Level
        The level that goes on.
    settled : Settled
        Whether the run has levelled out.
    screening : Screening
        What looked wrong in it.
    level_without_flagged : Level or None
        The level with the flagged samples left out; None where none are flagged or too few are left.
    """

    level: Level
    settled: Settled
    screening: Screening
    level_without_flagged: Level | None

    title = "Run"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [*self.level._rows(), ("settled", self.settled.status)]
        flagged = len(self.screening.flagged)
        if flagged and self.level_without_flagged is not None:
            without = self.level_without_flagged
            places = decimals_for(without.standard_uncertainty)
            rows.append((f"without {flagged} flagged samples", shown(without.value, places)))
        return rows


def reduce_runs(
    runs: Sequence[tuple[ArrayLike, ArrayLike]],
    *,
    resolution: float = 0.0,
    tolerance: float | None = None,
    final_window: float = 1 / 3,
    flagged_samples: Literal["keep", "leave out"] = "keep",
    operating_points: Sequence[Mapping[str, ArrayLike]] | None = None,
    limits: Mapping[str, tuple[float, float]] | None = None,
    progress: Callable[[Iterable[Any]], Iterable[Any]] | None = None,
) -> list[ReducedRun]:
    """Reduce many runs: screening, settling and level of each.

    Parameters
    ----------
    runs : sequence of (time_s, values)
        Times in s and readings of each run.
    resolution : float, default 0.0
        Display step of the readings.
    tolerance : float, optional
        Largest change still to come that counts as settled.
    final_window : float, default 1/3
        Final part of a run.
    flagged_samples : {"keep", "leave out"}
        Whether flagged samples count in ``level``.
    operating_points : sequence of mapping, optional
        Operating-point columns of each run; an empty mapping for a run that is not checked, such as a zero run.
    limits : mapping of str to (float, float), optional
        Lowest and highest value allowed of these columns.
    progress : callable, optional
        Wraps the iterable of runs, such as ``functools.partial(tqdm, desc="runs")``.

    Returns
    -------
    list of ReducedRun
        In the order of `runs`.

    Raises
    ------
    ValueError
        As `run_level`, with the number of the run in front.

    Notes
    -----
    What depends on the pattern of times only is worked out once and kept, so runs of equal times cost less; each run
    gives the same numbers as by itself.
    """
    if flagged_samples not in ("keep", "leave out"):
        raise ValueError(f"flagged_samples: found {flagged_samples!r}; accepted: 'keep', 'leave out'")
    rule = _Rule(checked_resolution(resolution), tolerance, final_window, flagged_samples == "keep")
    check_rule(tolerance, final_window)
    columns = list(operating_points) if operating_points is not None else [{}] * len(runs)
    if len(columns) != len(runs):
        raise ValueError(f"operating_points: found {len(columns)}; accepted: {len(runs)}, one a run")
    reduced = []
    pairs = list(zip(runs, columns, strict=True))
    for number, ((time_s, values), point) in enumerate(progress(pairs) if progress else pairs):
        try:
            t, y = checked_run(time_s, values)
            off = off_point_samples(len(y), point, (limits or {}) if point else {})
            reduced.append(_reduced(t, y, rule, off))
        except ValueError as error:
            raise ValueError(f"runs[{number}]: {error}") from error
    return reduced


@dataclass(frozen=True)
class _Rule:
    """What is the same for all runs of a batch."""

    step: float
    tolerance: float | None
    final_window: float
    keep_flagged: bool


def _reduced(
    t: NDArray[np.float64], y: NDArray[np.float64], rule: _Rule, off_point: dict[str, tuple[int, ...]]
) -> ReducedRun:
    step = rule.step
    if np.ptp(y) == 0:
        level = _with_times(_constant_level(y, step), t)
        settled = all_equal_settled(t, y, step, rule.tolerance, rule.final_window)
        return ReducedRun(level, settled, screen(t, y, np.zeros_like(y), step, off_point), None)
    blocks = block_averages(t, y)
    fit = fit_approach(blocks)
    residuals = fit.residuals(t, y)
    level = _level_of_fit(t, y, fit, residuals, step=step, final_window=rule.final_window)
    settled = judge(t, y, blocks, fit, tolerance=rule.tolerance, final_window=rule.final_window)
    screening = screen(t, y, residuals, step, off_point)
    without = _level_without(t, y, screening.flagged, step, rule.final_window)
    if without is not None and not rule.keep_flagged:
        level = without
    return ReducedRun(level, settled, screening, without)


def _level_without(
    t: NDArray[np.float64], y: NDArray[np.float64], flagged: tuple[int, ...], step: float, final_window: float
) -> Level | None:
    if not flagged:
        return None
    kept = np.ones(len(y), dtype=bool)
    kept[list(flagged)] = False
    if np.count_nonzero(kept) < 10 or np.ptp(y[kept]) == 0:
        return None
    return run_level(t[kept], y[kept], resolution=step, final_window=final_window)
