"""From readings to blocks: input checks, sampling interval, and averages of consecutive samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FEWEST_SAMPLES = 10
MOST_BLOCKS = 45
_PIECE = 1 << 17


def checked_series(values: ArrayLike, *, name: str = "values", fewest: int = FEWEST_SAMPLES) -> NDArray[np.float64]:
    """Check readings and return them as a 1-d float array.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings in the order of time.
    name : str
        What to call them in an error.
    fewest : int
        Smallest number accepted.

    Returns
    -------
    ndarray of float64, shape (n,)
        The readings; not copied where they are float64 already.

    Raises
    ------
    ValueError
        Not one-dimensional, too few, or not all finite.
    """
    y = np.asarray(values, dtype=np.float64)
    if y.ndim != 1:
        raise ValueError(
            f"{name}: found an array of {y.ndim} dimensions; accepted: one dimension, one reading a sample"
        )
    if len(y) < fewest:
        raise ValueError(f"{name}: found {len(y)} samples; accepted: at least {fewest}")
    finite = np.isfinite(y)
    if not finite.all():
        first = int(np.argmin(finite))
        raise ValueError(f"{name}: found {y[first]} at sample {first} (counted from 0); accepted: finite numbers")
    return y


def checked_run(
    time_s: ArrayLike, values: ArrayLike, *, fewest: int = FEWEST_SAMPLES
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Check the times and readings of one run against each other.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in s; must rise from sample to sample.
    values : array_like, shape (n,)
        Readings.
    fewest : int
        Smallest number of samples accepted.

    Returns
    -------
    tuple of ndarray
        Times and readings.

    Raises
    ------
    ValueError
        Unequal lengths, not finite, too few, or times that do not rise.
    """
    y = checked_series(values, fewest=fewest)
    t = checked_series(time_s, name="time_s", fewest=0)
    if len(t) != len(y):
        raise ValueError(f"time_s and values: found {len(t)} times and {len(y)} readings; accepted: as many of each")
    falls = t[1:] <= t[:-1]
    if falls.any():
        at = int(np.argmax(falls)) + 1
        raise ValueError(
            f"time_s: found {t[at]:g} s at sample {at} (counted from 0), not after {t[at - 1]:g} s; "
            "accepted: times that rise from sample to sample"
        )
    return t, y


def checked_resolution(resolution: float) -> float:
    """Display step as a float.

    Parameters
    ----------
    resolution : float
        Display step of the readings, 0 where there is none to speak of.

    Returns
    -------
    float
        The same.

    Raises
    ------
    ValueError
        Negative or not finite.
    """
    step = float(resolution)
    if not (np.isfinite(step) and step >= 0):
        raise ValueError(f"resolution: found {resolution!r}; accepted: the display step of the readings, 0 or more")
    return step


def sampling_interval(time_s: NDArray[np.float64]) -> float:
    """Median time between samples.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times in s.

    Returns
    -------
    float
        Interval in s.
    """
    return float(np.median(np.diff(time_s), overwrite_input=True))  # for a long run a copy would count


@dataclass(frozen=True, eq=False)
class Blocks:
    """Averages of consecutive samples.

    Attributes
    ----------
    time_s, values : ndarray, shape (m,)
        Mean time and mean reading of each block.
    spacing_s : float
        Nominal time from block to block.
    span_s : float
        Length of the run, the last sampling interval included.
    start_s, stop_s : float
        Times of the first and the last sample.
    """

    time_s: NDArray[np.float64]
    values: NDArray[np.float64]
    spacing_s: float
    span_s: float
    start_s: float
    stop_s: float


def block_averages(time_s: NDArray[np.float64], values: NDArray[np.float64], *, most: int = MOST_BLOCKS) -> Blocks:
    """Average consecutive samples into at most `most` blocks, closed at gaps.

    Parameters
    ----------
    time_s, values : ndarray, shape (n,)
        Checked times and readings.
    most : int
        Largest number of full blocks.

    Returns
    -------
    Blocks
        The averages.

    Notes
    -----
    Blocks are counted back from the last sample, so that what does not fill a block lies at the start, where it
    matters least. A gap leaves part-filled blocks at its edges; those less than half full are left out.
    """
    n = len(values)
    interval = sampling_interval(time_s)
    span = float(time_s[-1] - time_s[0]) * n / (n - 1)
    edges = (float(time_s[0]), float(time_s[-1]))
    size = -(-n // most)
    if size == 1:
        return Blocks(time_s, values, interval, span, *edges)
    time, mean = _averages(time_s, values, interval, size)
    if np.ptp(mean) <= 1e-9 * np.ptp(values):
        # readings that repeat within a block, such as two codes in turn, would seem to have no noise at all
        size += 1
        time, mean = _averages(time_s, values, interval, size)
    return Blocks(time, mean, interval * size, span, *edges)


def _averages(
    time_s: NDArray[np.float64], values: NDArray[np.float64], interval: float, size: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    first = _first_of_blocks(time_s, interval, size)
    count = np.diff(first, append=len(values))
    kept = 2 * count >= min(size, int(np.median(count)))
    # differences from a nearby value keep the digits of large readings
    return _means(time_s, time_s[0], first, count)[kept], _means(values, values[-1], first, count)[kept]


def _first_of_blocks(time_s: NDArray[np.float64], interval: float, size: int) -> NDArray[np.intp]:
    # First sample of each block that has any. Here and in the means a long run is gone through in pieces: arrays as
    # long as the run would need more memory than the run
    borders, block = [], -1
    for start in range(0, len(time_s), _PIECE):
        from_end = (time_s[-1] - time_s[start : start + _PIECE]) / interval
        # the small shift keeps times midway between two samples on the same side on every machine
        back = np.floor(from_end + (0.5 - 1e-6)).astype(np.int64) // size
        borders.append(np.flatnonzero(np.diff(back, prepend=block)) + start)
        block = int(back[-1])
    return np.concatenate(borders)


def _means(
    values: NDArray[np.float64], centre: float, first: NDArray[np.intp], count: NDArray[np.intp]
) -> NDArray[np.float64]:
    # Of the samples of each block, as many blocks at a time as fill a piece
    sums = np.empty(len(first))
    edges = np.append(first, len(values))
    begin = 0
    while begin < len(first):
        end = max(begin + 1, int(np.searchsorted(edges, edges[begin] + _PIECE, side="right")) - 1)
        sums[begin:end] = np.add.reduceat(values[edges[begin] : edges[end]] - centre, first[begin:end] - edges[begin])
        begin = end
    return sums / count + centre
