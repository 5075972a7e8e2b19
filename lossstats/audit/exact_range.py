"""Exact range of a linear form under linear limits: fractions, no rounding, no solver tolerance."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from lossstats.records.rendering import decimals_for, shown

Coefficients = tuple[Fraction, ...]


class Limit(NamedTuple):
    """The inequality ``coefficients . x <= bound``, or ``<`` where strict."""

    coefficients: Coefficients
    bound: Fraction
    strict: bool = False


@dataclass(frozen=True)
class ExactRange:
    """The values that a quantity can take.

    Attributes
    ----------
    low, high : float
        Ends; infinite where there is none.
    exact_low, exact_high : str
        The same as fractions, such as ``"310/41"``; empty where there is no end.
    """

    low: float
    high: float
    exact_low: str
    exact_high: str
    _low: Fraction | None = field(repr=False)
    _high: Fraction | None = field(repr=False)

    @property
    def ends(self) -> tuple[Fraction | None, Fraction | None]:
        """Exact ends.

        Returns
        -------
        tuple of fractions.Fraction or None
            None where there is no end.
        """
        return self._low, self._high

    def words(self, unit: str) -> str:
        """The range in words, with two digits of its width, or three where it has one end.

        Parameters
        ----------
        unit : str
            Set behind.

        Returns
        -------
        str
            For example ``"7.500 to 7.561 W"``.

        Examples
        --------
        >>> make_range(Fraction(15, 2), Fraction(310, 41)).words("W")
        '7.500 to 7.561 W'
        >>> make_range(None, Fraction(2)).words("W")
        'at most 2.00 W'
        """
        if self._low is None and self._high is None:
            return f"any value in {unit}"
        if self._low is None or self._high is None:
            end = self.high if self._low is None else self.low
            side = "at most" if self._low is None else "at least"
            return f"{side} {shown(end, _places(abs(end), 3))} {unit}"
        if self._low == self._high:
            return f"{shown(self.low, _places(abs(self.low), 4))} {unit}"
        places = _places(self.high - self.low, 2)
        return f"{shown(self.low, places)} to {shown(self.high, places)} {unit}"


def make_range(low: Fraction | None, high: Fraction | None) -> ExactRange:
    """Range from its exact ends.

    Parameters
    ----------
    low, high : fractions.Fraction or None
        Ends, None where there is none.

    Returns
    -------
    ExactRange
        With floats beside.
    """
    return ExactRange(
        float("-inf") if low is None else float(low),
        float("inf") if high is None else float(high),
        "" if low is None else str(low),
        "" if high is None else str(high),
        low,
        high,
    )


def exact_range(limits: list[Limit], form: Coefficients) -> ExactRange | None:
    """All values of a linear form where every limit holds.

    Parameters
    ----------
    limits : list of Limit
        Inequalities in the same variables.
    form : tuple of fractions.Fraction
        Coefficients of the form; all zero to ask only whether the limits can hold together.

    Returns
    -------
    ExactRange or None
        None where no point meets all limits. An end that a strict limit sets is shown, though not reached.

    Notes
    -----
    Elimination of Fourier and Motzkin (Schrijver, Theory of Linear and Integer Programming, 12.2; from memory): every
    pair of an upper and a lower limit of a variable gives one limit without it. Growth is no matter for the few
    variables of a claim, and fractions keep ends that only touch from being lost or gained by rounding.

    Examples
    --------
    >>> one = Fraction(1)
    >>> print(exact_range([Limit((one,), Fraction(3)), Limit((-one,), Fraction(-2))], (one,)).words("W"))
    2.0 to 3.0 W
    """
    zero, one = Fraction(0), Fraction(1)
    # The form becomes a variable of its own, the last one: form . x - z = 0.
    rows = [Limit((*row, zero), bound, strict) for row, bound, strict in limits]
    rows += [Limit((*form, -one), zero), Limit((*(-c for c in form), one), zero)]
    left = set(range(len(form)))
    while left:
        variable = min(left, key=lambda v: _pairs(rows, v))  # the one that leaves the fewest limits
        left.remove(variable)
        rows = _eliminate(rows, variable)
    return _read_off(rows)


def _pairs(rows: list[Limit], variable: int) -> int:
    uppers = sum(row.coefficients[variable] > 0 for row in rows)
    lowers = sum(row.coefficients[variable] < 0 for row in rows)
    return uppers * lowers - uppers - lowers


def _eliminate(rows: list[Limit], variable: int) -> list[Limit]:
    kept: dict[tuple[Coefficients, Fraction], bool] = {}
    uppers: list[Limit] = []
    lowers: list[Limit] = []
    for row in rows:
        c = row.coefficients[variable]
        if c == 0:
            _keep(kept, row)
        else:
            scaled = Limit(tuple(x / abs(c) for x in row.coefficients), row.bound / abs(c), row.strict)
            (uppers if c > 0 else lowers).append(scaled)
    for upper in uppers:
        for lower in lowers:
            total = tuple(a + b for a, b in zip(upper.coefficients, lower.coefficients, strict=True))
            _keep(kept, Limit(total, upper.bound + lower.bound, upper.strict or lower.strict))
    tightest: dict[Coefficients, Limit] = {}
    for (coefficients, bound), strict in kept.items():
        found = tightest.get(coefficients)
        if found is None or bound < found.bound:
            tightest[coefficients] = Limit(coefficients, bound, strict)
    return list(tightest.values())


def _keep(kept: dict[tuple[Coefficients, Fraction], bool], row: Limit) -> None:
    """Keep a row at a scale of its own, so that the same limit is kept once; one that always holds is dropped."""
    size = max(map(abs, row.coefficients))
    if size == 0:
        if row.bound > 0 or (row.bound == 0 and not row.strict):
            return
        size = Fraction(1)
    key = (tuple(c / size for c in row.coefficients), row.bound / size)
    kept[key] = kept.get(key, False) or row.strict


def _read_off(rows: list[Limit]) -> ExactRange | None:
    """Limits in the last variable alone: its ends, or None where they contradict each other."""
    ends: list[tuple[Fraction, bool] | None] = [None, None]
    for coefficients, bound, strict in rows:
        c = coefficients[-1]
        if c == 0:
            return None  # a limit without variables that was kept does not hold
        end = bound / c
        held = ends[int(c > 0)]
        if held is None or (end < held[0] if c > 0 else end > held[0]) or (end == held[0] and strict):
            ends[int(c > 0)] = (end, strict)
    low, high = ends
    if low and high and (low[0] > high[0] or (low[0] == high[0] and (low[1] or high[1]))):
        return None
    return make_range(low and low[0], high and high[0])


def _places(width: float, significant: int) -> int:
    return min(decimals_for(width, significant), 9)
