"""Levels of runs, one by one and in batches, growth with the number of samples, and effective samples."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator

import numpy as np
from timed_row import TimedRow

from lossstats.one_run.levels import reduce_runs, run_level
from lossstats.one_run.stationary import stationary_mean

LEVEL, PHI, SD = 6.0, 0.9, 0.02


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


def level_rows(sizes: tuple[int, ...]) -> Iterator[TimedRow]:
    """One run of n, 10 n, 100 n samples; memory beyond the run itself at the largest."""
    for n in sizes:
        t, y = run(n)
        memory = ""
        if n == max(sizes):
            tracemalloc.start()
            run_level(t, y)
            memory = f" (memory beyond the run {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB)"
            tracemalloc.stop()

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
            ">= 10" if n == 100_000 else "",
        )


def rows(
    levels: tuple[int, ...] = (36, 1_000, 10_000, 100_000, 1_000_000),
    batch: int = 40,
    effective: tuple[int, ...] = (10_000, 100_000, 1_000_000),
) -> Iterator[TimedRow]:
    """All rows, in the order of the table."""
    yield from level_rows(levels)
    yield from batch_rows(batch)
    yield from effective_rows(effective)
