"""Grubbs' test of the two highest or the two lowest means together, from its distribution."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from lossstats.components.nested_table import Array
from lossstats.components.outlier_tests import OUTLIER, STRAGGLER, OutlierTest, chance, deviations_of
from lossstats.records.argument_checks import whole_number

_ANGLES, _SHAPES = 100, 2000


def grubbs_pair_test(means: Array, names: Sequence[str], *, high: bool) -> OutlierTest:
    """Test whether the two highest or the two lowest means stand out together.

    Parameters
    ----------
    means : ndarray, shape (laboratories,)
        Four or more, not all equal.
    names : sequence of str
        Of the laboratories.
    high : bool
        The two highest, else the two lowest.

    Returns
    -------
    OutlierTest
        The statistic is the sum of squares without the two over that of all: small stands out.

    Raises
    ------
    ValueError
        If there are too few means, or they do not differ.

    Notes
    -----
    ISO 5725-2, 7.3.4.2 (from memory, recomputed). One neighbour hides another from the test of a single mean.
    """
    n, deviations, _ = deviations_of(means, 4)
    order = np.argsort(deviations if not high else -deviations, kind="stable")
    rest = deviations[order[2:]]
    statistic = float(np.sum((rest - rest.mean()) ** 2) / np.sum(deviations**2))
    p_value = chance(2 * _pair_chance(n, statistic))
    limits = [grubbs_pair_limit(n, alpha) for alpha in (STRAGGLER, OUTLIER)]
    suspects = tuple(names[int(place)] for place in order[:2])
    name = f"Grubbs, two {'highest' if high else 'lowest'} means"
    return OutlierTest(name, suspects, statistic, limits[0], limits[1], False, p_value)  # noqa: FBT003


@lru_cache(maxsize=64)
def grubbs_pair_limit(number: int, alpha: float) -> float:
    """Critical value of Grubbs' test of two means together, two-sided.

    Parameters
    ----------
    number : int
        Means, four or more.
    alpha : float
        Chance that one of the two statistics lies below, if all are alike and normal.

    Returns
    -------
    float
        Of the ratio of the sums of squares.

    Notes
    -----
    ISO 5725-2, table 5 (from memory, recomputed), which rests on the simulations of Grubbs and Beck (1972),
    Technometrics 14, 847. Here the distribution itself: see `_pair_chance`.

    Examples
    --------
    >>> round(grubbs_pair_limit(10, 0.05), 3)
    0.186
    """
    from scipy.optimize import brentq

    n = whole_number("number", number, 4)
    return float(brentq(lambda g: _pair_chance(n, g) - alpha / 2, 1e-12, 1 - 1e-9, xtol=1e-9))


def _pair_chance(n: int, ratio: float) -> float:
    """Chance that the sum of squares without the two highest of n is at most this share of that of all.

    For a given pair, the share r of the others is a beta variate of (n - 3) / 2 and 1, independent of the direction of
    the pair and of the shape of the others. The pair is the highest two where both lie above the highest of the others,
    that is, for r up to a bound set by direction and shape; pairs exclude each other, so the chance is n (n - 1) / 2
    times the mean of min(ratio, bound) ** ((n - 3) / 2). The mean goes over directions by quadrature and over shapes by
    draws from a fixed seed, since the highest of few residuals has no simple distribution.
    """
    bounds, sums, share = _pair_bounds(n)
    power = (n - 3) / 2
    below = int(np.searchsorted(bounds, ratio))
    mean = (float(sums[below]) + (len(bounds) - below) * ratio**power) / len(bounds)
    return float(n * (n - 1) / 2 * share * mean)


@lru_cache(maxsize=4)
def _pair_bounds(n: int) -> tuple[Array, Array, float]:
    """Bounds of r, sorted; running sums of their powers; share of the directions in which there is one."""
    # Distances of the two from the mean of the others, for a unit sum of squares of the pair: cos is the part of half
    # their sum, sin that of half their difference. The lower of the two lies above the others' mean up to `last`.
    along, across = math.sqrt(0.5 + 1 / (n - 2)), math.sqrt(0.5)
    last = math.atan2(along, across)
    angle = (np.arange(_ANGLES) + 0.5) * last / _ANGLES
    reach = np.cos(angle) * along - np.sin(angle) * across
    others = np.random.default_rng(n).normal(size=(_SHAPES, n - 2))
    others -= others.mean(axis=1, keepdims=True)
    others /= np.sqrt(np.sum(others**2, axis=1, keepdims=True))
    tops = np.concatenate([others.max(axis=1), -others.min(axis=1)])  # both signs of a draw are equally likely
    bounds = np.sort((reach[:, None] ** 2 / (reach[:, None] ** 2 + tops**2)).ravel())
    return bounds, np.concatenate([[0.0], np.cumsum(bounds ** ((n - 3) / 2))]), last / math.pi
