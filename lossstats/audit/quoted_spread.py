"""Standard error of the difference, as the quoted spread, n or interval imply it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from lossstats.audit.quoted_number import QuotedNumber
from lossstats.audit.quoted_samples import QuotedSamples
from lossstats.records.estimate import Interval, Term, combine, coverage_factor

_STEPS = 24  # points on each edge of the rectangle of two rounded spreads


@dataclass(frozen=True)
class StandardError:
    """What the standard error of the difference can be, from one of the quoted figures.

    Attributes
    ----------
    kind : {"sd", "sem", "interval"}
        The figure it comes from.
    source : str
        The same in words.
    terms : tuple of Term
        Standard error and degrees of freedom at points that span the rounding intervals.
    """

    kind: Literal["sd", "sem", "interval"]
    source: str
    terms: tuple[Term, ...]

    def spans(self, of: Callable[[Term], float]) -> Interval:
        """Range of a function of the standard error.

        Parameters
        ----------
        of : callable
            Takes a Term.

        Returns
        -------
        Interval
            Smallest and largest over the points.
        """
        values = [of(term) for term in self.terms]
        return Interval(min(values), max(values))


def standard_errors(samples: QuotedSamples) -> list[StandardError]:
    """Standard error of the difference from the sd and from the sem, where n is quoted.

    Parameters
    ----------
    samples : QuotedSamples
        Paired: sd and sem of the differences. Else of the units in each condition (one figure stands for both).

    Returns
    -------
    list of StandardError
        At most two.

    Notes
    -----
    Pairs: u = sd / sqrt(n), n - 1 degrees of freedom. Groups: JCGM 100, equations (10) and (G.2b), which is Welch's
    test. With two spreads u and k(dof) u are positively homogeneous of degree one in them, so over a rectangle
    their extremes lie on its edges, which are walked.
    """
    if not samples.n or min(samples.n) < 2:
        return []
    found = []
    if samples.sd:
        found.append(_standard_error(samples, "sd", samples.sd, samples.both_n))
    if samples.sem:
        found.append(_standard_error(samples, "sem", samples.sem, (1, 1)))
    return found


def error_of_interval(samples: QuotedSamples) -> list[StandardError]:
    """Standard error that the interval implies, over the degrees of freedom that n leaves open.

    Parameters
    ----------
    samples : QuotedSamples
        With interval.

    Returns
    -------
    list of StandardError
        One, or none where no interval is quoted or it is in percent.
    """
    if samples.interval is None or samples.interval[0].unit != samples.unit:
        return []
    half = half_width(samples)
    if samples.n and min(samples.n) > 1:
        least, most = min(samples.n) - 1, sum(samples.both_n) - 2
        every = [least] if samples.paired else [least + (most - least) * step / _STEPS for step in range(_STEPS + 1)]
        source = f"the interval and n = {' and '.join(map(str, samples.n))}"
    else:
        every, source = [1, 1.5, 2, 3, 4, 5, 7, 10, 15, 20, 30, 50, 100, math.inf], "the interval, whatever n"
    terms = [
        Term(max(end, 0.0) / coverage_factor(Term(1.0, dof), samples.confidence), dof) for dof in every for end in half
    ]
    return [StandardError("interval", source, tuple(terms))]


def half_width(samples: QuotedSamples) -> Interval:
    """Half the width of the quoted interval, the rounding of both ends carried.

    Parameters
    ----------
    samples : QuotedSamples
        With interval.

    Returns
    -------
    Interval
        Smallest and largest.

    Raises
    ------
    ValueError
        If no interval is quoted.
    """
    if samples.interval is None:
        raise ValueError("interval: found none; accepted: two ends")
    low, high = samples.interval
    return Interval(max((high.low - low.high) / 2, 0.0), (high.high - low.low) / 2)


def _standard_error(
    samples: QuotedSamples, kind: Literal["sd", "sem"], figures: tuple[QuotedNumber, ...], sizes: tuple[int, int]
) -> StandardError:
    shares = [(figures[0].ends, sizes[0]), (figures[-1].ends, sizes[1])]
    words = " and ".join(f"'{figure.text}'" for figure in figures)
    name = "sd" if kind == "sd" else "standard error"
    source = f"{name} {words} and n = {' and '.join(map(str, samples.n))}"
    return StandardError(kind, source, tuple(_terms(samples, shares)))


def _terms(samples: QuotedSamples, shares: list[tuple[tuple[Fraction, Fraction], int]]) -> Iterable[Term]:
    roots = [[float(end) / math.sqrt(size) for end in ends] for ends, size in shares]
    if samples.paired:
        yield from (Term(u, samples.n[0] - 1) for u in roots[0])
        return
    dof = [n - 1 for n in samples.both_n]
    for first, second in _edges(roots[0], roots[1]):
        yield combine([Term(first, dof[0]), Term(second, dof[1])])


def _edges(first: list[float], second: list[float]) -> Iterable[tuple[float, float]]:
    parts = [step / _STEPS for step in range(_STEPS + 1)]
    for share in parts:
        a, b = (low + share * (high - low) for low, high in (first, second))
        yield from ((a, second[0]), (a, second[1]), (first[0], b), (first[1], b))
