"""Coverage intervals of sorted draws: probabilistically symmetric and shortest (JCGM 101, 7.7)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from lossstats.records.argument_checks import open_share, refuse
from lossstats.records.estimate import Interval

Array = NDArray[np.float64]

_MANY = 1 << 17  # draws from which on it pays to look at the ends alone
_SAMPLE = 1 << 13


def symmetric_interval(draws: Array, p: float) -> Interval:
    """Interval with as many draws below it as above it.

    Parameters
    ----------
    draws : numpy.ndarray
        In any order.
    p : float
        Coverage probability, between 0 and 1.

    Returns
    -------
    Interval
        Its ends, two of the draws.

    Raises
    ------
    ValueError
        If the draws are too few for this probability.

    Notes
    -----
    JCGM 101:2008, 7.7 (from memory).

    Examples
    --------
    >>> symmetric_interval(np.arange(1000.0, 0.0, -1.0), 0.95)
    Interval(low=25.0, high=975.0)
    """
    return Interval(*_at_ranks(draws, _symmetric_ranks(len(draws), p)))


def symmetric_with_errors(draws: Array, p: float) -> tuple[Interval, Interval]:
    """Symmetric interval, and the standard deviations of its ends from the finite number of draws.

    Parameters
    ----------
    draws : numpy.ndarray
        In any order.
    p : float
        Coverage probability, between 0 and 1.

    Returns
    -------
    interval : Interval
        Its ends, two of the draws.
    errors : Interval
        Standard deviation of the lower and of the upper end.

    Raises
    ------
    ValueError
        If the draws are too few for this probability.

    Notes
    -----
    The number of draws below an end is binomial; the draws one standard deviation of that number away on either side
    tell how far the end moves.
    """
    number = len(draws)
    low, high = _symmetric_ranks(number, p)
    away = max(1, round(math.sqrt(number * (1 - p) / 2 * (1 + p) / 2)))
    around = [max(0, low - away), low + away, high - away, min(number - 1, high + away)]
    ends = _at_ranks(draws, [low, high, *around])
    return Interval(*ends[:2]), Interval((ends[3] - ends[2]) / 2, (ends[5] - ends[4]) / 2)


def shortest_interval(draws: Array, p: float) -> Interval:
    """Shortest interval with the coverage wanted.

    Parameters
    ----------
    draws : numpy.ndarray
        In any order; sorted ones are not sorted again.
    p : float
        Coverage probability, between 0 and 1.

    Returns
    -------
    Interval
        Its ends, two of the draws. Its length is well determined; its position much less, because the length hardly
        changes as the interval is shifted.

    Raises
    ------
    ValueError
        If the draws are too few for this probability.

    Notes
    -----
    JCGM 101:2008, 7.7 and 5.3.4 (from memory); meant for distributions with one peak. Of equally short ones the lowest.

    Examples
    --------
    >>> shortest_interval(np.arange(1000.0) ** 2, 0.9)
    Interval(low=0.0, high=810000.0)
    """
    inside = _inside(len(draws), p)
    rising = np.sort(draws) if bool(np.any(draws[1:] < draws[:-1])) else draws
    first = int(np.argmin(rising[inside:] - rising[: len(rising) - inside]))
    return Interval(float(rising[first]), float(rising[first + inside]))


def _symmetric_ranks(number: int, p: float) -> list[int]:
    inside = _inside(number, p)
    r = (number - inside + 1) // 2  # (M - q) / 2, or the integer part of (M - q + 1) / 2; counted from 1
    return [r - 1, r - 1 + inside]


def _inside(number: int, p: float) -> int:
    """Steps of rank that the interval spans, q of 7.7."""
    p = open_share("p", p)
    inside = int(p * number + 0.5)
    if number - inside < 2 or inside < 1:
        refuse("draws", number, f"more draws for p = {p:g}, at least {math.ceil(2 / min(p, 1 - p))}")
    return inside


def _at_ranks(draws: Array, ranks: list[int]) -> list[float]:
    """Draws of these ranks, counted from 0; putting a few in their place is quicker than sorting all."""
    middle = len(draws) // 2
    low, high = [r for r in ranks if r < middle], [r for r in ranks if r >= middle]
    found: dict[int, float] = {}
    for group, part, before in ((low, *_lower_part(draws, max(low, default=0))), (high, *_upper_part(draws, high))):
        places = [r - before for r in group]
        if places:
            found |= dict(zip(group, np.partition(part, sorted(set(places)))[places].tolist(), strict=True))
    return [found[r] for r in ranks]


def _lower_part(draws: Array, rank: int) -> tuple[Array, int]:
    """Some of the lowest draws, those up to `rank` among them; only these need to be put in order."""
    if len(draws) >= _MANY:
        part = draws[draws < _sampled(draws, rank / len(draws), 1)]
        if len(part) > rank:
            return part, 0
    return draws, 0


def _upper_part(draws: Array, ranks: list[int]) -> tuple[Array, int]:
    """Some of the highest draws, those from the least of `ranks` among them, and how many lie before."""
    if len(draws) >= _MANY and ranks:
        part = draws[draws > _sampled(draws, min(ranks) / len(draws), -1)]
        if len(draws) - len(part) <= min(ranks):
            return part, len(draws) - len(part)
    return draws, 0


def _sampled(draws: Array, fraction: float, side: int) -> float:
    """A quantile of every so many draws, five standard deviations to the side that makes a part too large."""
    sample = np.sort(draws[:: len(draws) // _SAMPLE])
    number = len(sample)
    place = number * fraction + side * (5 * math.sqrt(number * fraction * (1 - fraction)) + 5)
    return float(sample[min(max(int(place), 0), number - 1)])
