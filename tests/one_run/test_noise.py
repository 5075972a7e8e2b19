"""AR(1) noise: closed forms against sums and dense matrices."""

import numpy as np
import pytest

from lossstats.one_run.noise import variance_inflation, whitening


@pytest.mark.parametrize(("phi", "n"), [(0.3, 20), (0.5, 100), (0.9, 1000), (-0.4, 11), (0.0, 7)])
def test_inflation_is_the_direct_sum(phi, n):
    # closed form against its definition: 1 + 2 sum (1 - k/n) phi^k
    k = np.arange(1, n)
    assert variance_inflation(phi, n) == pytest.approx(1 + 2 * np.sum((1 - k / n) * phi**k), rel=1e-12)


def dense_whitening(times, phi):
    lag = np.abs(np.subtract.outer(times, times))
    return np.linalg.cholesky(np.power(phi, lag))


@pytest.mark.parametrize(
    "times", [np.arange(12.0), np.array([0, 1, 2, 5, 6, 6.5, 7.75, 9, 10.0]), np.array([0, 1, 2, 7, 8, 9, 10, 11.0])]
)
def test_whitening_is_that_of_the_dense_covariance(times):
    # naive second implementation: Cholesky factor of the full covariance matrix
    noise = whitening(times, 1.0)
    y = np.random.default_rng(2).normal(size=(3, len(times)))
    z = noise(y)
    for p, phi in enumerate(noise.phi):
        if phi < 0:
            continue
        factor = dense_whitening(times, phi)
        assert np.allclose(z[p], np.linalg.solve(factor, y.T).T, atol=1e-10)
        log_det = np.log(np.diag(factor)).sum()
        expected = 0.75 * np.log(1 - phi**2) - log_det - 0.5 * np.log(noise.ones_squared[p])
        assert noise.log_weight[p] == pytest.approx(expected, rel=1e-10)


def test_negative_correlation_only_at_whole_spacings():
    assert whitening(np.arange(10.0), 1.0).phi.min() < 0
    assert whitening(np.array([0, 1, 2, 5, 6, 7.0]), 1.0).phi.min() < 0
    assert whitening(np.cumsum(np.full(10, 1.01) + 0.02 * np.arange(10)), 1.0).phi.min() > 0


def test_the_same_times_share_one_grid_and_the_unit_of_time_does_not_matter():
    t = np.arange(30) * 10.0
    assert whitening(t, 10.0) is whitening(t + 600, 10.0)
    assert np.allclose(whitening(t / 60, 10 / 60).ones, whitening(t, 10.0).ones, rtol=1e-12)


def test_thinning_keeps_whole_models():
    noise = whitening(np.arange(10.0), 1.0)
    few = noise.thinned(3)
    y = np.random.default_rng(3).normal(size=10)
    assert len(few.phi) == 4
    assert np.array_equal(few(y), noise(y)[1::3])
