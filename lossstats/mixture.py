"""Mixtures of Student t distributions: probabilities, quantiles, and the (u, dof) that stand for one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import lgamma, log, pi

import numpy as np
from numpy.typing import NDArray

_NEGLIGIBLE = 1e-11
_SIGMA_68 = 0.8413447460685429  # standard normal probability below 1


@dataclass(frozen=True, eq=False)
class Mixture:
    """Weighted sum of t distributions with location `centre` and scale `scale`.

    Attributes
    ----------
    weight, centre, scale, dof : ndarray, shape (k,)
        Parts of the mixture; the weights add up to 1. A scale of 0 is a point.
    """

    weight: NDArray[np.float64]
    centre: NDArray[np.float64]
    scale: NDArray[np.float64]
    dof: NDArray[np.float64]

    def below(self, x: float) -> float:
        """Probability of a value at most `x`.

        Parameters
        ----------
        x : float
            The value.

        Returns
        -------
        float
            Probability.
        """
        from scipy.special import stdtr

        kept = self.weight > _NEGLIGIBLE * self.weight.max()
        centre, scale = self.centre[kept], self.scale[kept]
        spread = scale > 0
        part = (centre <= x).astype(float)
        part[spread] = stdtr(self.dof[kept][spread], (x - centre[spread]) / scale[spread])
        return float((self.weight[kept] * part).sum() / self.weight[kept].sum())

    def mean(self) -> float:
        """Mean of the mixture.

        Returns
        -------
        float
            Weighted mean of the centres.
        """
        return float((self.weight * self.centre).sum() / self.weight.sum())

    def quantiles(self, probabilities: Sequence[float]) -> NDArray[np.float64]:
        """Quantiles, converged to the last digits.

        Parameters
        ----------
        probabilities : sequence of float
            Each strictly between 0 and 1.

        Returns
        -------
        ndarray, shape (len(probabilities),)
            Quantiles.

        Raises
        ------
        ValueError
            If a part is a point (scale 0) and not negligible.

        Notes
        -----
        A first value from Wallace's normal approximation of the t distribution, then Newton's method on the exact
        distribution function, with bisection wherever a step leaves the bracket.
        """
        kept = self.weight > _NEGLIGIBLE * self.weight.max()
        parts = [a[kept] for a in (self.weight / self.weight[kept].sum(), self.centre, self.scale, self.dof)]
        if not (parts[2] > 0).all():
            raise ValueError("quantiles of a mixture: found a part of scale 0; accepted: scales above 0")
        p = np.asarray(probabilities, dtype=np.float64)
        middle = (parts[0] * parts[1]).sum()
        spread = float(np.sqrt((parts[0] * (parts[2] ** 2 + (parts[1] - middle) ** 2)).sum()))
        start = np.full(p.shape, middle)
        rough = _solve(p, start, spread, parts, _wallace, accuracy=1e-3)
        return _solve(p, rough, spread, parts, _student, accuracy=1e-7)


def _student(z: NDArray[np.float64], dof: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy.special import stdtr

    return np.asarray(stdtr(dof, z))


def _wallace(z: NDArray[np.float64], dof: NDArray[np.float64]) -> NDArray[np.float64]:
    """Wallace (1959): a normal approximation of the t distribution function, good to about 1e-4 from 8 dof on."""
    from scipy.special import ndtr

    root = (8 * dof + 1) / (8 * dof + 3) * np.sqrt(dof * np.log1p(z * z / dof))
    return np.asarray(ndtr(np.copysign(root, z)))


def _solve(p, x, spread, parts, distribution, *, accuracy):  # type: ignore[no-untyped-def]
    """Newton's method kept inside a bracket; one step after the steps are below `accuracy` x spread they are exact."""
    weight, centre, scale, dof = parts
    log_norm = np.array([lgamma((v + 1) / 2) - lgamma(v / 2) - 0.5 * log(v * pi) for v in np.unique(dof)])
    density_factor = weight / scale * np.exp(log_norm[np.searchsorted(np.unique(dof), dof)])
    reach = 60 * spread + np.abs(centre - x[:, None]).max()
    low, high = x - reach, x + reach
    for _ in range(200):
        z = (x[:, None] - centre) / scale
        excess = (weight * distribution(z, dof)).sum(1) - p
        density = (density_factor * (1 + z * z / dof) ** (-(dof + 1) / 2)).sum(1)
        low, high = np.where(excess < 0, x, low), np.where(excess >= 0, x, high)
        with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
            step = -excess / density
        small = np.abs(step) < accuracy * spread
        inside = (x + step > low) & (x + step < high) & (np.abs(step) < 3 * spread)
        x = np.where(small | inside, x + step, (low + high) / 2)
        if small.all():
            break
    return x


def standard_uncertainty_and_dof(half_68: float, half_95: float) -> tuple[float, float]:
    """The t distribution that has the 68 % and the 95 % half width of a posterior.

    Parameters
    ----------
    half_68, half_95 : float
        Half widths of the intervals of 68.27 % and 95 %.

    Returns
    -------
    tuple of float
        Standard uncertainty u and degrees of freedom nu (1 to 200) with ``t(nu, 95 %) u = half_95`` and, inside
        those limits, ``t(nu, 68 %) u = half_68``.
    """
    from scipy.optimize import brentq
    from scipy.special import stdtrit

    def excess(dof: float) -> float:
        return float(stdtrit(dof, 0.975) / stdtrit(dof, _SIGMA_68)) - half_95 / half_68

    if excess(1.0) <= 0:
        dof = 1.0
    elif excess(200.0) >= 0:
        dof = 200.0
    else:
        dof = float(brentq(excess, 1.0, 200.0, xtol=1e-12, rtol=1e-14))
    return half_95 / float(stdtrit(dof, 0.975)), dof
