"""Two of several conditions: their difference and the log of their ratio, each with what its uncertainty is made of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.comparison.contrast import Array, group_contrast, paired_contrast
from lossstats.comparison.saving import (
    Better,
    Floors,
    Options,
    Shared,
    SharedCovariance,
    SharedFit,
    percent_saving,
    scatter_of,
    shared_terms,
)
from lossstats.records.estimate import Spread, Term, combine, coverage_factor
from lossstats.several.conditions import Conditions
from lossstats.several.simultaneous import AllPairs, AnyCorrelation, Family, ManyToOne

# One error, the same in every comparison: whether the intervals hold together or one by one makes no difference to it.
_COMMON = ("gain", "zero", "drift origin")
# Differences of equal decimals scatter by this much of the values in floating point.
_ROUNDING = 1e-12


@dataclass(frozen=True)
class Request:
    """What the user asked for.

    Attributes
    ----------
    control : str or None
        Condition with which all others are compared; None: all pairs.
    confidence, matters, shared, level_uncertainty, resolution, better, unit
        As in `lossstats.rank_conditions`.
    """

    control: str | None
    confidence: float
    matters: float | None
    shared: Shared
    level_uncertainty: float
    resolution: float
    better: Better
    unit: str

    def options(self, n: tuple[int, int]) -> Options:
        """Give the options of one comparison of two conditions.

        Parameters
        ----------
        n : tuple of int
            Units in each.

        Returns
        -------
        Options
            Checked.
        """
        floors = Floors((1 / n[0], 1 / n[1]), self.level_uncertainty, self.resolution)
        return Options(self.confidence, self.matters, self.shared, floors, self.better, self.unit)


@dataclass(frozen=True, eq=False)
class Uncertain:
    """An estimate, with the part of its uncertainty that takes the factor of the family and the part that does not.

    Attributes
    ----------
    value : float
        The estimate.
    spread : Spread
        What the uncertainty is made of.
    confidence : float
        Decides whether scatter or its floor counts.
    """

    value: float
    spread: Spread
    confidence: float

    @property
    def separate(self) -> Term:
        """Scatter between units, and shared errors that do something else to every comparison (drift).

        Returns
        -------
        Term
            Combined, with effective degrees of freedom.
        """
        others = [term for name, term in self.spread.shared.items() if name not in _COMMON]
        return combine([self.spread.units(self.confidence), *others])

    @property
    def common(self) -> Term:
        """Combine the errors that are one and the same in all comparisons (gain).

        Returns
        -------
        Term
            Combined, with effective degrees of freedom.
        """
        return combine([term for name, term in self.spread.shared.items() if name in _COMMON])

    @property
    def by_readings(self) -> bool:
        """Whether the readings alone set the uncertainty, in place of a smaller scatter.

        Returns
        -------
        bool
            True if the floor counts.
        """
        return self.spread.units(self.confidence) != self.spread.scatter

    def half_width(self, factor: float) -> float:
        """Half of the simultaneous interval.

        Parameters
        ----------
        factor : float
            Of the family, for the separate part.

        Returns
        -------
        float
            Root of the sum of squares of the two half-widths.
        """
        u, common = self.separate.standard_uncertainty, self.common
        return math.hypot(factor * u, coverage_factor(common, self.confidence) * common.standard_uncertainty)


@dataclass(frozen=True, eq=False)
class Pair:
    """Two conditions side by side.

    Attributes
    ----------
    first, second : str
        Their names.
    difference : Uncertain
        First minus second where lower is better, else second minus first.
    log_ratio : Uncertain or None
        Of the second to the first; None where not asked for or without meaning.
    why_no_ratio : str
        Why `log_ratio` is None.
    """

    first: str
    second: str
    difference: Uncertain
    log_ratio: Uncertain | None
    why_no_ratio: str


def make_pairs(conditions: Conditions, request: Request) -> list[Pair]:
    """Take the conditions two by two: all pairs, or the control with each other one.

    Parameters
    ----------
    conditions : Conditions
        Unit values.
    request : Request
        What was asked for.

    Returns
    -------
    list of Pair
        In the order of the conditions.

    Raises
    ------
    ValueError
        If the units do not scatter and no floor is given, or a shared covariance has another shape than the cells.
    """
    names = conditions.names
    if request.control is None:
        wanted = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]
    else:
        wanted = [(request.control, name) for name in names if name != request.control]
    _check_shared(conditions, request.shared)
    _refuse_zero_scatter(conditions, request, wanted)
    return [_pair(conditions, request, first, second) for first, second in wanted]


def _pair(conditions: Conditions, request: Request, first: str, second: str) -> Pair:
    parts = conditions.values[first], conditions.values[second]
    n = len(parts[0]), len(parts[1])
    contrast = paired_contrast(n[0]) if conditions.blocks else group_contrast(*n)
    cells = np.concatenate(parts)
    shared = _shared_of(conditions, request.shared, first, second)
    options = request.options(n)
    spread = Spread(
        scatter_of(contrast, cells, shared),
        options.floors.of((1, 1)),
        shared_terms(shared, contrast, cells, parts),
        options.floors.parts((1, 1)),
    )
    difference = Uncertain(options.sign * contrast.value(cells), spread, request.confidence)
    if request.control is None:
        return Pair(first, second, difference, None, "no control was named")
    try:
        percent, why, _ = percent_saving(parts, contrast, cells, None, replace(options, shared=shared))
    except OverflowError:  # ends beyond the largest number
        percent, why = None, "a level is not clearly above zero, so a ratio means nothing"
    ratio = None if percent is None else Uncertain(percent._centre, percent._spread, request.confidence)
    return Pair(first, second, difference, ratio, why)


def _shared_of(conditions: Conditions, shared: Shared, first: str, second: str) -> dict[str, Any]:
    """Shared errors of two conditions: of a covariance, the cells of these two."""
    where = conditions.slices()
    cells = np.r_[where[first], where[second]]
    return {name: _part_of(given, cells) for name, given in shared.items()}


def _part_of(given: Any, cells: NDArray[np.int64]) -> Any:
    """What of a shared error concerns these cells; errors without a cell of their own concern all alike."""
    if isinstance(given, SharedCovariance):
        return SharedCovariance(given.covariance[np.ix_(cells, cells)], given.degrees_of_freedom)
    if isinstance(given, SharedFit):
        return SharedFit(given.pattern[cells], given.fit)
    return given


def _check_shared(conditions: Conditions, shared: Shared) -> None:
    cells = sum(conditions.n.values())
    for name, given in shared.items():
        if isinstance(given, SharedCovariance) and np.shape(given.covariance) != (cells, cells):
            raise ValueError(
                f"shared[{name!r}]: found a covariance of shape {np.shape(given.covariance)}; accepted: "
                f"{(cells, cells)}, the cells of all conditions in order"
            )


def _refuse_zero_scatter(conditions: Conditions, request: Request, wanted: Sequence[tuple[str, str]]) -> None:
    if request.level_uncertainty > 0 or request.resolution > 0:
        return
    accepted = (
        "accepted: give resolution= (the display step) or level_uncertainty=, since readings on a coarse scale may "
        "agree by rounding alone"
    )
    values = conditions.values
    if not conditions.blocks:
        for name, found in values.items():
            if np.ptp(found) == 0:
                raise ValueError(
                    f"{name}: the units do not scatter at all: found a standard deviation of 0; {accepted}"
                )
        return
    for first, second in wanted:
        if np.ptp(values[first] - values[second]) <= _ROUNDING * np.abs(values[first]).max():
            raise ValueError(
                f"{first}, {second}: the differences within articles do not scatter at all: found a standard deviation "
                f"of 0; {accepted}"
            )


def family_of(conditions: Conditions, control: str | None, parts: Sequence[Uncertain], scale: float = 1.0) -> Family:
    """Choose how the intervals are made to hold together; the design decides.

    Parameters
    ----------
    conditions : Conditions
        Unit values.
    control : str or None
        Condition with which all others are compared.
    parts : sequence of Uncertain
        The comparisons.
    scale : float, default 1
        Turns the uncertainty of the mean of the control into that of the comparisons: 1 / mean for log ratios.

    Returns
    -------
    Family
        Blocks: correlations unknown. Independent: all pairs, or many to one.
    """
    if conditions.blocks:
        return AnyCorrelation(len(parts))
    if control is None:
        return AllPairs(len(conditions.names))
    return ManyToOne(_loadings(conditions.values[control], parts, scale))


def _loadings(control: Array, parts: Sequence[Uncertain], scale: float) -> tuple[float, ...]:
    # What the comparisons share is the scatter of the control alone; drift and floors count as not shared, which
    # makes the correlation smaller and the intervals wider.
    of_control = scale * float(np.std(control, ddof=1)) / math.sqrt(len(control))
    return tuple(min(1.0, of_control / part.separate.standard_uncertainty) for part in parts)
