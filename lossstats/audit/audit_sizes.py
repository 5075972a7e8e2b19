"""Whether a quoted change is more than the display's step and the bench's repeatability would cause alone."""

from __future__ import annotations

import math
from fractions import Fraction

from lossstats.audit.audit_check import Check, CheckWord
from lossstats.audit.exact_range import ExactRange, make_range
from lossstats.audit.quoted_number import QuotedNumber
from lossstats.records.estimate import Term, coverage_factor


def above_resolution(saving: ExactRange, resolution: QuotedNumber, unit: str) -> Check:
    """Whether the change is more than two readings of a display can differ by rounding alone.

    Parameters
    ----------
    saving : ExactRange
        What the saving can be.
    resolution : QuotedNumber
        Display step.
    unit : str
        Of both.

    Returns
    -------
    Check
        Each reading is off by half a step at most, so a difference of two by one step.
    """
    step = float(Fraction(str(resolution.value)))
    why = (
        f"the change is {_size(saving).words(unit)}; rounding to {resolution.text} alone moves a difference of two "
        "readings by one step at most (means of many readings that scatter over several steps resolve less)"
    )
    return Check("above the resolution", _above(_size(saving), step, step), why)


def above_repeatability(
    saving: ExactRange, repeatability: QuotedNumber, n: tuple[int, ...], confidence: float, unit: str
) -> Check:
    """Whether the change is more than repeated work on the same article differs by.

    Parameters
    ----------
    saving : ExactRange
        What the saving can be.
    repeatability : QuotedNumber
        Standard deviation known for such benches, refit included.
    n : tuple of int
        Values a condition; one each if empty.
    confidence : float
        Of the critical difference.
    unit : str
        Of the saving and the repeatability.

    Returns
    -------
    Check
        Against the critical difference of two means.

    Notes
    -----
    Critical difference k s sqrt(1/n1 + 1/n2), with k = 1.96 at 95 %: 2.8 s for one value each (ISO 5725-6:1994,
    4.1 and 4.2; from memory).
    """
    n1, n2 = (n[0], n[-1]) if n else (1, 1)
    factor = coverage_factor(Term(0.0), confidence) * math.sqrt(1 / n1 + 1 / n2)
    limit = make_range(*(Fraction(factor) * end for end in repeatability.ends))
    each = f"{n1} and {n2} values" if n else "one value each way, n not being quoted"
    why = (
        f"the change is {_size(saving).words(unit)}; with a repeatability standard deviation of {repeatability.text} "
        f"and {each}, refitting alone stays below {limit.words(unit)} in {confidence * 100:g} % of cases"
    )
    return Check("above the repeatability", _above(_size(saving), limit.low, limit.high), why)


def _above(size: ExactRange, low: float, high: float) -> CheckWord:
    if size.low > high:
        return "above"
    return "not above" if size.high <= low else "cannot be told"


def _size(saving: ExactRange) -> ExactRange:
    """Range of the absolute value."""
    low, high = saving.ends
    if low is None or high is None:
        raise ValueError("saving: found an open range; accepted: a saving, or both levels, as quoted")
    if low >= 0:
        return saving
    return make_range(-high, -low) if high <= 0 else make_range(Fraction(0), max(-low, high))
