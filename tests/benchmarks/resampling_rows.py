"""Exact tests, bootstrap and power beside what a user would pick for them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from timed_row import TimedRow

from lossstats.comparison.comparison import compare_groups, compare_pairs
from lossstats.exact_tests.bootstrapping import bootstrap
from lossstats.exact_tests.resampling import permute_groups, sign_flip
from lossstats.planning.power import power_welch

STEP = 0.005


def readings(n: int, mean: float, seed: int) -> np.ndarray:
    """Unit values on a lattice of 0.005 W, scattering over some two hundred steps."""
    return np.round(np.random.default_rng(seed).normal(mean, 0.25, n) / STEP) * STEP


def named(values: np.ndarray) -> dict[str, float]:
    return {f"K{i:02d}": float(v) for i, v in enumerate(values)}


def mean_difference(x: np.ndarray, y: np.ndarray, axis: int = -1) -> np.ndarray:
    return x.mean(axis) - y.mean(axis)


def bootstrap_rows(resamples: int = 10_000) -> Iterator[TimedRow]:
    """BCa and exact against scipy, studentised against arch, for groups of 10 and 50 units."""
    from scipy import stats

    for n in (10, 50):
        x, y = readings(n, 7.0, 1), readings(n, 6.5, 2)
        units = named(x), named(y)

        def ours(method: str, units: Any = units) -> Any:
            return bootstrap(*units, statistic="difference", method=method, rng=1, resamples=resamples)

        def scipy(method: str, x: np.ndarray = x, y: np.ndarray = y) -> Any:
            return stats.bootstrap(
                (x, y), mean_difference, vectorized=True, method=method, n_resamples=resamples, rng=2
            )

        def near(a: Any, ends: tuple[float, float], scale: float = 1.0) -> bool:
            allowed = 20 / math.sqrt(resamples) * a.standard_uncertainty  # four times the scatter of two BCa limits
            centre = (a.low + a.high) / 2
            return all(
                abs(o - (centre + scale * (p - centre))) < allowed for o, p in zip((a.low, a.high), ends, strict=True)
            )

        yield TimedRow(
            f"bootstrap of a difference, BCa, {n} units a group", "scipy.stats.bootstrap",
            lambda ours=ours: ours("bca"), lambda scipy=scipy: scipy("BCa"),
            lambda ours=ours, scipy=scipy, near=near: near(ours("bca"), tuple(scipy("BCa").confidence_interval)), ">= 8",
        )  # fmt: skip
        yield TimedRow(
            f"the same, exact (infinitely many resamples), {n} units a group", "scipy.stats.bootstrap, percentile",
            lambda ours=ours: ours("exact"), lambda scipy=scipy: scipy("percentile"),
            lambda ours=ours, scipy=scipy, near=near: near(ours("exact"), tuple(scipy("percentile").confidence_interval)), ">= 2",
        )  # fmt: skip
        yield TimedRow(
            f"bootstrap of a difference, studentised, {n} units a group", "arch IndependentSamplesBootstrap",
            lambda ours=ours: ours("studentised"), lambda x=x, y=y: by_arch(x, y, resamples),
            lambda ours=ours, x=x, y=y, n=n, near=near: near(ours("studentised"), by_arch(x, y, resamples), math.sqrt(n / (n - 1))),
            ">= 200 at 10",
        )  # fmt: skip


def by_arch(x: np.ndarray, y: np.ndarray, resamples: int) -> tuple[float, float]:
    """Studentised interval of arch; it is narrower by sqrt((n - 1) / n), which `near` puts back."""
    from arch.bootstrap import IndependentSamplesBootstrap

    def difference(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.array([x.mean() - y.mean()])

    def error(_: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.array([math.sqrt(x.var(ddof=1) / len(x) + y.var(ddof=1) / len(y))])

    low, high = (
        IndependentSamplesBootstrap(x, y, seed=2)
        .conf_int(difference, resamples, method="studentized", std_err_func=error)
        .ravel()
    )
    return float(low), float(high)


def exact_rows(*, large: bool = True) -> Iterator[TimedRow]:
    """Exact p against scipy's enumeration; the sizes that it cannot reach, as times."""
    from scipy import stats

    def scipy(samples: tuple[np.ndarray, ...], statistic: Callable[..., Any], kind: str) -> float:
        return float(
            stats.permutation_test(
                samples, statistic, permutation_type=kind, vectorized=True, n_resamples=10**9, batch=10**6
            ).pvalue
        )

    for n, target, pairs in ((8, ">= 500", 7), (10, ">= 5 000", 5), (12, ">= 20 000", 1)):
        if n > 8 and not large:
            break
        x, y = readings(n, 7.0, 3), readings(n, 6.85, 4)
        yield TimedRow(
            f"exact permutation, {n} against {n}", "scipy.stats.permutation_test",
            lambda x=x, y=y: permute_groups(x, y).p_value,
            lambda x=x, y=y: scipy((x, y), mean_difference, "independent"),
            lambda x=x, y=y: permute_groups(x, y).p_value == scipy((x, y), mean_difference, "independent"), target, pairs,
        )  # fmt: skip
    n = 16 if large else 10
    d = readings(n, 0.1, 5)
    yield TimedRow(
        f"exact sign flip, {n} pairs", "scipy.stats.permutation_test", lambda: sign_flip(d).p_value,
        lambda: scipy((d,), np.mean, "samples"), lambda: sign_flip(d).p_value == scipy((d,), np.mean, "samples"), ">= 4 000",
    )  # fmt: skip
    x25, y25, d40, d6 = readings(25, 7.0, 6), readings(25, 6.9, 7), named(readings(40, 0.1, 8)), readings(6, 0.3, 9)
    for name, call, target in (
        ("exact permutation, 25 against 25", lambda: permute_groups(x25, y25), "< 50 ms"),
        ("the same with its 95 % interval", lambda: permute_groups(x25, y25).interval(), ""),
        ("exact sign flip, 40 pairs", lambda: sign_flip(d40), "< 1 ms"),
        ("the same with its 95 % interval", lambda: sign_flip(d40).interval(), ""),
        ("exact sign flip, 6 pairs", lambda: sign_flip(d6), "< 0.1 ms"),
        ("compare_pairs, 6 pairs, everything", lambda: compare_pairs(d6 + 7, d6 * 0 + 7), ""),
        (
            "compare_groups, 8 against 8, everything",
            lambda: compare_groups(readings(8, 7.0, 3), readings(8, 6.85, 4)),
            "",
        ),
    ):
        yield TimedRow(name, "", call, None, lambda call=call: bool(call()), target)


