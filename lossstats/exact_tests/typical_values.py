"""Intervals that invert the exact tests: order statistics of the shifts at which a relabelling changes sides."""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from lossstats.exact_tests.lattice import Array, Integers, Lattice
from lossstats.exact_tests.subset_counts import Counter, cheaper, subset_sums

LISTED = 2**12  # up to so many relabellings the shifts are listed and sorted; beyond, counted
_GRID = 2**42  # off the lattice a limit is found to this part of the range


@dataclass(frozen=True, eq=False)
class TypicalValues:
    """The shifts at which one of the relabellings becomes as extreme as the labels themselves.

    For signs they are the means of all subsets of the differences; for two groups the mean differences of all
    pairs of equally large subsets, which a relabelling swaps (Hartigan, 1969, J. Am. Stat. Assoc. 64, 1303, from
    memory). If the true shift is c and nothing else differs, each gap between neighbours holds c with equal chance.

    Attributes
    ----------
    samples : tuple of ndarray
        The differences, or both groups.
    lattice : Lattice or None
        The same as whole numbers of steps.
    relabellings : int
        All of them; there is one typical value fewer.
    tolerance : float
        Sums of floats that differ by no more are equal.
    drawn : ndarray or None
        Typical values of drawn relabellings, where not all were counted.
    """

    samples: tuple[Array, ...]
    lattice: Lattice | None
    relabellings: int
    tolerance: float
    drawn: Array | None = None

    def limits(self, k: int) -> tuple[float, float]:
        """Find the k-th smallest and the k-th largest typical value.

        Parameters
        ----------
        k : int
            At least 1.

        Returns
        -------
        tuple of float
            On the lattice exact (a whole number of steps divided by a number of units, rounded once); listed
            ones to rounding; others to 2**-42 of the range.

        Raises
        ------
        ValueError
            If the counts would take too long.
        """
        if self.drawn is not None:
            return _of_sorted(self.drawn, k)
        if len(self.samples) == 1 and self.relabellings <= LISTED:
            return _of_sorted(_subset_means(self.samples[0]), k)
        # Whole numbers are compared as they are: a tolerance would take the sums off the whole numbers.
        counter = cheaper(self.lattice.steps, 0) if self.lattice else cheaper(self.samples, self.tolerance)
        if counter is None:
            raise ValueError(
                f"interval: found {self.relabellings} relabellings, too many to count shift by shift; accepted: a "
                "coarser lattice, or the interval of the comparison by t"
            )
        largest_rank = self.relabellings - k  # of the k-th largest among relabellings - 1, from below
        if self.lattice is None:
            low, high = _range(self.samples)
            unit = (high - low) / _GRID
            ends = [_kth_float(counter, rank, low, unit) for rank in (k, largest_rank)]
            return ends[0], ends[1]
        most = min(map(len, self.samples))
        exact = [_kth_rational(counter, rank, self.lattice.steps, most) for rank in (k, largest_rank)]
        return float(exact[0] * self.lattice.step), float(exact[1] * self.lattice.step)


def _of_sorted(values: Array, k: int) -> tuple[float, float]:
    ordered = np.sort(values)
    return float(ordered[k - 1]), float(ordered[-k])


def _subset_means(values: Array) -> Array:
    sums, sizes = subset_sums(values)[1:], subset_sums(np.ones(len(values)))[1:]
    return np.asarray(sums / sizes, dtype=float)


def _range(samples: tuple[Array, ...] | tuple[Integers, ...]) -> tuple[float, float]:
    """Bounds of all typical values."""
    first = samples[0]
    if len(samples) == 1:
        return first.min().item(), first.max().item()
    return (first.min() - samples[1].max()).item(), (first.max() - samples[1].min()).item()


def _kth_rational(counter: Counter, rank: int, steps: tuple[Integers, ...], most: int) -> Fraction:
    """Find a typical value by its rank: a sum of steps over a size of at most `most`, found exactly.

    On a grid of 1 / scale two such fractions never share a cell, so the cell where the count reaches the rank
    names the value.
    """
    scale = 2 * most * most
    low, high = (int(end) * scale for end in _range(steps))
    cell = low + bisect_left(range(low, high + 1), rank, key=lambda j: counter.at_most(0, j, scale) - 1)
    for size in range(1, most + 1):
        total = size * cell // scale
        if total * scale > size * (cell - 1):
            return Fraction(total, size)
    return Fraction(cell, scale)  # pragma: no cover - the cell holds a typical value


def _kth_float(counter: Counter, rank: int, low: float, unit: float) -> float:
    if unit == 0:
        return low
    cell = bisect_left(range(_GRID + 1), rank, key=lambda j: counter.at_most(0, low + j * unit) - 1)
    return low + cell * unit


def rank_for(confidence: float, relabellings: int) -> int:
    """Rank of the typical values that bound an interval.

    Parameters
    ----------
    confidence : float
        Between 0 and 1.
    relabellings : int
        Number of all relabellings.

    Returns
    -------
    int
        The largest k with a chance of at most half of 1 - confidence beyond either end; 0 if there is none.
    """
    # A number like (1 - 0.95) / 2 * 40 falls just short of 1; what is that close is meant to be it.
    share = Fraction((1 - confidence) / 2).limit_denominator(10**12)
    return math.floor(share * relabellings)
