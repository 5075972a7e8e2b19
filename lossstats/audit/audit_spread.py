"""Whether a quoted interval and p follow from the difference, the spread and n, rounding carried."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from lossstats.audit.audit_check import Check, CheckWord
from lossstats.audit.exact_range import ExactRange
from lossstats.audit.quoted_samples import QuotedSamples
from lossstats.audit.quoted_spread import StandardError, error_of_interval, half_width, standard_errors
from lossstats.records.estimate import Interval, Spread, Term, coverage_factor, two_sided_p
from lossstats.records.rendering import decimals_for, shown

_SLACK = 1e-9  # relative, for floating point at ends that only touch
_MOST_N_SEARCHED = 300
_OTHER_CONFIDENCES = (0.68, 0.9, 0.95, 0.99)


def interval_follows(samples: QuotedSamples) -> list[Check]:
    """Whether the width of the interval follows from spread and n by t.

    Parameters
    ----------
    samples : QuotedSamples
        With interval, and n with sd or sem.

    Returns
    -------
    list of Check
        One a spread quoted; where it does not follow, what it would fit.

    Notes
    -----
    Half width k u, k from Student's t (JCGM 100, G.3.2).
    """
    if samples.interval is None:
        return []
    half, unit = half_width(samples), samples.interval[0].unit
    checks = []
    for error in standard_errors(samples):
        name = f"interval from {error.source}"
        if unit != samples.unit:
            words = f"{samples.design}: the interval is in {unit}, the spread in {samples.unit}"
            checks.append(Check(name, "cannot be told", words))
            continue
        implied = error.spans(lambda term: _half(term, samples.confidence))
        words = f"{samples.design}: half the interval is {_to(half)} {unit}, by t it would be {_to(implied)} {unit}"
        if _overlap(half, implied):
            checks.append(Check(name, "agrees", words))
        else:
            words += "; " + _what_it_takes(half, error, samples)
            checks.append(Check(name, "cannot all be true", words))
    return checks


def interval_centred(samples: QuotedSamples, quoted_change: ExactRange | None, what: str) -> list[Check]:
    """Whether the interval holds the change that is quoted, and lies evenly about it.

    Parameters
    ----------
    samples : QuotedSamples
        With interval.
    quoted_change : ExactRange or None
        What the saving, or the percentage, can be; in the unit of the interval.
    what : str
        ``"saving"`` or ``"percent"``.

    Returns
    -------
    list of Check
        One, or none where either is missing.

    Notes
    -----
    An interval by t is symmetric; one of a percentage, or by bootstrap, need not be.
    """
    if samples.interval is None or quoted_change is None or None in quoted_change.ends:
        return []
    low, high = samples.interval
    change = Interval(quoted_change.low, quoted_change.high)
    middle = Interval((low.low + high.low) / 2, (low.high + high.high) / 2)
    if change.high <= 0 < middle.low:  # the size of a rise, without its sign
        change = Interval(-change.high, -change.low)
    words = f"the middle of the interval is {_to(middle)} {low.unit}, the {what} {_to(change)} {low.unit}"
    name = f"interval and {what}"
    if not _overlap(Interval(low.low, high.high), change):
        return [Check(name, "cannot all be true", f"the interval does not hold the {what}; {words}")]
    if _overlap(middle, change):
        return [Check(name, "agrees", words)]
    if what == "saving":
        word: CheckWord = "cannot all be true"
        return [Check(name, word, f"{words}; it would have to come from another method than t, which is symmetric")]
    return [Check(name, "cannot be told", f"{words}; an interval of a percentage need not be symmetric")]


def p_follows(samples: QuotedSamples, saving: ExactRange | None) -> list[Check]:
    """Whether p follows from the difference and its standard error by t.

    Parameters
    ----------
    samples : QuotedSamples
        With p, and sd or sem with n, or the interval.
    saving : ExactRange or None
        What the saving can be.

    Returns
    -------
    list of Check
        One a source of the standard error; where it does not follow, what it would fit.
    """
    if samples.p is None or saving is None or None in saving.ends or samples.p_by == "exact":
        return []
    size = _size(saving)
    checks = []
    for error in [*standard_errors(samples), *error_of_interval(samples)]:
        implied = Interval(
            error.spans(lambda term: _p(size.high, term)).low, error.spans(lambda term: _p(size.low, term)).high
        )
        words = f"{samples.design}: by t it would be {_p_to(implied)}, quoted is '{samples.p_text}'"
        name = f"p from {error.source}"
        if _overlap(Interval(*samples.p), implied):
            checks.append(Check(name, "agrees", words))
            continue
        if _overlap(Interval(*samples.p), Interval(implied.low / 2, implied.high / 2)):
            words += "; it would fit a one-sided test"
        else:
            words += "; another test, difference, spread or n would be needed"
        checks.append(Check(name, "cannot all be true", words))
    return checks


def zero_and_p(samples: QuotedSamples) -> list[Check]:
    """Whether the interval leaves zero out where p is small, and holds it where p is not.

    Parameters
    ----------
    samples : QuotedSamples
        With interval and p.

    Returns
    -------
    list of Check
        One, or none where either is missing.
    """
    if samples.interval is None or samples.p is None:
        return []
    (low, high), alpha = samples.interval, 1 - samples.confidence
    outside, inside = low.low > 0 or high.high < 0, low.high < 0 < high.low
    above, below = samples.p[0] > alpha + _SLACK, samples.p[1] < alpha - _SLACK
    words = (
        f"the {samples.confidence * 100:g} % interval {'leaves zero out' if outside else 'holds zero'}, "
        f"p is '{samples.p_text}'"
    )
    name = "interval and p"
    if (outside and above) or (inside and below):
        if samples.p_by == "exact":
            return [Check(name, "cannot be told", f"{words}; an exact test and an interval by t may differ")]
        return [Check(name, "cannot all be true", f"{words}; they would have to come from different tests")]
    if (outside and below) or (inside and above):
        return [Check(name, "agrees", words)]
    return [Check(name, "cannot be told", f"rounding leaves open on which side of zero, or of {alpha:.2g}, they are")]


def spread_of_one(samples: QuotedSamples) -> list[Check]:
    """A spread of a single value.

    Parameters
    ----------
    samples : QuotedSamples
        With n.

    Returns
    -------
    list of Check
        One where n is 1 and a spread, or an interval or p that needs one, is quoted.
    """
    if not samples.n or min(samples.n) > 1:
        return []
    name = "spread at n = 1"
    if samples.sd or samples.sem:
        words = "one value has no standard deviation: it would have to be that of something else, such as the readings"
        return [Check(name, "cannot all be true", words)]
    if samples.interval is not None or samples.p is not None:
        words = "interval and p would have to rest on a spread known from elsewhere"
        return [Check(name, "cannot be told", words)]
    return []


def _what_it_takes(half: Interval, error: StandardError, samples: QuotedSamples) -> str:
    """What would mend it, and other things that the interval would fit."""
    factor = error.spans(lambda term: coverage_factor(term, samples.confidence))
    needed = Interval(half.low / factor.high, half.high / factor.low)
    words = f"it would take a standard error of {_to(needed)} {samples.unit}"
    numbers = _n_that_fit(half, error, samples)
    if numbers:
        words += f", or n = {numbers[0]}" if len(numbers) == 1 else f", or n of {numbers[0]} to {numbers[-1]}"
    fits = _what_it_fits(half, error, samples)
    return f"{words}; it would fit {', or '.join(fits)}" if fits else words


def _what_it_fits(half: Interval, error: StandardError, samples: QuotedSamples) -> list[str]:
    other: dict[str, Interval] = {
        "a normal factor in place of t": error.spans(
            lambda term: _half(Term(term.standard_uncertainty), samples.confidence)
        ),
        "one standard error to both sides": error.spans(lambda term: term.standard_uncertainty),
    }
    for sd in samples.sd:
        other["one standard deviation to both sides"] = Interval(sd.low, sd.high)
    for confidence in _OTHER_CONFIDENCES:
        if confidence != samples.confidence:
            other[f"a confidence of {confidence * 100:g} %"] = error.spans(partial(_half, confidence=confidence))
    return [words for words, implied in other.items() if _overlap(half, implied)]


def _n_that_fit(half: Interval, error: StandardError, samples: QuotedSamples) -> list[int]:
    if error.kind != "sd":
        return []
    found = []
    for n in range(2, _MOST_N_SEARCHED + 1):
        other = standard_errors(replace(samples, n=(n,), sem=()))[0]
        implied = other.spans(lambda term: _half(term, samples.confidence))
        if _overlap(half, implied):
            found.append(n)
        elif implied.high < half.low:
            break
    return found


def _half(term: Term, confidence: float) -> float:
    return coverage_factor(term, confidence) * term.standard_uncertainty


def _p(difference: float, term: Term) -> float:
    return 1.0 if difference == 0 else two_sided_p(difference, Spread(term))


def _size(saving: ExactRange) -> Interval:
    if saving.low <= 0 <= saving.high:
        return Interval(0.0, max(-saving.low, saving.high))
    return Interval(*sorted((abs(saving.low), abs(saving.high))))


def _overlap(a: Interval, b: Interval) -> bool:
    slack = _SLACK * max(map(abs, (*a, *b)))
    return a.low <= b.high + slack and b.low <= a.high + slack


def _to(found: Interval) -> str:
    width = found.high - found.low
    places = decimals_for(width if width > 0 else abs(found.high) / 100)
    return f"{shown(found.low, places)} to {shown(found.high, places)}"


def _p_to(found: Interval) -> str:
    return f"{found.low:.2g} to {found.high:.2g}"
