"""First-order autoregressive noise, AR(1): whitening in closed form, and what it does to a mean."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

PHI_LOWEST, PHI_HIGHEST, PHI_COUNT = -0.25, 0.99, 12


def variance_inflation(phi: float, n: float) -> float:
    r"""Factor by which AR(1) noise inflates the variance of a mean of `n` samples.

    Parameters
    ----------
    phi : float
        Correlation of neighbouring samples, -1 < phi < 1.
    n : float
        Number of samples; infinity gives the limit (1 + phi)/(1 - phi).

    Returns
    -------
    float
        ``n var(mean) / variance of one sample``; ``n`` over it is the number of effective samples.

    References
    ----------
    Closed form: Anderson (1971), The Statistical Analysis of Time Series; von Storch and Zwiers (1999), 6.6.

    Examples
    --------
    >>> round(variance_inflation(0.5, 100), 12), variance_inflation(0.5, float("inf"))
    (2.96, 3.0)
    """
    limit = (1 + phi) / (1 - phi)
    if np.isinf(n):
        return float(limit)
    return float(limit - 2 * phi * (1 - phi**n) / (n * (1 - phi) ** 2))


@dataclass(frozen=True, eq=False)
class Whitening:
    """AR(1) noise models on one pattern of times: a grid of correlations `phi` between neighbouring blocks.

    AR(1) noise is Markov on any times, so whitening needs only the sample before:
    ``z[i] = (y[i] - rho y[i-1]) / sqrt(1 - rho**2)`` with ``rho = phi**lag``.

    Attributes
    ----------
    phi : ndarray, shape (p,)
        Correlation between samples one spacing apart.
    log_weight : ndarray, shape (p,)
        Logarithm of prior weight, minus half the log determinant, minus half the log of `ones_squared`.
    ones : ndarray, shape (p, m)
        The whitened constant.
    ones_squared : ndarray, shape (p,)
        Its squared length.
    """

    phi: NDArray[np.float64]
    log_weight: NDArray[np.float64]
    ones: NDArray[np.float64]
    ones_squared: NDArray[np.float64]
    _rho: NDArray[np.float64]
    _scale: NDArray[np.float64]

    def __call__(self, vectors: NDArray[np.float64]) -> NDArray[np.float64]:
        """Whiten vectors under every noise model.

        Parameters
        ----------
        vectors : ndarray, shape (m,) or (k, m)
            One or several series on the times of the pattern.

        Returns
        -------
        ndarray, shape (p, m) or (p, k, m)
            The whitened series.
        """
        shape = (slice(None), None, slice(None)) if vectors.ndim == 2 else (slice(None), slice(None))
        out = np.empty((len(self.phi), *vectors.shape))
        out[..., 0] = vectors[..., 0]
        np.multiply(self._rho[shape], vectors[..., :-1], out=out[..., 1:])
        np.subtract(vectors[..., 1:], out[..., 1:], out=out[..., 1:])
        out[..., 1:] *= self._scale[shape]
        return out

    def thinned(self, step: int) -> Whitening:
        """Every `step`-th noise model, for a first look.

        Parameters
        ----------
        step : int
            Keep every `step`-th.

        Returns
        -------
        Whitening
            A smaller grid.
        """
        pick = slice(step // 2, None, step)
        return Whitening(
            self.phi[pick],
            self.log_weight[pick],
            self.ones[pick],
            self.ones_squared[pick],
            self._rho[pick],
            self._scale[pick],
        )


def whitening(time_s: NDArray[np.float64], spacing_s: float) -> Whitening:
    """Make the noise models for a pattern of times; they are kept for the next run with the same pattern.

    Parameters
    ----------
    time_s : ndarray, shape (m,)
        Times in s.
    spacing_s : float
        Time between neighbouring samples for which `phi` stands.

    Returns
    -------
    Whitening
        Grid of noise models.
    """
    return _whitening_of_lags((np.diff(time_s) / spacing_s).tobytes())


@lru_cache(maxsize=64)
def _whitening_of_lags(lags: bytes) -> Whitening:
    lag = np.frombuffer(lags)
    whole = np.round(lag)
    regular = bool(np.all(np.abs(lag - whole) < 1e-6) and np.all(whole >= 1))
    # a negative correlation has no meaning at times that are not whole numbers of spacings apart
    lowest = PHI_LOWEST if regular else 0.0
    edges = np.linspace(np.arctanh(lowest), np.arctanh(PHI_HIGHEST), PHI_COUNT + 1)
    phi = np.tanh((edges[1:] + edges[:-1]) / 2)
    rho = phi[:, None] ** (whole if regular else lag)
    scale = 1 / np.sqrt(1 - rho**2)
    log_det = -np.log(scale).sum(1)
    prior = 0.75 * np.log1p(-(phi**2))  # density (1 - phi^2)^(-1/4) in phi, on a grid even in atanh(phi)
    plain = Whitening(phi, prior, np.empty(0), np.empty(0), rho, scale)
    ones = plain(np.ones(len(lag) + 1))
    squared = np.vecdot(ones, ones)
    return Whitening(phi, prior - log_det - 0.5 * np.log(squared), ones, squared, rho, scale)
