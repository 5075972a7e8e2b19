"""Samples that look wrong: spikes, stuck and clipped stretches, gaps, operating point. Flagged, never deleted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.one_run.approach import fit_approach
from lossstats.one_run.blocks import (
    FEWEST_SAMPLES,
    block_averages,
    checked_resolution,
    checked_run,
    checked_series,
    sampling_interval,
)
from lossstats.one_run.quantisation import display_step
from lossstats.records.rendering import Record

SPIKE_RATE = 0.02  # chance of any spike flag in a run of clean normal readings
STUCK_RATE = 0.01  # the same for stuck stretches
SHORTEST_STUCK = 5
FEWEST_CLIPPED = 5
NEIGHBOURS = 3  # on each side
BENDS = 5000  # samples up to which one spike can bend the fitted curve; beyond, blocks are long enough
GAP = 1.5  # in sampling intervals


@dataclass(frozen=True)
class Screening(Record):
    """Samples of one run that look wrong. Indices count from 0; nothing is deleted.

    Attributes
    ----------
    flagged : tuple of int
        Samples in spikes, stuck and clipped stretches.
    spikes : tuple of int
        Single samples far from their neighbours.
    stuck : tuple of (int, int)
        First and last sample of stretches of equal readings that the rest of the run makes incredible.
    gaps : tuple of (int, int)
        Last sample before and first sample after a gap.
    clipped : tuple of (int, int)
        First and last sample of stretches at the highest or lowest reading of the run, where these are stuck or where
        that reading occurs far more often than the next one.
    off_point : dict of str to tuple of int
        Samples with the operating point out of tolerance, by column.
    samples : int
        Samples in the run.
    notes : tuple of str
        What could not be told, and why.
    """

    flagged: tuple[int, ...]
    spikes: tuple[int, ...]
    stuck: tuple[tuple[int, int], ...]
    gaps: tuple[tuple[int, int], ...]
    clipped: tuple[tuple[int, int], ...]
    off_point: dict[str, tuple[int, ...]]
    samples: int
    notes: tuple[str, ...]

    title = "Screening"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [
            ("samples", str(self.samples)),
            ("spikes", _listed(self.spikes)),
            ("stuck", _listed(self.stuck)),
            ("clipped", _listed(self.clipped)),
            ("gaps", _listed(self.gaps)),
        ]
        rows += [(f"{name} off point", _counted(found)) for name, found in self.off_point.items()]
        return rows + [("note", note) for note in self.notes]


def _counted(found: tuple[int, ...]) -> str:
    return f"{len(found)} samples" if found else "none"


def _listed(found: tuple[int, ...] | tuple[tuple[int, int], ...]) -> str:
    shown = [f"{f[0]} to {f[1]}" if isinstance(f, tuple) else str(f) for f in found[:8]]
    more = f" and {len(found) - 8} more" if len(found) > 8 else ""
    return ", ".join(shown) + more if shown else "none"


def screen_run(
    time_s: ArrayLike,
    values: ArrayLike,
    *,
    resolution: float = 0.0,
    operating_point: Mapping[str, ArrayLike] | None = None,
    limits: Mapping[str, tuple[float, float]] | None = None,
) -> Screening:
    """Flag the samples of one run that look wrong.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in s, rising.
    values : array_like, shape (n,)
        Readings.
    resolution : float, default 0.0
        Display step of the readings.
    operating_point : mapping of str to array_like, optional
        Operating-point columns, as long as `values`.
    limits : mapping of str to (float, float), optional
        Lowest and highest value allowed, by column; a name without a column is an error.

    Returns
    -------
    Screening
        What was flagged.

    Raises
    ------
    ValueError
        Times or readings that are not those of a run; a limit without a column.

    Notes
    -----
    *Spikes*: residuals of the fitted approach, each less the median of its six neighbours; scale from their median
    absolute value, but not below 0.6 display steps; limit ``scale z(1 - 0.01/n) (1.03 + 12/n) + step/2``. Where any
    are found, in runs of up to 5000 samples, the approach is fitted again without them and the search repeated once.
    *Stuck*: a stretch of L >= 5 equal readings with ``n (1 - p) p^(L-1) < 0.01``, p the chance of a repeat in the
    rest of the run. *Clipped*: the extreme reading at least five times and more than three times as often as the next
    code, where the noise covers several codes. Limits and rates of false flags by simulation.
    """
    t, y = checked_run(time_s, values)
    step = checked_resolution(resolution)
    return screen(
        t, y, residuals_of_approach(t, y), step, off_point_samples(len(y), operating_point or {}, limits or {})
    )


def residuals_of_approach(t: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take the approach of the whole run off the readings; readings that are all equal give zeros.

    Parameters
    ----------
    t, y : ndarray, shape (n,)
        Checked times and readings.

    Returns
    -------
    ndarray, shape (n,)
        Residuals.
    """
    if np.ptp(y) == 0:
        return np.zeros_like(y)
    return fit_approach(block_averages(t, y)).residuals(t, y)


