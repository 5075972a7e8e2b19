"""Integrated autocorrelation time of a stationary series: how many readings it takes to make one independent one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.one_run.blocks import FEWEST_SAMPLES, checked_series
from lossstats.records.rendering import Record, two_digits

WINDOW_TIMES = 5
FEWEST_WINDOWS = 10  # that is 50 autocorrelation times
FIRST_REACH = 256  # lags tried first: a window of 256 samples serves an autocorrelation time up to 51
SEGMENT_REACHES = 16  # segments this much longer than the lags: their seams cost little, and they stay in cache
SAMPLES_AT_ONCE = 131072
LONGEST_BATCHED = 2048
LEAST_SCATTER = 1e-9  # of the mean; below, the mean is rounded by too much of the scatter


@dataclass(frozen=True)
class AutocorrelationTime(Record):
    """Integrated autocorrelation time of one series.

    Attributes
    ----------
    value : float
        Integrated autocorrelation time, in samples; 1 for independent readings.
    standard_uncertainty : float or None
        Of `value`, in samples; None where `value` is not above 0.
    effective_samples : float or None
        Independent readings that would give a mean as good: `samples` over `value`, at most `samples`; None where
        `value` is not above 0.
    window : int
        Largest lag summed, in samples.
    samples : int
        Readings in the series.
    notes : tuple of str
        Remarks: a series too short, a sum that is no autocorrelation time.
    """

    value: float
    standard_uncertainty: float | None
    effective_samples: float | None
    window: int
    samples: int
    notes: tuple[str, ...] = ()

    title = "Integrated autocorrelation time"

    def _rows(self) -> list[tuple[str, str]]:
        u, worth = self.standard_uncertainty, self.effective_samples
        return [
            ("autocorrelation time", f"{self.value:.3g} samples".replace("-", "−")),
            ("standard uncertainty", "none" if u is None else f"{two_digits(u)} samples"),
            ("samples", f"{self.samples}" if worth is None else f"{self.samples}, worth {worth:.1f}"),
            ("lags summed", f"up to {self.window}"),
            *(("note", note) for note in self.notes),
        ]


@dataclass(frozen=True, eq=False)
class AutocorrelationTimes(Record):
    """Integrated autocorrelation times of several series of equal length; an index gives the record of one.

    Attributes
    ----------
    value : ndarray, shape (runs,)
        Integrated autocorrelation times, in samples.
    standard_uncertainty : ndarray, shape (runs,)
        Of `value`, in samples; nan where `value` is not above 0.
    effective_samples : ndarray, shape (runs,)
        Independent readings that would give a mean as good; nan where `value` is not above 0.
    window : ndarray of int, shape (runs,)
        Largest lag summed, in samples.
    samples : int
        Readings in each series.
    """

    value: NDArray[np.float64]
    standard_uncertainty: NDArray[np.float64]
    effective_samples: NDArray[np.float64]
    window: NDArray[np.int64]
    samples: int

    title = "Integrated autocorrelation times"

    def __len__(self) -> int:
        return len(self.value)

    def __getitem__(self, run: int) -> AutocorrelationTime:
        return _record(float(self.value[run]), int(self.window[run]), self.samples)

    def _rows(self) -> list[tuple[str, str]]:
        low, median, high = (f"{q:.3g}".replace("-", "−") for q in np.quantile(self.value, (0, 0.5, 1)))
        worth = self.effective_samples[self.value > 0]
        short = int(np.sum(self.samples < FEWEST_WINDOWS * self.window))
        return [
            ("runs", f"{len(self)} of {self.samples} samples"),
            ("autocorrelation time", f"median {median} samples, {low} to {high}"),
            ("samples worth", f"median {np.median(worth):.1f}" if len(worth) else "unknown"),
            ("too short", f"{short} runs: fewer than {FEWEST_WINDOWS} windows, the value likely too small"),
            ("no autocorrelation time", f"{int(np.sum(self.value <= 0))} runs: the sum is not above 0"),
        ]


def autocorrelation_time(values: ArrayLike) -> AutocorrelationTime:
    r"""Integrated autocorrelation time of a stationary series, summed over Sokal's self-consistent window.

    Parameters
    ----------
    values : array_like, shape (n,)
        At least 10 readings, evenly spaced in time, not all equal, of a stretch that has settled.

    Returns
    -------
    AutocorrelationTime
        The time in samples, its standard uncertainty, effective samples, window, remarks.

    Raises
    ------
    ValueError
        Not one-dimensional, too few, not finite, or all equal.

    Notes
    -----
    ``tau(M) = 1 + 2 (rho(1) + ... + rho(M))``, so that the variance of the mean is tau times that of as many
    independent readings. The mean of the series is taken out and the autocovariance is the biased one, every lag
    divided by n: the usual estimate, whose sum over all lags is 0, so that a window is always found. M is the
    smallest lag with ``M >= 5 tau(M)``. Sokal writes half of this tau: his factor c is 10 here, for autocorrelations
    that do not fall as one exponential.

    The standard uncertainty is ``tau sqrt(2 (2 M + 1)/n)`` (Madras and Sokal). It leaves out that taking the mean out
    makes tau too small, by about the part ``(2 M + 1)/n``: below ten windows, 50 autocorrelation times, that is a
    fifth or more, and the result says so. In a series shorter still the window ends too soon, tau seems shorter
    than it is, and the remark can fail to come.

    Use `series_level` for the level of a run and its uncertainty: it takes the widest of several estimates on
    purpose, as this one is too small for short series. Not for noise whose neighbours alternate, nor for a run still
    on the way to its level, whose approach would be taken for noise that lingers.

    Time grows with n, memory with the window alone: float64 readings are not copied, unless they scatter by less than
    1e-9 of their mean. Autocovariances are those of the direct sums to rounding.

    References
    ----------
    Sokal (1997), Monte Carlo methods in statistical mechanics: foundations and new algorithms, in Functional
    Integration, section 3 (from memory); Madras and Sokal (1988), J. Stat. Phys. 50, 109, appendix C (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> white = np.random.default_rng(1).normal(6.0, 0.02, 10_000)
    >>> time = autocorrelation_time(np.repeat(white, 4))  # every reading four times
    >>> print(f"{time.value:.1f} with {time.standard_uncertainty:.1f}, window {time.window}")
    3.9 with 0.2, window 20
    """
    y = np.asarray(values, dtype=np.float64)
    if y.ndim != 1 or len(y) < FEWEST_SAMPLES:
        checked_series(y)
    return _record(*_of_series(y, "values"), len(y))


def autocorrelation_times(rows: ArrayLike) -> AutocorrelationTimes:
    """Integrated autocorrelation times of several runs of equal length, as `autocorrelation_time` gives for each.

    Parameters
    ----------
    rows : array_like, shape (runs, n)
        One run a row, at least 10 readings each, evenly spaced in time, none with all readings equal.

    Returns
    -------
    AutocorrelationTimes
        Arrays with one number a run; ``times[i]`` is the record of run i with its remarks.

    Raises
    ------
    ValueError
        Runs of unequal lengths, too short, not finite, or all equal; the row is named.

    Notes
    -----
    Group runs of different lengths by their length first. For source and limits see `autocorrelation_time`.
    """
    y = _checked_rows(rows)
    runs, n = y.shape
    tau, window = np.empty(runs), np.empty(runs, dtype=np.int64)
    if n > LONGEST_BATCHED:
        for i, row in enumerate(y):
            tau[i], window[i] = _of_series(row, f"rows: row {i}")
    else:
        at_once = max(1, SAMPLES_AT_ONCE // (4 * n))
        for i in range(0, runs, at_once):
            part = slice(i, i + at_once)
            tau[part], window[part] = _of_batch(y[part], first_row=i)
    known = np.where(tau > 0, tau, np.nan)
    u = _standard_uncertainty(known, window, n)
    return AutocorrelationTimes(tau, u, n / np.maximum(known, 1), window, n)


def _record(tau: float, window: int, n: int) -> AutocorrelationTime:
    notes = []
    if n < FEWEST_WINDOWS * window:
        notes.append(
            f"{n} samples are fewer than {FEWEST_WINDOWS} windows, {FEWEST_WINDOWS * WINDOW_TIMES} autocorrelation "
            "times: the value is likely too small, and its standard uncertainty says little"
        )
    if tau <= 0:
        notes.append(
            "the sum is not above 0, as where neighbouring readings alternate or a series is too short: "
            "this is no autocorrelation time, and no standard uncertainty or effective samples follow"
        )
        return AutocorrelationTime(tau, None, None, window, n, tuple(notes))
    u = float(_standard_uncertainty(tau, window, n))
    return AutocorrelationTime(tau, u, n / max(tau, 1.0), window, n, tuple(notes))


def _standard_uncertainty(tau: ArrayLike, window: ArrayLike, n: int) -> NDArray[np.float64]:
    # Madras and Sokal 1988, appendix C: var(tau) = 2 (2 M + 1)/n tau^2; the same for tau and for its half
    return np.asarray(tau) * np.sqrt(2 * (2 * np.asarray(window) + 1) / n)


@np.errstate(over="ignore", invalid="ignore")  # what is not finite or too large is found and told
def _of_series(y: NDArray[np.float64], name: str) -> tuple[float, int]:
    n, mean = len(y), float(np.mean(y))
    if not np.isfinite(mean):  # spares a pass over all readings where they are finite
        checked_series(y, name=name)
    reach = min(FIRST_REACH, n - 1)
    while True:
        c = _autocovariance_sums(y, mean, reach)
        if not n * (LEAST_SCATTER * mean) ** 2 < c[0] < np.inf:  # the rounding of the mean may tell
            _check_scatter(y, name)
            y = y - y[0]
            mean = float(np.mean(y))
            c = _autocovariance_sums(y, mean, reach)
        tau, enough = _running_sums(c, n)
        window = int(enough.argmax())
        if enough[window]:
            return float(tau[window]), window
        reach = min(4 * reach, n - 1)


def _autocovariance_sums(y: NDArray[np.float64], mean: float, reach: int) -> NDArray[np.float64]:
    """Sums of products of readings 0 to `reach` samples apart, about `mean`.

    The series is cut into segments. A transform of a segment gives its *circular* sums, in which the readings at its
    end meet those at its own head; they should meet the head of the next segment. That is put right by the products
    of the last `reach` readings with the difference of the two heads, from transforms as short as that. Powers and
    cross powers are added up over the segments and transformed back once.
    """
    from scipy.fft import next_fast_len

    n = len(y)
    size = SEGMENT_REACHES * reach
    if n <= size:
        d = np.zeros(next_fast_len(n + reach, real=True))  # zeros enough that no reading meets the head
        np.subtract(y, mean, out=d[:n])
        return np.fft.irfft(_power(d[None, :]), len(d))[: reach + 1]
    power, seams = np.zeros(size // 2 + 1), np.zeros(reach + 1, dtype=np.complex128)
    d = np.empty((min(-(-n // size), max(1, SAMPLES_AT_ONCE // size)) + 1, size))
    for start in range(0, n, d.size - size):
        segments = min(len(d) - 1, -(-(n - start) // size))
        _centred(y[start : start + segments * size + reach], mean, d[: segments + 1], reach)
        power += _power(d[:segments])
        tails, heads = d[:segments, -reach:], d[1 : segments + 1, :reach] - d[:segments, :reach]
        seams += (np.fft.rfft(tails, 2 * reach) * np.fft.rfft(heads, 2 * reach).conj()).sum(0)
    circular = np.fft.irfft(power, size)[: reach + 1]
    return circular + np.fft.irfft(seams, 2 * reach)[reach::-1]


def _centred(y: NDArray[np.float64], mean: float, d: NDArray[np.float64], reach: int) -> None:
    # Readings less the mean into whole segments and the head of the next; zeros beyond the end of the series
    flat = d.reshape(-1)
    np.subtract(y, mean, out=flat[: len(y)])
    flat[len(y) : flat.size - d.shape[1] + reach] = 0


def _power(d: NDArray[np.float64]) -> NDArray[np.float64]:
    # Sum over the rows of the squared magnitude of their transforms, without an array of the squares
    parts = np.fft.rfft(d).view(np.float64)
    squares: NDArray[np.float64] = np.einsum("ij,ij->j", parts, parts)
    return squares[::2] + squares[1::2]


def _running_sums(c: NDArray[np.float64], n: int) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    # tau(M) for every lag M on the last axis, and whether M >= 5 tau(M)
    tau = np.cumsum(c / c[..., :1], axis=-1)
    tau *= 2
    tau -= 1
    enough: NDArray[np.bool_] = np.arange(c.shape[-1]) >= WINDOW_TIMES * tau
    if c.shape[-1] == n:
        enough[..., -1] = True  # about their mean the sums over all lags are 0, but for rounding
    return tau, enough


@np.errstate(over="ignore", invalid="ignore")
def _of_batch(y: NDArray[np.float64], first_row: int) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    from scipy.fft import next_fast_len

    n = y.shape[1]
    length = next_fast_len(2 * n - 1, real=True)
    d = y - y[:, :1]  # first this, so that the mean is not rounded by more than the scatter
    d -= d.mean(1)[:, None]
    transforms = np.fft.rfft(d, length)
    c = np.fft.irfft(transforms.real**2 + transforms.imag**2, length)[:, :n]
    for i in np.flatnonzero(~((c[:, 0] > 0) & np.isfinite(c[:, 0]))):
        _check_scatter(y[i], f"rows: row {first_row + i}")
    tau, enough = _running_sums(c, n)
    window = enough.argmax(1)
    return tau[np.arange(len(c)), window], window


@np.errstate(over="ignore", invalid="ignore")
def _checked_rows(rows: ArrayLike) -> NDArray[np.float64]:
    accepted = "accepted: an array of shape (runs, n), runs of equal length; group others by their length"
    try:
        y = np.asarray(rows, dtype=np.float64)
    except ValueError as error:
        raise ValueError(f"rows: found no rectangle of numbers ({error}); {accepted}") from error
    if y.ndim != 2:
        raise ValueError(f"rows: found an array of {y.ndim} dimensions; {accepted}")
    if not len(y) or y.shape[1] < FEWEST_SAMPLES:
        raise ValueError(
            f"rows: found {len(y)} runs of {y.shape[1]} samples; accepted: at least one run, of at least "
            f"{FEWEST_SAMPLES} samples"
        )
    for i in np.flatnonzero(~np.isfinite(y.sum(1))):
        checked_series(y[i], name=f"rows: row {i}")
    return y


def _check_scatter(y: NDArray[np.float64], name: str) -> None:
    spread = float(np.ptp(y))
    if spread == 0:
        raise ValueError(
            f"{name}: found {len(y)} readings all equal to {y[0]:g}, which have no autocorrelation; "
            "accepted: readings that scatter"
        )
    if not 1e-140 < spread < 1e140:
        raise ValueError(f"{name}: found a range of {spread:g}; accepted: 1e-140 to 1e140, so that squares are numbers")
