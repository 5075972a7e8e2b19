"""Mean of a stationary stretch."""

import tracemalloc

import numpy as np
import pytest
from scipy.stats import t as student
from statsmodels.tsa.stattools import acf

from lossstats.one_run import stationary
from lossstats.one_run.noise import variance_inflation
from lossstats.one_run.stationary import lag_one, mean_of, standard_deviation, stationary_mean


def ar1(phi, n, seed=1):
    e = np.random.default_rng(seed).normal(size=n)
    x = np.empty(n)
    x[0] = e[0]
    for i in range(1, n):
        x[i] = phi * x[i - 1] + np.sqrt(1 - phi**2) * e[i]
    return x


def test_lag_one_is_that_of_statsmodels():
    y = ar1(0.6, 200)
    assert lag_one(y) == pytest.approx(acf(y, nlags=1, fft=False)[1], rel=1e-12)


def test_mean_and_standard_deviation_of_large_readings_keep_their_digits():
    y = 1e9 + np.array([0.1, 0.2, 0.3] * 100)
    assert mean_of(y) == pytest.approx(1e9 + 0.2, rel=1e-16)
    assert standard_deviation(y) == pytest.approx(np.std(np.array([0.1, 0.2, 0.3] * 100), ddof=1), rel=1e-6)


def candidates(y):
    """Naive second implementation: every estimate written out, slowly."""
    n, d = len(y), y - y.mean()
    count = max(3, int(0.4 * n ** (2 / 3)))
    angle = np.pi * (np.arange(n) + 0.5) / n
    cosines = [np.sqrt(2 / n) * np.sum(d * np.cos(k * angle)) for k in range(1, count + 1)]
    found = [(np.sqrt(np.mean(np.square(cosines)) / n), count)]
    size = 1
    while size == 1 or n // size >= 18:
        b = d[n % size :].reshape(-1, size).mean(1)
        m, e = len(b), b - b.mean()
        phi = min(max((m * (e[1:] @ e[:-1]) / (e @ e) + 1) / (m - 4), 0), 0.98)
        f = 1 + 2 * sum((1 - k / m) * phi**k for k in range(1, m))
        found.append((np.sqrt(e @ e / m / (1 - f / m) * f / m), max(m / f - 1, 2)))
        size *= 2
    return found


@pytest.mark.parametrize(("phi", "n"), [(0.0, 36), (0.6, 90), (0.9, 180), (0.3, 1500)])
def test_it_is_the_widest_of_the_estimates_written_out(phi, n):
    y = 5 + 0.02 * ar1(phi, n)
    u, dof = max(candidates(y), key=lambda c: c[0] * student.ppf(0.975, c[1]))
    mean = stationary_mean(y)
    assert mean.standard_uncertainty == pytest.approx(u, rel=1e-9)
    assert mean.degrees_of_freedom == pytest.approx(dof, rel=1e-9)
    assert mean.value == pytest.approx(y.mean(), rel=1e-14)


def test_effective_samples_follow_the_correlation():
    assert stationary_mean(ar1(0.0, 4000)).effective_samples == pytest.approx(4000, rel=0.6)
    expected = 4000 / variance_inflation(0.9, 4000)
    assert stationary_mean(ar1(0.9, 4000)).effective_samples == pytest.approx(expected, rel=0.6)


def test_a_slow_part_under_white_noise_is_seen_in_longer_averages():
    y = 0.3 * ar1(0.99, 4000, seed=2) + np.random.default_rng(3).normal(size=4000)
    mean = stationary_mean(y)
    assert mean.method != "AR(1)"
    assert mean.standard_uncertainty > 2 * y.std() / np.sqrt(4000)


def test_large_n_is_no_burden_on_the_digits():
    y = np.random.default_rng(5).normal(size=100_000)
    a, b = stationary_mean(y), stationary_mean(1e6 + y)
    assert b.value - 1e6 == pytest.approx(a.value, abs=1e-9)
    assert b.standard_uncertainty == pytest.approx(a.standard_uncertainty, rel=1e-8)


@pytest.mark.parametrize("n", [63, 64, 65, 128, 180, 1_000, 1_023, 2_049, 2_777])
def test_pieces_make_no_difference(n, monkeypatch):
    # pieces of 64 readings, so that every kind of end comes up in a short series
    monkeypatch.setattr(stationary, "PIECE", 64)
    monkeypatch.setattr(stationary, "MOST_COSINE_BLOCKS", 10_000)
    y = 5 + 0.02 * ar1(0.8, n, seed=n)
    found = sorted((u, dof) for u, dof, _ in stationary._candidates(y)[0])
    np.testing.assert_allclose(found, sorted(candidates(y)), rtol=1e-9)


def test_memory_does_not_grow_with_the_series():
    stationary_mean(ar1(0.0, 3_000))  # what is imported on the way stays out of the figure
    y = np.random.default_rng(6).normal(size=2_000_000)
    tracemalloc.start()
    stationary_mean(y)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 3e6  # the series takes 16 MB