def screen(
    t: NDArray[np.float64],
    y: NDArray[np.float64],
    residuals: NDArray[np.float64],
    step: float,
    off_point: dict[str, tuple[int, ...]],
) -> Screening:
    """Flag samples, the residuals of the fitted approach being known.

    Parameters
    ----------
    t, y : ndarray, shape (n,)
        Checked times and readings.
    residuals : ndarray, shape (n,)
        Readings less the fitted curve.
    step : float
        Display step, 0 where none was given.
    off_point : dict
        Samples off the operating point, by column.

    Returns
    -------
    Screening
        What was flagged.
    """
    notes = []
    found_step = step or display_step(y)
    if found_step and not step:
        notes.append(
            f"readings lie on steps of {found_step:.3g}, taken as the display step here; no resolution was given"
        )
    spikes = _spikes(residuals, found_step)
    if len(spikes) and len(y) <= BENDS:
        spikes = _spikes(_residuals_without(t, y, residuals, spikes), found_step)
    stretches, can_tell = _stuck(y, found_step)
    if not can_tell:
        notes.append("stuck readings cannot be told from quiet ones at this resolution")
    clipped = _clipped(y, found_step)
    clipped += [s for s in stretches if y[s[0]] in (y.min(), y.max()) and s not in clipped]
    longest = GAP * sampling_interval(t)  # before the next line: not two arrays of intervals at a time
    gaps = np.flatnonzero(np.diff(t) > longest)
    inside = [np.arange(first, last + 1) for first, last in {*stretches, *clipped}]
    flagged = np.unique(np.concatenate([spikes, *inside])) if inside else spikes
    return Screening(
        flagged=tuple(flagged.tolist()),
        spikes=tuple(spikes.tolist()),
        stuck=tuple(s for s in stretches if s not in clipped),
        gaps=tuple((g, g + 1) for g in gaps.tolist()),
        clipped=tuple(sorted(clipped)),
        off_point=off_point,
        samples=len(y),
        notes=tuple(notes),
    )


def off_point_samples(
    n: int, operating_point: Mapping[str, ArrayLike], limits: Mapping[str, tuple[float, float]]
) -> dict[str, tuple[int, ...]]:
    """Find the samples with the operating point out of its limits.

    Parameters
    ----------
    n : int
        Samples in the run.
    operating_point : mapping of str to array_like
        Columns of `n` values.
    limits : mapping of str to (float, float)
        Lowest and highest value allowed, by column.

    Returns
    -------
    dict of str to tuple of int
        Indices of samples outside, for every limit.

    Raises
    ------
    ValueError
        A limit without a column, limits the wrong way round, or a column of another length.
    """
    found = {}
    for name, (low, high) in limits.items():
        if name not in operating_point:
            have = ", ".join(operating_point) or "none"
            raise ValueError(f"limits: found {name!r}, which is not a column of operating_point; accepted: {have}")
        if not low <= high:
            raise ValueError(f"limits[{name!r}]: found {low:g} to {high:g}; accepted: the lowest value first")
        column = checked_series(operating_point[name], name=f"operating_point[{name!r}]", fewest=0)
        if len(column) != n:
            raise ValueError(f"operating_point[{name!r}]: found {len(column)} values; accepted: {n}, one a sample")
        found[name] = tuple(np.flatnonzero((column < low) | (column > high)).tolist())
    return found


def _spikes(residuals: NDArray[np.float64], step: float) -> NDArray[np.int64]:
    # Find samples far from the median of their neighbours, themselves left out
    from scipy.special import ndtri

    n = len(residuals)
    if n < 2 * NEIGHBOURS + 5:
        return np.empty(0, dtype=np.int64)
    away = _neighbour_median(residuals)  # in place from here on: a long run is not copied again and again
    np.subtract(residuals, away, out=away)
    np.abs(away, out=away)
    scale = max(1.4826 * float(np.median(away)), 0.6 * step, 1e-12 * float(max(residuals.max(), -residuals.min())))
    limit = scale * float(ndtri(1 - SPIKE_RATE / (2 * n))) * (1.03 + 12 / n) + step / 2
    return np.flatnonzero(away > limit)


