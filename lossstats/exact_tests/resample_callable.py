"""Any statistic over bootstrap resamples: of units, of pairs, or of whole articles."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.exact_tests.lattice import Array

Statistic = Callable[..., Any]
Members = list[NDArray[np.intp]]
_BLOCK = 2**18  # values at a time


def median(sample: Array, axis: int = -1) -> Any:
    """Median along an axis, in the form that resampling calls a statistic.

    Parameters
    ----------
    sample : ndarray
        Values.
    axis : int, default -1
        Axis that is reduced.

    Returns
    -------
    ndarray
        Medians.
    """
    return np.median(sample, axis=axis)


def evaluate(statistic: Statistic, samples: tuple[Array, ...]) -> float:
    """Evaluate the statistic of the data themselves.

    Parameters
    ----------
    statistic : callable
        Called with one array a sample.
    samples : tuple of ndarray
        The data.

    Returns
    -------
    float
        Its value.

    Raises
    ------
    ValueError
        If it returns no finite number.
    """
    value = np.asarray(statistic(*samples), dtype=float)
    if value.ndim or not np.isfinite(value):
        raise ValueError(f"statistic: found {value} for the data themselves; accepted: one finite number")
    return float(value)


def resample_callable(
    statistic: Statistic,
    samples: tuple[Array, ...],
    members: list[Members] | None,
    resamples: int,
    generator: np.random.Generator,
    *,
    paired: bool,
) -> Array:
    """Evaluate a statistic of many resamples.

    Parameters
    ----------
    statistic : callable
        Called with one array a sample; if it takes `axis`, with resamples in rows and ``axis=-1``.
    samples : tuple of ndarray
        The data.
    members : list of lists of index arrays, or None
        For each sample the positions of each article's values, where whole articles are resampled.
    resamples : int
        How many.
    generator : Generator
        Source of randomness.
    paired : bool
        Whether the samples are resampled together.

    Returns
    -------
    ndarray, shape (resamples,)
        Values; the caller judges those that are not finite.
    """
    if members is not None:
        return np.array([_of_articles(statistic, samples, members, generator, paired=paired) for _ in range(resamples)])
    vectorised = takes_axis(statistic)
    block = max(1, _BLOCK // max(map(len, samples)))
    values = []
    for start in range(0, resamples, block):
        rows = min(block, resamples - start)
        drawn = _rows(samples, rows, generator, paired=paired)
        if vectorised:
            values.append(np.asarray(statistic(*drawn, axis=-1), dtype=float))
        else:
            values.append(np.array([float(statistic(*one)) for one in zip(*drawn, strict=True)]))
    return np.concatenate(values)


def takes_axis(statistic: Statistic) -> bool:
    """Whether a callable has a parameter `axis`, so that it can reduce many rows in one call.

    Parameters
    ----------
    statistic : callable
        Anything that can be called.

    Returns
    -------
    bool
        False as well where the signature cannot be read.
    """
    try:
        return "axis" in inspect.signature(statistic).parameters
    except ValueError:
        return False


def _rows(samples: tuple[Array, ...], rows: int, generator: np.random.Generator, *, paired: bool) -> list[Array]:
    if paired:
        picked = generator.integers(0, len(samples[0]), (rows, len(samples[0])))
        return [sample.take(picked) for sample in samples]
    return [sample.take(generator.integers(0, len(sample), (rows, len(sample)))) for sample in samples]


def _of_articles(
    statistic: Statistic,
    samples: tuple[Array, ...],
    members: list[Members],
    generator: np.random.Generator,
    *,
    paired: bool,
) -> float:
    picked = [generator.integers(0, len(groups), len(groups)) for groups in members[: 1 if paired else None]]
    if paired:
        picked *= len(members)
    drawn = [
        sample[np.concatenate([groups[i] for i in chosen])]
        for sample, groups, chosen in zip(samples, members, picked, strict=True)
    ]
    return float(statistic(*drawn))


def jackknife_callable(
    statistic: Statistic, samples: tuple[Array, ...], members: list[Members], *, paired: bool
) -> list[Array]:
    """Evaluate a statistic without each unit, pair or article in turn.

    Parameters
    ----------
    statistic : callable
        Called with one array a sample.
    samples : tuple of ndarray
        The data.
    members : list of lists of index arrays
        For each sample the positions of the values of each unit.
    paired : bool
        Whether a unit is left out of all samples together.

    Returns
    -------
    list of ndarray
        Values; one array for pairs, otherwise one a sample.
    """
    values = []
    for which, groups in enumerate(members[:1] if paired else members):
        left = []
        for group in groups:
            reduced = [np.delete(sample, group) if paired or i == which else sample for i, sample in enumerate(samples)]
            left.append(float(statistic(*reduced)))
        values.append(np.array(left))
    return values
