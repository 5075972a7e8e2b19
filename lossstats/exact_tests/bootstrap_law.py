"""The bootstrap with infinitely many resamples: the law of a resampled mean, for values on a lattice."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np

from lossstats.exact_tests.lattice import Array, Integers, Lattice

MOST_CELLS = 4_000_000
_TIE = 1e-12  # a cumulated probability that is short of the level by less has reached it, on every machine
_NOISE = 1e-15  # rounding of the transform


def exact_limits(lattice: Lattice, confidence: float) -> tuple[float, float]:
    """Compute the limits of the exact percentile bootstrap of a mean or of a difference of two means.

    Parameters
    ----------
    lattice : Lattice
        One sample, or two independent ones.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    tuple of float
        The greatest value with at most half of 1 - confidence below it, and the least with at most half above.

    Raises
    ------
    ValueError
        If the law has more than 4 million steps.

    Notes
    -----
    The sum of a resample of n values has the n-fold convolution of the sample's own law: the n-th power of its
    Fourier transform. For groups of n and m units the difference of means is (m' X - n' Y) / lcm(n, m), with m'
    and n' what is left of m and n without their greatest common divisor. No seed and no sampling error. Ties are
    broken with a margin of 1e-12, so that every machine returns the same step.
    """
    numbers = [len(steps) for steps in lattice.steps]
    common = math.lcm(*numbers)
    signed = [sign * (common // n) * steps for sign, n, steps in zip((1, -1), numbers, lattice.steps, strict=False)]
    least = [int(steps.min()) for steps in signed]
    raised = [steps - low for steps, low in zip(signed, least, strict=True)]
    divisor = int(np.gcd.reduce(np.concatenate(raised))) or 1
    law = _sum_law([steps // divisor for steps in raised])
    tail = (1 - confidence) / 2 * (1 - _TIE)
    low = int(np.searchsorted(np.cumsum(law), tail))
    high = len(law) - 1 - int(np.searchsorted(np.cumsum(law[::-1]), tail))
    start = sum(n * lowest for n, lowest in zip(numbers, least, strict=True))
    ends = [(start + divisor * cell) * lattice.step / common for cell in (low, high)]
    return float(ends[0]), float(ends[1])


def _sum_law(samples: list[Integers]) -> Array:
    """Probabilities of 0, 1, 2 … for the sum of a resample of each sample."""
    from scipy.fft import irfft, next_fast_len, rfft

    cells = 1 + sum(len(steps) * int(steps.max()) for steps in samples)
    if cells > MOST_CELLS:
        raise ValueError(
            f"method: found 'exact' with {cells} possible sums; accepted: at most {MOST_CELLS}; "
            "otherwise 'percentile' with resamples= and rng="
        )
    length = next_fast_len(cells, real=True)
    transform = np.ones(length // 2 + 1, complex)
    for steps in samples:
        transform *= rfft(np.bincount(steps) / len(steps), length) ** len(steps)
    law = np.asarray(irfft(transform, length))[:cells]
    law[law < _NOISE] = 0.0
    return law


def exact_uncertainty(lattice: Lattice) -> float:
    """Standard deviation of that law, which is known in closed form.

    Parameters
    ----------
    lattice : Lattice
        One sample, or two independent ones.

    Returns
    -------
    float
        The plug-in standard error: divisor n, not n - 1, within each sample.
    """
    total = Fraction(0)
    for steps in lattice.steps:
        n = len(steps)
        total += Fraction(int(n * (steps.astype(object) ** 2).sum() - int(steps.sum()) ** 2), n**3)
    return math.sqrt(total) * float(lattice.step)