def _residuals_without(
    t: NDArray[np.float64], y: NDArray[np.float64], residuals: NDArray[np.float64], spikes: NDArray[np.int64]
) -> NDArray[np.float64]:
    # A spike near the start bends the curve towards itself, and its neighbours then look like spikes: fit again without
    kept = np.ones(len(y), dtype=bool)
    kept[spikes] = False
    if np.count_nonzero(kept) < FEWEST_SAMPLES or np.ptp(y[kept]) == 0:
        return residuals
    return fit_approach(block_averages(t[kept], y[kept])).residuals(t, y)


def _neighbour_median(values: NDArray[np.float64]) -> NDArray[np.float64]:
    # Median of the three samples before and the three after, mirrored at the ends; in pieces, as six copies of a long
    # run would need more memory than the run
    padded = np.pad(values, NEIGHBOURS, mode="reflect")
    middle = np.empty(len(values))
    for start in range(0, len(values), _PIECE):
        n = min(_PIECE, len(values) - start)
        around = np.stack([padded[start + k : start + k + n] for k in range(2 * NEIGHBOURS + 1) if k != NEIGHBOURS])
        around.sort(axis=0)
        middle[start : start + n] = (around[NEIGHBOURS - 1] + around[NEIGHBOURS]) / 2
    return middle


_PIECE = 1 << 17


def _stuck(y: NDArray[np.float64], step: float) -> tuple[list[tuple[int, int]], bool]:
    # Stretches of equal readings that the rest of the run makes incredible; False where none could be found
    n = len(y)
    repeats = y[1:] == y[:-1]
    width = SHORTEST_STUCK - 1
    inside = np.logical_and.reduce([repeats[k : n - width + k] for k in range(width)])
    edges = np.flatnonzero(np.diff(inside, prepend=False, append=False))
    first, length = edges[::2], np.diff(edges)[::2] + width
    found, can_tell = [], True
    for i in np.argsort(-length, kind="stable")[:5]:
        run = int(length[i])
        if n - run < 10:
            break
        begin, end = int(first[i]), int(first[i]) + run
        repeat = _repeat_chance(y, begin, end, int(np.count_nonzero(repeats)) - (run - 1), step)
        can_tell = can_tell and repeat < 0.97
        if repeat < 0.97 and n * (1 - repeat) * repeat ** (run - 1) < STUCK_RATE:
            found.append((begin, end - 1))
    return sorted(found), can_tell


def _clipped(y: NDArray[np.float64], step: float) -> list[tuple[int, int]]:
    # The tail of noise gets thinner outwards; a limit piles readings up at it. Told only where the noise covers codes
    d = np.diff(y[len(y) // 2 :])
    if float(np.mean(d * d)) / 2 < step**2 * 13 / 12:
        return []
    found = []
    for extreme, inwards in ((y.max(), -step), (y.min(), step)):
        at = y == extreme
        next_code = int(np.count_nonzero(np.abs(y - extreme - inwards) < step / 2))
        if int(np.count_nonzero(at)) >= max(FEWEST_CLIPPED, 3 * (next_code + 1) + 1):
            edges = np.flatnonzero(np.diff(at, prepend=False, append=False))
            found += [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return found


def _repeat_chance(y: NDArray[np.float64], begin: int, end: int, repeats_outside: int, step: float) -> float:
    # Chance that a reading repeats the one before, from the samples outside a stretch
    from scipy.special import ndtr

    outside = len(y) - (end - begin)
    seen = (repeats_outside + 1) / (outside + 2)
    seen += 1.64 * np.sqrt(seen * (1 - seen) / (outside + 2))
    if step <= 0:
        return float(min(seen, 1.0))
    d = np.concatenate([np.diff(y[:begin]), np.diff(y[end:])])
    d = d[len(d) // 2 :]  # the later half, away from a steep start
    variance = float(np.mean(d * d)) / 2 - step**2 / 12 if len(d) else 0.0
    if variance <= 0 or np.count_nonzero(np.abs(d) > 1.5 * step) < 2:
        return 1.0  # hardly ever two codes apart: a quiet reading looks the same
    return float(min(max(seen, 2 * float(ndtr(0.5 * step / np.sqrt(variance))) - 1), 1.0))
