"""What Monte Carlo propagation found: one result an output, and the covariance of several outputs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.monte_carlo.coverage_interval import shortest_interval, symmetric_interval
from lossstats.monte_carlo.linear_validation import LinearValidation
from lossstats.records.estimate import Interval
from lossstats.records.rendering import Record, decimals_for, shown

Array = NDArray[np.float64]


@dataclass(frozen=True)
class MonteCarlo(Record):
    """What the draws of one output say.

    Attributes
    ----------
    value : float
        Mean of the draws, in `unit`.
    standard_uncertainty : float
        Their standard deviation, in `unit`.
    has_spread : bool
        False where an input has no finite standard deviation, so that the standard uncertainty means nothing.
    confidence : float
        Coverage probability of the intervals where no other is asked for.
    draws : int
        Number of draws.
    validation : LinearValidation
        May the linear interval be used, and to how many digits.
    output : str
        Name of the output.
    unit : str
        Its unit.
    seed : int or None
        The integer given as `rng`; None for a Generator.
    notes : tuple of str
        What a reader should know.
    """

    value: float
    standard_uncertainty: float
    has_spread: bool
    confidence: float
    draws: int
    validation: LinearValidation
    output: str
    unit: str
    seed: int | None
    notes: tuple[str, ...]
    _draws: Array = field(repr=False, compare=False)

    title = "Monte Carlo propagation"

    @property
    def supports_linear(self) -> bool | None:
        """Whether the linear interval agrees with the draws to the digits asked for.

        Returns
        -------
        bool or None
            None where that cannot be told; `validation` says why, and whether fewer digits hold.
        """
        return self.validation.supports_linear

    @cached_property
    def _rising(self) -> Array:
        # Sorted only where it is asked for: that takes as long as drawing. In place, so that memory does not double.
        self._draws.sort()
        return self._draws

    def symmetric(self, p: float | None = None) -> Interval:
        """Interval with as many draws below it as above it.

        Parameters
        ----------
        p : float, optional
            Coverage probability; the confidence of the result where left out.

        Returns
        -------
        Interval
            Its ends, in `unit` (JCGM 101, 7.7).

        Raises
        ------
        ValueError
            If `p` is not between 0 and 1, or the draws are too few for it.
        """
        if p is None or p == self.confidence:
            return self.validation.drawn
        return symmetric_interval(self._rising, p)

    def shortest(self, p: float | None = None) -> Interval:
        """Shortest interval with this coverage.

        Parameters
        ----------
        p : float, optional
            Coverage probability; the confidence of the result where left out.

        Returns
        -------
        Interval
            Its ends, in `unit` (JCGM 101, 7.7). Its position is less certain than its length.

        Raises
        ------
        ValueError
            If `p` is not between 0 and 1, or the draws are too few for it.
        """
        return shortest_interval(self._rising, self.confidence if p is None else p)

    def to_dict(self) -> dict[str, Any]:
        """Every public field, with both intervals, unrounded.

        Returns
        -------
        dict
            As for every result; without the draws themselves.
        """
        intervals = {"symmetric": list(self.symmetric()), "shortest": list(self.shortest())}
        return intervals | super().to_dict()

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(self.standard_uncertainty)

        def ends(interval: Interval) -> str:
            return f"{shown(interval.low, places)} to {shown(interval.high, places)} {self.unit}".rstrip()

        u = f"{shown(self.standard_uncertainty, places)} {self.unit}".rstrip()
        percent = f"{self.confidence * 100:g} %"
        rows = [
            (f"{percent} interval, symmetric", ends(self.symmetric())),
            (f"{percent} interval, shortest", ends(self.shortest())),
            (self.output, f"{shown(self.value, places)} {self.unit}".rstrip()),
            ("standard uncertainty", u if self.has_spread else f"none ({u} in these draws), see the notes"),
            ("draws", f"{self.draws:,}".replace(",", " ") + ("" if self.seed is None else f", seed {self.seed}")),
            ("linear interval", self.validation.words),
        ]
        return rows + [("note", note) for note in self.notes]


@dataclass(frozen=True)
class MonteCarloOutputs(Record, Mapping[str, MonteCarlo]):
    """What the draws of several outputs say; a mapping of the output's name to its result.

    Attributes
    ----------
    outputs : dict of str to MonteCarlo
        One result each.
    covariance : tuple of tuple of float
        Covariance matrix of the outputs, in their order (JCGM 102:2011, 7.6).
    notes : tuple of str
        What a reader should know of all of them.
    """

    outputs: dict[str, MonteCarlo]
    covariance: tuple[tuple[float, ...], ...]
    notes: tuple[str, ...]

    title = "Monte Carlo propagation"

    def __getitem__(self, name: str) -> MonteCarlo:
        """Result of one output."""
        if name not in self.outputs:
            raise KeyError(f"output: found {name!r}; accepted: {', '.join(self.outputs)}")
        return self.outputs[name]

    def __iter__(self) -> Iterator[str]:
        """Names of the outputs."""
        return iter(self.outputs)

    def __len__(self) -> int:
        """Count the outputs."""
        return len(self.outputs)

    @property
    def correlation(self) -> tuple[tuple[float, ...], ...]:
        """Correlation coefficients of the outputs.

        Returns
        -------
        tuple of tuple of float
            In the order of the outputs; 0 beside an output that does not move.
        """
        u = [result.standard_uncertainty for result in self.outputs.values()]
        return tuple(
            tuple(
                1.0 if i == j else min(max(covariance / (u[i] * u[j]), -1.0), 1.0) if u[i] * u[j] > 0 else 0.0
                for j, covariance in enumerate(row)
            )
            for i, row in enumerate(self.covariance)
        )

    def _rows(self) -> list[tuple[str, str]]:
        rows = []
        for name, result in self.outputs.items():
            places = decimals_for(result.standard_uncertainty)
            numbers = (result.value, result.standard_uncertainty, *result.symmetric())
            value, u, low, high = (shown(number, places) for number in numbers)
            u = u if result.has_spread else f"none ({u} in these draws)"
            text = f"{value}, u {u}, {result.confidence * 100:g} % interval {low} to {high} {result.unit}"
            rows.append((name, text.rstrip()))
            rows.append((f"{name}, linear interval", result.validation.words))
        names, matrix = list(self.outputs), self.correlation
        pairs = [(i, j) for i in range(len(names)) for j in range(i + 1, len(names))]
        rows += [(f"r({names[i]}, {names[j]})", shown(matrix[i][j], 3)) for i, j in pairs]
        return rows + [("note", note) for note in self.notes]