def power_rows(trials: int = 100_000) -> Iterator[TimedRow]:
    """Power of Welch's test by quadrature against simulating it, vectorised and in a loop."""
    from scipy import stats
    from statsmodels.stats.weightstats import ttest_ind

    def ours() -> float:
        return power_welch(1.0, 1.0, 10, 1.3, 10)

    def simulated() -> float:
        rng = np.random.default_rng(1)
        x, y = rng.normal(1.0, 1.0, (trials, 10)), rng.normal(0.0, 1.3, (trials, 10))
        return float(np.mean(stats.ttest_ind(x, y, axis=1, equal_var=False).pvalue < 0.05))

    def looped(number: int = 1000) -> float:
        rng = np.random.default_rng(2)
        x, y = rng.normal(1.0, 1.0, (number, 10)), rng.normal(0.0, 1.3, (number, 10))
        return float(np.mean([ttest_ind(a, b, usevar="unequal")[1] < 0.05 for a, b in zip(x, y, strict=True)]))

    def within(simulate: Callable[[], float], number: int) -> bool:
        exact = ours()
        return abs(simulate() - exact) < 4 * math.sqrt(exact * (1 - exact) / number)

    yield TimedRow(
        "power of Welch's test, 10 against 10",
        f"scipy ttest_ind(axis=1), {trials} trials",
        ours,
        simulated,
        lambda: within(simulated, trials),
        ">= 40",
    )
    yield TimedRow(
        "power of Welch's test, 10 against 10",
        "statsmodels ttest_ind, loop of 1000 trials",
        ours,
        looped,
        lambda: within(looped, 1000),
        "",
    )


def rows() -> Iterator[TimedRow]:
    """All rows, in the order of the table."""
    yield from bootstrap_rows()
    yield from exact_rows()
    yield from power_rows()
