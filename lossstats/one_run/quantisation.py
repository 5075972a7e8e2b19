"""What the display step of the readings adds to the uncertainty of a level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

SIDE_OF_95 = 0.95 * 3**0.5  # 95 % half width of a rectangular distribution, in standard uncertainties
LOOKED_AT = 5000


def rounding_uncertainty(step: float, noise_sd: float) -> float:
    r"""Give the standard uncertainty of a mean of rounded readings that comes from the rounding.

    Parameters
    ----------
    step : float
        Display step q.
    noise_sd : float
        Standard deviation of the noise before rounding.

    Returns
    -------
    float
        Root mean square, over all places of the true level between two codes, of the bias that rounding leaves in the
        mean: q/sqrt(12) without noise (JCGM 100, F.2.2.1), next to nothing once the noise exceeds half a step.

    Notes
    -----
    With r the noise in steps, ``u^2 = q^2 sum_k exp(-4 pi^2 k^2 r^2) / (2 pi^2 k^2)``: the Fourier series of the mean
    of a rounded normal variable about its true mean.

    Examples
    --------
    >>> round(rounding_uncertainty(1.0, 0.0), 4), round(rounding_uncertainty(1.0, 0.3), 3)
    (0.2887, 0.038)
    """
    if step <= 0:
        return 0.0
    r = noise_sd / step
    if r < 1e-4:
        return float(step / np.sqrt(12))
    k = np.arange(1, int(np.ceil(1 / r)) + 2)
    return float(step * np.sqrt(np.sum(np.exp(-((2 * np.pi * k * r) ** 2)) / (2 * (np.pi * k) ** 2))))


def two_codes_at_most(values: NDArray[np.float64], step: float) -> bool:
    """Whether readings show one or two display codes only.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Readings.
    step : float
        Display step, above 0.

    Returns
    -------
    bool
        False from the third code on.
    """
    low, high = values.min(), values.max()
    return bool(np.all((values - low < step / 2) | (high - values < step / 2)))


def resolution_component(
    values: NDArray[np.float64], residuals: NDArray[np.float64], step: float, degrees_of_freedom: float
) -> float:
    """Give the standard uncertainty from the display step, the noise being known from the readings only.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Readings of the settled part.
    residuals : ndarray, shape (n,)
        The same, less the fitted curve.
    step : float
        Display step; 0 gives 0.
    degrees_of_freedom : float
        Of the variance of the residuals.

    Returns
    -------
    float
        Standard uncertainty.

    Notes
    -----
    The noise before rounding is taken at its lower 10 % bound, less the variance q^2/12 of rounding (Sheppard 1898);
    with fewer than three codes it is taken as none.
    """
    from scipy.special import chdtri

    if step <= 0:
        return 0.0
    if two_codes_at_most(values, step):
        return float(step / np.sqrt(12))
    dof = min(max(degrees_of_freedom, 1.0), 1e6)
    variance = float(np.var(residuals, ddof=1)) * dof / float(chdtri(dof, 0.10)) - step**2 / 12
    return rounding_uncertainty(step, float(np.sqrt(max(variance, 0.0))))


def display_step(values: NDArray[np.float64]) -> float:
    """Find the step of the lattice on which readings lie, judged from the last 5000.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Readings.

    Returns
    -------
    float
        The step, or 0 where there is no common step, or hardly a reading occurs twice.
    """
    looked_at = values[-LOOKED_AT:]
    distinct = np.unique(looked_at)
    if not 2 <= len(distinct) < 0.8 * len(looked_at):
        return 0.0
    gaps = np.diff(distinct)
    gaps = gaps[gaps > 1e-9 * max(float(np.abs(distinct).max()), 1e-300)]
    if not len(gaps):
        return 0.0
    multiples = gaps / gaps.min()
    on_lattice = np.abs(multiples - np.round(multiples)) < 1e-3 * multiples
    return float(gaps.min()) if on_lattice.all() else 0.0
