"""Levels of runs, one by one and in batches, growth with the number of samples, effective samples, autocorrelation times."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable, Iterator

import numpy as np
from timed_row import TimedRow

from lossstats.one_run.autocorrelation import autocorrelation_time, autocorrelation_times
from lossstats.one_run.levels import run_level
from lossstats.one_run.reduced_runs import reduce_runs
from lossstats.one_run.stationary import stationary_mean

LEVEL, PHI, SD = 6.0, 0.9, 0.02
TIME_TARGETS = {1_000: ">= 1", 10_000: ">= 3", 100_000: ">= 10", 1_000_000: ">= 10", 10_000_000: ">= 15"}


def run(n: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """A run of 15 min that comes down to its level."""
    t = np.arange(n) * (900 / n)
    return t, LEVEL + 0.3 * np.exp(-t / 150) + np.random.default_rng(seed).normal(0, SD, n)


def autoregressive(n: int, seed: int = 3) -> np.ndarray:
    """Noise of which neighbours correlate by 0.9: the variance of a mean of many is inflated 19 times."""
    from scipy.signal import lfilter

    return LEVEL + SD * lfilter([1.0], [1.0, -PHI], np.random.default_rng(seed).normal(size=n))


def inflation_by_acf(values: np.ndarray) -> float:
    """What a user would pick: autocorrelations by Fourier transform, summed up to five times their sum (Sokal)."""
    from statsmodels.tsa.stattools import acf

    r = acf(values, nlags=min(len(values) - 1, 2000), fft=True)
    sums = 1 + 2 * np.cumsum(r[1:])
    enough = np.arange(1, len(sums) + 1) > 5 * sums
    return float(sums[np.argmax(enough)])


def megabytes_of(call: Callable[[], object]) -> float:
    """Most memory held at once by a call, beyond what was there before."""
    tracemalloc.start()
    call()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return peak


def level_rows(sizes: tuple[int, ...]) -> Iterator[TimedRow]:
    """One run of n, 10 n, 100 n samples; memory beyond the run itself at the largest."""
    for n in sizes:
        t, y = run(n)
        memory = ""
        if n == max(sizes):
            memory = f" (memory beyond the run {megabytes_of(lambda t=t, y=y: run_level(t, y)):.0f} MB)"

        def agree(t: np.ndarray = t, y: np.ndarray = y) -> bool:
            found = run_level(t, y)
            return abs(found.value - LEVEL) < 5 * found.standard_uncertainty

        target = "<= 60 ms" if n <= 100_000 else "<= 0.3 s"
        yield TimedRow(
            f"level of one run of {n} samples{memory}", "", lambda t=t, y=y: run_level(t, y), None, agree, target
        )


def batch_rows(count: int, samples: int = 36) -> Iterator[TimedRow]:
    """Runs of equal times in one call, with screening and settling, beside the level alone of each by itself."""
    runs = [run(samples, seed) for seed in range(count)]

    def agree() -> bool:
        together = [one.level.value for one in reduce_runs(runs)]
        return bool(np.allclose(together, [run_level(*one).value for one in runs], rtol=1e-9, atol=0))

    yield TimedRow(
        f"{count} runs of {samples} samples in one call: level, settled or not, screening",
        "level alone, one by one",
        lambda: reduce_runs(runs),
        lambda: [run_level(*one) for one in runs],
        agree,
        f"<= {6 * count} ms (6 ms a run)",
    )


def effective_rows(sizes: tuple[int, ...]) -> Iterator[TimedRow]:
    """Mean, standard uncertainty and effective samples beside the inflation by the autocorrelations alone."""
    for n in sizes:
        values = autoregressive(n)

        def agree(values: np.ndarray = values, n: int = n) -> bool:
            # ours is the widest of several estimates on purpose, and both scatter: the closed form is 19
            ours = n / stationary_mean(values).effective_samples
            return 15 < ours < 40 and 14 < inflation_by_acf(values) < 25

        yield TimedRow(
            f"effective samples, and mean with its uncertainty, of {n} correlated readings",
            "statsmodels acf(fft=True), summed",
            lambda values=values: stationary_mean(values),
            lambda values=values: inflation_by_acf(values),
            agree,
            "",
        )


def time_rows(sizes: tuple[int, ...]) -> Iterator[TimedRow]:
    """The same figure on both sides, to 1e-12; memory beyond the series at the largest."""
    for n in sizes:
        values = autoregressive(n)
        memory = ""
        if n == max(sizes):
            memory = (
                f" (memory beyond the series {megabytes_of(lambda values=values: autocorrelation_time(values)):.1f} MB)"
            )

        def agree(values: np.ndarray = values) -> bool:
            return bool(np.isclose(autocorrelation_time(values).value, inflation_by_acf(values), rtol=1e-12, atol=0))

        yield TimedRow(
            f"autocorrelation time of {n} correlated readings{memory}",
            "statsmodels acf(fft=True), summed",
            lambda values=values: autocorrelation_time(values),
            lambda values=values: inflation_by_acf(values),
            agree,
            TIME_TARGETS.get(n, ""),
        )


def time_batch_rows(runs: int, samples: int = 36) -> Iterator[TimedRow]:
    """Many short runs in one call."""
    rows = np.array([autoregressive(samples, seed) for seed in range(runs)])

    def one_by_one() -> list[float]:
        return [inflation_by_acf(row) for row in rows]

    yield TimedRow(
        f"autocorrelation times of {runs} runs of {samples} samples in one call",
        "statsmodels acf(fft=True), summed, in a loop",
        lambda: autocorrelation_times(rows),
        one_by_one,
        lambda: bool(np.allclose(autocorrelation_times(rows).value, one_by_one(), rtol=1e-12, atol=1e-12)),
        ">= 12",
    )


def rows(
    levels: tuple[int, ...] = (36, 1_000, 10_000, 100_000, 1_000_000),
    batch: int = 40,
    effective: tuple[int, ...] = (10_000, 100_000, 1_000_000),
    times: tuple[int, ...] = tuple(TIME_TARGETS),
    batch_of_times: int = 2_000,
) -> Iterator[TimedRow]:
    """All rows, in the order of the table."""
    yield from level_rows(levels)
    yield from batch_rows(batch)
    yield from effective_rows(effective)
    yield from time_rows(times)
    yield from time_batch_rows(batch_of_times)
