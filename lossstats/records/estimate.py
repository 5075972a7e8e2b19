"""A number with its interval: scatter between units, its floor, and the terms that scatter cannot show."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

from lossstats.records.rendering import Record, decimals_for, shown, shown_dof


class Interval(NamedTuple):
    """Ends of a coverage interval."""

    low: float
    high: float


class Term(NamedTuple):
    """One contribution to an uncertainty: standard uncertainty and degrees of freedom."""

    standard_uncertainty: float
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True)
class Spread:
    """What the uncertainty of an estimate is made of, by named source.

    Attributes
    ----------
    scatter : Term
        Type A: what the units show.
    floor : float
        Standard uncertainty that the readings alone would cause; scatter that happens to be smaller is not
        believed. It is never added: the scatter between units already contains it.
    shared : dict of str to Term
        Errors common to the units, which their scatter cannot contain (gain, zero, drift).
    floor_parts : dict of str to float
        The floor by source, where that is known; for the budget only.
    """

    scatter: Term
    floor: float = 0.0
    shared: dict[str, Term] = field(default_factory=dict)
    floor_parts: dict[str, float] = field(default_factory=dict)

    def units(self, confidence: float) -> Term:
        """Scatter or its floor, whichever gives the wider interval at this confidence.

        Parameters
        ----------
        confidence : float
            Between 0 and 1.

        Returns
        -------
        Term
            The wider of the two; the floor has infinite degrees of freedom.
        """
        by_floor = Term(self.floor)
        return max(
            self.scatter, by_floor, key=lambda term: coverage_factor(term, confidence) * term.standard_uncertainty
        )

    def combined(self, confidence: float) -> Term:
        """All contributions in quadrature, with effective degrees of freedom (JCGM 100, equations 10 and G.2b).

        Parameters
        ----------
        confidence : float
            Between 0 and 1; decides whether scatter or its floor counts.

        Returns
        -------
        Term
            Combined standard uncertainty; degrees of freedom not truncated to an integer.
        """
        return combine([self.units(confidence), *self.shared.values()])

    def components(self, confidence: float) -> dict[str, float]:
        """Standard uncertainty by source, as they enter the combination.

        Parameters
        ----------
        confidence : float
            Between 0 and 1.

        Returns
        -------
        dict of str to float
            Name of the source to its standard uncertainty.
        """
        units = self.units(confidence)
        name = "scatter" if units == self.scatter else "readings"
        return {name: units.standard_uncertainty, **{k: t.standard_uncertainty for k, t in self.shared.items()}}


def combine(terms: list[Term]) -> Term:
    """Independent contributions in quadrature, Welch-Satterthwaite degrees of freedom.

    Parameters
    ----------
    terms : list of Term
        Contributions to one result, each already multiplied by its sensitivity.

    Returns
    -------
    Term
        Combined standard uncertainty and effective degrees of freedom (not truncated; JCGM 100, G.4.1 allows
        interpolation).

    Notes
    -----
    JCGM 100:2008, equations (10) and (G.2b).

    Examples
    --------
    >>> u, dof = combine([Term(3.0, 10), Term(4.0)])
    >>> u, round(dof, 2)
    (5.0, 77.16)
    """
    u = math.hypot(*(term.standard_uncertainty for term in terms))
    # Relative to u, so that tiny uncertainties do not underflow to 0/0 in the fourth power.
    inverse = sum((t.standard_uncertainty / u) ** 4 / t.degrees_of_freedom for t in terms) if u > 0 else 0.0
    return Term(u, 1 / inverse if inverse > 0 else math.inf)


def coverage_factor(term: Term, confidence: float) -> float:
    """Student t (normal for infinite degrees of freedom) factor of a symmetric interval.

    Parameters
    ----------
    term : Term
        Only its degrees of freedom count; non-integer ones are used as they are.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    float
        The factor k (JCGM 100, G.3.4).
    """
    from scipy.special import ndtri, stdtrit

    probability = 0.5 + confidence / 2
    if math.isinf(term.degrees_of_freedom):
        return float(ndtri(probability))
    return float(stdtrit(term.degrees_of_freedom, probability))


def two_sided_p(value: float, spread: Spread) -> float:
    """P of the hypothesis that the true value is 0, dual to the interval: below 1 - c where that of c leaves 0 out.

    Parameters
    ----------
    value : float
        The estimate.
    spread : Spread
        Its uncertainty.

    Returns
    -------
    float
        Never 0: at least the smallest normal floating-point number.
    """
    return 2 * _lower_tail(-abs(value), spread)


def equivalence_p(value: float, matters: float, spread: Spread) -> float:
    """P of the two one-sided tests that the true value lies beyond the difference that matters, on either side.

    Parameters
    ----------
    value : float
        The estimate.
    matters : float
        The difference that matters, above 0.
    spread : Spread
        Its uncertainty.

    Returns
    -------
    float
        The larger of the two: below (1 - c) / 2 where the interval of confidence c lies within.

    Notes
    -----
    Schuirmann (1987), J. Pharmacokinet. Biopharm. 15, 657 (from memory).
    """
    return _lower_tail(abs(value) - matters, spread)


def _lower_tail(distance: float, spread: Spread) -> float:
    """Chance of a t variate below `distance` in units of u, with scatter or floor as the interval takes them. Never 0.

    The interval takes the floor up to one confidence and scatter above it (`Spread.units`), before the shared terms
    are combined: a p on either side of that confidence belongs to the one that is taken there.
    """
    from scipy.special import ndtr, stdtr

    def tail(units: Term) -> float:
        u, dof = combine([units, *spread.shared.values()])
        if u == 0:
            return 0.5 if distance == 0 else float(distance > 0)
        return float(ndtr(distance / u) if math.isinf(dof) else stdtr(dof, distance / u))

    by_scatter, by_floor = tail(spread.scatter), tail(Term(spread.floor))
    if distance > 0:
        return max(by_scatter, by_floor)
    turn = _turn(spread)
    return max(by_floor if by_floor > turn else 0.0, min(by_scatter, turn), 2.3e-308)


def _turn(spread: Spread) -> float:
    """One-sided tail outside an interval at which scatter and floor are as wide; scatter is the wider below it."""
    from scipy.optimize import brentq
    from scipy.special import ndtri, stdtrit

    (u, dof), floor = spread.scatter, spread.floor

    def scatter_is_wider_by(log_tail: float) -> float:
        tail = math.exp(log_tail)
        return float(stdtrit(dof, tail) / ndtri(tail)) * u / floor - 1

    if u >= floor:
        return 0.5
    if u == 0 or math.isinf(dof) or scatter_is_wider_by(_SMALLEST_TAIL) < 0:
        return 0.0
    if scatter_is_wider_by(_LARGEST_TAIL) > 0:
        return 0.5
    return math.exp(brentq(scatter_is_wider_by, _SMALLEST_TAIL, _LARGEST_TAIL))


_SMALLEST_TAIL, _LARGEST_TAIL = math.log(1e-15), math.log(0.499)


@dataclass(frozen=True)
class Estimate(Record):
    """A number with its coverage interval.

    Attributes
    ----------
    value : float
        The estimate, in `unit`.
    low, high : float
        Ends of the interval.
    confidence : float
        Its confidence.
    degrees_of_freedom : float
        Effective ones of the combined uncertainty.
    standard_uncertainty : float
        Combined, in `unit` (for a percentage: percentage points).
    unit : str
        Unit of all of them.
    components : dict of str to float
        Standard uncertainty by source, in `unit`.
    """

    value: float
    low: float
    high: float
    confidence: float
    degrees_of_freedom: float
    standard_uncertainty: float
    unit: str
    components: dict[str, float]
    _centre: float = field(repr=False, compare=False)
    _spread: Spread = field(repr=False, compare=False)
    _kind: Literal["linear", "saved share", "gained share"] = field(repr=False, compare=False)

    title = "Estimate"

    def at(self, confidence: float) -> Estimate:
        """The same estimate with an interval of another confidence.

        Parameters
        ----------
        confidence : float
            Between 0 and 1.

        Returns
        -------
        Estimate
            New interval; the value stays.

        Raises
        ------
        ValueError
            If the confidence is not between 0 and 1.
        """
        check_confidence(confidence)
        return make_estimate(self._centre, self._spread, confidence, unit=self.unit, kind=self._kind)

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(self.standard_uncertainty)
        ends = f"{shown(self.low, places)} to {shown(self.high, places)} {self.unit}"
        return [
            (f"{self.confidence * 100:g} % interval", ends),
            ("degrees of freedom", shown_dof(self.degrees_of_freedom)),
            ("value", f"{shown(self.value, places)} {self.unit}"),
            ("standard uncertainty", f"{shown(self.standard_uncertainty, places)} {self.unit}"),
        ]


def make_estimate(
    centre: float,
    spread: Spread,
    confidence: float,
    *,
    unit: str,
    kind: Literal["linear", "saved share", "gained share"] = "linear",
) -> Estimate:
    """Estimate from its centre and spread.

    Parameters
    ----------
    centre : float
        The difference (``linear``), or ln(after / before) for the share saved or gained, shown in percent.
    spread : Spread
        Uncertainty of the centre.
    confidence : float
        Between 0 and 1.
    unit : str
        Unit shown.
    kind : {"linear", "saved share", "gained share"}
        How the centre becomes the value: itself, 100 (1 - exp centre), 100 (exp centre - 1).

    Returns
    -------
    Estimate
        Symmetric in the centre's own scale, so the interval of a percentage is not symmetric.
    """
    u, dof = spread.combined(confidence)
    half = coverage_factor(Term(u, dof), confidence) * u
    ends = (centre - half, centre + half)
    parts = spread.components(confidence)
    if kind == "linear":
        return Estimate(centre, *ends, confidence, dof, u, unit, parts, centre, spread, kind)
    sign = -1.0 if kind == "saved share" else 1.0
    value, low, high = (sign * 100 * math.expm1(x) for x in (centre, *sorted(ends, reverse=sign < 0)))
    slope = 100 * math.exp(centre)  # percentage points per unit of the log ratio
    parts = {name: slope * part for name, part in parts.items()}
    return Estimate(value, low, high, confidence, dof, slope * u, unit, parts, centre, spread, kind)


def wider_scatter(spread: Spread, factor: float, dof_factor: float) -> Spread:
    """The spread that another number of units would give, all else the same.

    Parameters
    ----------
    spread : Spread
        Uncertainty with the present number of units.
    factor : float
        Multiplies the scatter and its floor.
    dof_factor : float
        Multiplies the degrees of freedom of the scatter.

    Returns
    -------
    Spread
        Shared terms are unchanged: more units do not shrink them.
    """
    u, dof = spread.scatter
    return replace(spread, scatter=Term(u * factor, dof * dof_factor), floor=spread.floor * factor)


def check_confidence(confidence: float) -> None:
    """Refuse a confidence that is not between 0 and 1.

    Parameters
    ----------
    confidence : float
        Value to check.

    Raises
    ------
    ValueError
        Says what was found and what would be accepted.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence: found {confidence!r}; accepted: a number between 0 and 1, such as 0.95")
