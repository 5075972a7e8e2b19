"""What is resampled: units, pairs, or whole articles with all their values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lossstats.exact_tests.checked_units import checked_units
from lossstats.exact_tests.lattice import Array
from lossstats.exact_tests.resample_callable import Members
from lossstats.exact_tests.resample_sums import Combination, Part
from lossstats.records.units import same_units


@dataclass(frozen=True, eq=False)
class Samples:
    """Checked samples.

    Attributes
    ----------
    values : tuple of ndarray
        One array a sample.
    paired : bool
        Whether all samples hold the same units in the same order.
    labels : tuple of lists, or None
        The article of each value, one list a sample.
    """

    values: tuple[Array, ...]
    paired: bool
    labels: tuple[list[Any], ...] | None = None

    @property
    def units(self) -> tuple[int, ...]:
        """Count the units resampled in each sample; pairs count once.

        Returns
        -------
        tuple of int
            One a sample.
        """
        counts = [len(v) for v in self.values] if self.labels is None else [len(set(names)) for names in self.labels]
        return tuple(counts[:1] if self.paired else counts)

    def differences(self) -> tuple[Array, ...]:
        """Subtract the second values of the pairs from the first.

        Returns
        -------
        tuple of ndarray
            One array.
        """
        return (self.values[0] - self.values[1],)

    def members(self) -> list[Members]:
        """List the positions of the values of each unit, sample by sample.

        Returns
        -------
        list of lists of ndarray
            Units in the order of their first value.
        """
        if self.labels is None:
            return [[np.array([i]) for i in range(len(v))] for v in self.values]
        groups = []
        for names in self.labels:
            positions: dict[Any, list[int]] = {}
            for i, name in enumerate(names):
                positions.setdefault(name, []).append(i)
            groups.append([np.array(p) for p in positions.values()])
        return groups

    def parts(self, statistic: Combination) -> tuple[list[Part], Combination]:
        """Write the samples as ratios of sums, and how they are combined.

        Parameters
        ----------
        statistic : {"mean", "difference", "ratio"}
            What is estimated.

        Returns
        -------
        tuple
            Parts, and the combination: a difference or ratio of pairs is one part.
        """
        if self.paired and statistic == "ratio":
            first, second = (self._sums(i) for i in (0, 1))
            return [Part(first, second)], "mean"
        if self.paired:
            return [Part(self._sums(0) - self._sums(1), self._counts(0))], "mean"
        return [Part(self._sums(i), self._counts(i)) for i in range(len(self.values))], statistic

    def _sums(self, sample: int) -> Array:
        values = self.values[sample]
        if self.labels is None:
            return values
        return np.array([values[group].sum() for group in self.members()[sample]])

    def _counts(self, sample: int) -> Array | None:
        if self.labels is None:
            return None
        return np.array([float(len(group)) for group in self.members()[sample]])


def read_samples(samples: Sequence[Any], *, paired: bool, clusters: Any) -> Samples:
    """Check the samples and the articles of their values.

    Parameters
    ----------
    samples : sequence
        As given to `bootstrap`.
    paired : bool
        Whether they hold the same units.
    clusters : sequence, pair of sequences, or None
        The article of each value.

    Returns
    -------
    Samples
        Checked.

    Raises
    ------
    TypeError
        If runs or samples of a run are passed as units.
    ValueError
        If there are fewer than two units, a value is not finite, pairs do not match, or the articles do not fit.
    """
    names = ["sample"] if len(samples) == 1 else [f"sample {i}" for i in range(1, len(samples) + 1)]
    if paired:
        for name, sample in zip(names[1:], samples[1:], strict=True):
            same_units(samples[0], sample, (names[0], name))
    if clusters is None:
        return Samples(tuple(checked_units(n, s) for n, s in zip(names, samples, strict=True)), paired)
    values = tuple(_finite(name, sample) for name, sample in zip(names, samples, strict=True))
    single = paired or len(samples) == 1
    labels = tuple([list(clusters)] * len(samples)) if single else tuple(list(part) for part in clusters)
    found = [len(part) for part in labels]
    if found != [len(v) for v in values]:
        raise ValueError(
            f"clusters: found {' and '.join(map(str, found))} names for {' and '.join(str(len(v)) for v in values)} "
            "values; accepted: the article of each value, for independent samples one list a sample"
        )
    if not single and set(labels[0]) & set(labels[1]):
        both = sorted(map(str, set(labels[0]) & set(labels[1])))
        raise ValueError(
            f"clusters: found {both[0]} in both samples; accepted: articles of one sample only, or one value an "
            "article and condition with paired=True"
        )
    if min(len(set(part)) for part in labels) < 2:
        raise ValueError("clusters: found 1 article in a sample; accepted: at least 2, since articles are resampled")
    return Samples(values, paired, labels)


def _finite(name: str, sample: Any) -> Array:
    values = np.asarray(list(sample), dtype=float)
    for position, value in enumerate(values, start=1):
        if not np.isfinite(value):
            raise ValueError(f"{name}: found {value} at position {position}; accepted: finite numbers")
    return values
