"""Monte Carlo propagation of six inputs beside whole arrays of numpy, and beside drawing the normals alone."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

import numpy as np
from timed_row import TimedRow

from lossstats.budgets.source import Source
from lossstats.monte_carlo.monte_carlo import propagate_monte_carlo

DRAWS = 1_000_000
MEANS = {"a": 7.0, "b": 3.0, "c": 5.0, "d": 2.0, "e": 4.0, "f": 1.0}
U = 0.1
R = 0.5
Row = partial(TimedRow, pairs=9)


def cheap(a: Any, b: Any, c: Any, d: Any, e: Any, f: Any) -> Any:
    """Model that costs next to nothing: two shaft powers and two corrections."""
    return a * b - c * d + e - f


def ours(draws: int, *, workers: int = 1, correlated: bool = False) -> Any:
    inputs = {name: Source.normal(U, value=mean) for name, mean in MEANS.items()}
    correlation = {("a", "c"): R} if correlated else None
    return propagate_monte_carlo(cheap, inputs, correlation=correlation, draws=draws, rng=1, workers=workers)


def whole_arrays(draws: int) -> tuple[float, float, float, float]:
    rng = np.random.default_rng(2)
    return summary(cheap(*(rng.normal(mean, U, draws) for mean in MEANS.values())))


def multivariate(draws: int) -> tuple[float, float, float, float]:
    covariance = np.eye(6) * U**2
    covariance[0, 2] = covariance[2, 0] = R * U**2
    points = np.random.default_rng(3).multivariate_normal(list(MEANS.values()), covariance, draws)
    return summary(cheap(*points.T))


def normals_alone(draws: int) -> None:
    """As many normals from the same generator, into a buffer that stays in cache: nothing can be quicker."""
    rng, buffer = np.random.Generator(np.random.SFC64(4)), np.empty(1 << 14)
    for _ in range(6 * draws // len(buffer)):
        rng.standard_normal(out=buffer)


def summary(values: np.ndarray) -> tuple[float, float, float, float]:
    return (float(values.mean()), float(values.std(ddof=1)), *np.quantile(values, [0.025, 0.975]).tolist())


def near(result: Any, peer: tuple[float, float, float, float]) -> bool:
    """Within five standard deviations of what the draws of both leave open."""
    found = (result.value, result.standard_uncertainty, *result.symmetric())
    allowed = 5 * np.sqrt(2 / result.draws) * result.standard_uncertainty * np.array([1.0, 0.71, 2.7, 2.7])
    return bool((np.abs(np.subtract(found, peer)) < allowed).all())


def rows(draws: int = DRAWS) -> Iterator[TimedRow]:
    """Value, u, symmetric interval and the comparison with linear propagation, against value, u and interval."""
    yield Row(
        f"Monte Carlo, {draws} draws of six normal inputs", "numpy, whole arrays",
        lambda: ours(draws), lambda: whole_arrays(draws),
        lambda: near(ours(draws), whole_arrays(draws)), ">= 1.2",
    )  # fmt: skip
    yield Row(
        "the same, two of them correlated", "numpy multivariate_normal",
        lambda: ours(draws, correlated=True), lambda: multivariate(draws),
        lambda: near(ours(draws, correlated=True), multivariate(draws)), ">= 1.5",
    )  # fmt: skip
    yield Row(
        "the same, uncorrelated", "drawing the normals alone",
        lambda: ours(draws), lambda: normals_alone(draws),
        lambda: True, ">= 0.56 (1.8 times)",
    )  # fmt: skip
    yield Row(
        "the same, two threads", "one thread",
        lambda: ours(draws, workers=2), lambda: ours(draws),
        lambda: ours(draws, workers=2) == ours(draws), ">= 1.5 with two free cores",
    )  # fmt: skip
