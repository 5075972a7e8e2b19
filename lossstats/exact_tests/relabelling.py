"""Relabellings drawn at random, where there are too many to count."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lossstats.exact_tests.lattice import Array

_TIE = 1e-11
_BLOCK = 2**14  # relabellings at a time


class Draw(NamedTuple):
    """What the drawn relabellings showed."""

    hits: int
    drawn: int
    typical: Array
    seed: int | None


def draw_signs(differences: Array, number: int, rng: np.random.Generator | int | None) -> Draw:
    """Draw sign patterns of paired differences.

    Parameters
    ----------
    differences : ndarray, shape (n,)
        One a pair.
    number : int
        Patterns to draw, with replacement.
    rng : Generator or int
        Source of randomness.

    Returns
    -------
    Draw
        Patterns with a sum at least as large in size, and the mean of the turned differences of each pattern
        (the whole mean where none is turned, a pattern that bounds nothing).
    """
    generator = np.random.default_rng(rng)
    observed, slack = abs(float(differences.sum())), _TIE * float(np.abs(differences).sum())
    hits, typical = 0, []
    for size in _blocks(number):
        turned = generator.integers(0, 2, (size, len(differences)), dtype=np.int8).astype(bool)
        sums = turned @ differences
        hits += int(np.count_nonzero(np.abs(differences.sum() - 2 * sums) >= observed - slack))
        typical.append(_means(sums, turned.sum(axis=1), float(differences.mean())))
    return Draw(hits, number, np.concatenate(typical), rng if isinstance(rng, int) else None)


def draw_allocations(a: Array, b: Array, number: int, rng: np.random.Generator | int | None) -> Draw:
    """Draw allocations of the units to two groups.

    Parameters
    ----------
    a, b : ndarray
        One value a unit, less the mean of all.
    number : int
        Allocations to draw, with replacement.
    rng : Generator or int
        Source of randomness.

    Returns
    -------
    Draw
        Allocations with a mean difference at least as large in size, and the mean difference of the units that
        each one swaps.
    """
    generator = np.random.default_rng(rng)
    pooled, n = np.concatenate([a, b]), len(a)
    observed, slack = abs(float(a.sum())), _TIE * float(np.abs(pooled).sum())
    first = np.arange(len(pooled)) < n
    hits, typical = 0, []
    for size in _blocks(number):
        inside = generator.permuted(np.broadcast_to(first, (size, len(pooled))), axis=1)
        hits += int(np.count_nonzero(np.abs(inside @ pooled) >= observed - slack))
        leaving, entering = first & ~inside, ~first & inside
        typical.append(_means(leaving @ pooled - entering @ pooled, leaving.sum(axis=1), float(a.mean() - b.mean())))
    return Draw(hits, number, np.concatenate(typical), rng if isinstance(rng, int) else None)


def _blocks(number: int) -> list[int]:
    whole, rest = divmod(number, _BLOCK)
    return [_BLOCK] * whole + [rest] * (rest > 0)


def _means(sums: Array, sizes: NDArray[np.int64], where_none: float) -> Array:
    return np.where(sizes > 0, sums / np.maximum(sizes, 1), where_none)
