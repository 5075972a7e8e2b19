"""Many runs reduced: screening, settling and level of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.one_run.approach import fit_approach
from lossstats.one_run.blocks import FEWEST_SAMPLES, block_averages, checked_resolution, checked_run
from lossstats.one_run.level import Level
from lossstats.one_run.levels import constant_level, level_of_fit, run_level, with_times
from lossstats.one_run.screening import Screening, off_point_samples, screen
from lossstats.one_run.settling import Settled, all_equal_settled, check_rule, find_settled, judge
from lossstats.records.rendering import Record, decimals_for, shown


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
    gives the same numbers as by itself. Flagged spikes count in the level unless they are to be left out, but not in
    the judgement whether a run has settled: 3 W in one sample of a level run is no movement.
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
        level = with_times(constant_level(y, step), t)
        settled = all_equal_settled(t, y, step, rule.tolerance, rule.final_window)
        return ReducedRun(level, settled, screen(t, y, np.zeros_like(y), step, off_point), None)
    blocks = block_averages(t, y)
    fit = fit_approach(blocks)
    residuals = fit.residuals(t, y)
    level = level_of_fit(t, y, fit, residuals, step=step, final_window=rule.final_window)
    screening = screen(t, y, residuals, step, off_point)
    settled = _without_spikes(t, y, screening.spikes, rule) or judge(
        t, y, blocks, fit, tolerance=rule.tolerance, final_window=rule.final_window
    )
    without = _level_without(t, y, screening.flagged, step, rule.final_window)
    if without is not None and not rule.keep_flagged:
        level = without
    return ReducedRun(level, settled, screening, without)


def _without_spikes(
    t: NDArray[np.float64], y: NDArray[np.float64], spikes: tuple[int, ...], rule: _Rule
) -> Settled | None:
    # A spike is no movement of the level, whatever it does to the slope of the window that it stands in.
    kept = _kept(y, spikes)
    if kept is None:
        return None
    found = find_settled(
        t[kept], y[kept], resolution=rule.step, tolerance=rule.tolerance, final_window=rule.final_window
    )
    note = f"judged without {len(spikes)} flagged {'spike' if len(spikes) == 1 else 'spikes'}"
    return replace(found, notes=(*found.notes, note))


def _level_without(
    t: NDArray[np.float64], y: NDArray[np.float64], flagged: tuple[int, ...], step: float, final_window: float
) -> Level | None:
    kept = _kept(y, flagged)
    return None if kept is None else run_level(t[kept], y[kept], resolution=step, final_window=final_window)


def _kept(y: NDArray[np.float64], flagged: tuple[int, ...]) -> NDArray[np.bool_] | None:
    # What is left where samples are flagged, if that can still be reduced
    if not flagged:
        return None
    kept = np.ones(len(y), dtype=bool)
    kept[list(flagged)] = False
    return kept if np.count_nonzero(kept) >= FEWEST_SAMPLES and np.ptp(y[kept]) > 0 else None
