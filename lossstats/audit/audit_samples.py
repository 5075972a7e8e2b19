"""What n alone allows: means and spreads of values on a step, standard errors, exact p."""

from __future__ import annotations

import math
from fractions import Fraction

from lossstats.audit.audit_check import Check, CheckWord
from lossstats.audit.exact_range import ExactRange, make_range
from lossstats.audit.quoted_number import QuotedNumber
from lossstats.audit.quoted_samples import QuotedSamples


def possible_means(figures: dict[str, QuotedNumber], samples: QuotedSamples, grid: QuotedNumber) -> list[Check]:
    """Whether the quoted means are means of n values that each lie on a step.

    Parameters
    ----------
    figures : dict of str to QuotedNumber
        Of these before, after and (paired) saving.
    samples : QuotedSamples
        With n.
    grid : QuotedNumber
        Step of the single values; taken as exact.

    Returns
    -------
    list of Check
        One a mean; empty where n is not quoted.

    Notes
    -----
    The sum of n values on a step g is a whole number of g, so the mean is a whole number of g / n. Brown and
    Heathers (2017), Soc. Psychol. Personal. Sci. 8, 363 (from memory), use this on whole-number data.
    """
    sizes = dict(zip(("before", "after"), samples.both_n, strict=True)) if samples.n else {}
    if samples.n and samples.paired:
        sizes["saving"] = samples.n[0]
    step = Fraction(str(grid.value))
    checks = []
    for name, n in sizes.items():
        if name in figures:
            checks.append(_possible_mean(name, figures[name], n, step, samples.unit))
    return checks


def possible_spread(mean: QuotedNumber | None, samples: QuotedSamples, grid: QuotedNumber) -> list[Check]:
    """Whether the quoted standard deviation can be that of n values that each lie on a step.

    Parameters
    ----------
    mean : QuotedNumber or None
        Their mean as quoted, if it is.
    samples : QuotedSamples
        With n and one sd.
    grid : QuotedNumber
        Step of the single values; taken as exact.

    Returns
    -------
    list of Check
        One, or none where n or sd is missing or there are two.

    Notes
    -----
    In steps, with the values shifted by whole steps so that their sum S lies in 0 ... n - 1, the sum of squares Q is
    a whole number, at least S, odd or even as S is, and (n - 1) sd**2 = Q - S**2 / n. That is necessary, not
    sufficient: "agrees" means that this check finds nothing against it.
    """
    if not samples.n or len(samples.sd) != 1 or samples.n[0] < 2:
        return []
    n, step, sd = samples.n[0], Fraction(str(grid.value)), samples.sd[0]
    low, high = ((n - 1) * (end / step) ** 2 for end in sd.ends)
    found = any(
        _whole_square_sum(total, low + Fraction(total**2, n), high + Fraction(total**2, n))
        for total in _residues(mean, n, step)
    )
    what = f"standard deviation '{sd.text}' of {n} values on a step of {grid.text}"
    if found:
        return [Check("sd on the step", "agrees", f"nothing here speaks against a {what}")]
    words = f"no {n} values on that step have this {what}: other values, another step or another n would be needed"
    return [Check("sd on the step", "cannot all be true", words)]


def spread_of_the_mean(samples: QuotedSamples) -> list[Check]:
    """Whether sd and standard error of the mean belong to the same n.

    Parameters
    ----------
    samples : QuotedSamples
        With sd and sem.

    Returns
    -------
    list of Check
        One a condition that has both; empty where either is missing.

    Notes
    -----
    sd**2 = n sem**2, held as fractions (JCGM 100, 4.2.3, equation 5).
    """
    checks = []
    for place, (sd, sem) in enumerate(zip(samples.sd, samples.sem, strict=False)):
        fits = _fitting_n(sd, sem)
        words = f"sd '{sd.text}' and standard error '{sem.text}' belong to {_n_words(fits)}"
        if not samples.n:
            checks.append(Check("sd and standard error", "cannot be told", f"n is not quoted; {words}"))
            continue
        n = samples.n[min(place, len(samples.n) - 1)]
        low, high = fits.ends
        agrees = low is not None and low <= n and (high is None or n <= high)
        word: CheckWord = "agrees" if agrees else "cannot all be true"
        checks.append(Check("sd and standard error", word, f"{words}; quoted is n = {n}"))
    return checks


def reachable_p(samples: QuotedSamples) -> list[Check]:
    """Whether an exact test of so few units can reach the quoted p.

    Parameters
    ----------
    samples : QuotedSamples
        With n and p.

    Returns
    -------
    list of Check
        One, or none where n or p is missing or the source names a t test.

    Notes
    -----
    Smallest two-sided p: 2 / 2**n by the signs of n pairs; of two groups 2 / C(n1 + n2, n1) if they are of one
    size, else 1 / C(n1 + n2, n1).
    """
    if not samples.n or samples.p is None or samples.p_by == "t":
        return []
    n1, n2 = samples.both_n
    if samples.paired:
        smallest, units = 2 / 2**n1, f"{n1} pairs"
    else:
        smallest, units = (2 if n1 == n2 else 1) / math.comb(n1 + n2, n1), f"{n1} and {n2} units"
    words = f"the smallest p of an exact test with {units} is {smallest:.3g}"
    if samples.p[1] >= min(smallest, 1.0):
        return [Check("p an exact test can reach", "agrees", f"{samples.design}: {words}")]
    if samples.p_by == "exact":
        return [Check("p an exact test can reach", "cannot all be true", f"{samples.design}: {words}")]
    more = f"p '{samples.p_text}' would have to come from a t test, which takes normal values on trust"
    return [Check("p an exact test can reach", "cannot be told", f"{samples.design}: {words}; {more}")]


def _possible_mean(name: str, figure: QuotedNumber, n: int, step: Fraction, unit: str) -> Check:
    if _whole_between(figure, n, step):
        words = f"'{figure.text}' can be the mean of {n} values on a step of {float(step):g} {unit}"
        return Check(f"{name} on the step", "agrees", words)
    below = Fraction(math.floor(figure.ends[0] * n / step)) * step / n
    others = [m for m in range(1, 101) if _whole_between(figure, m, step)]
    words = (
        f"no mean of {n} values on a step of {float(step):g} {unit} rounds to '{figure.text}': the nearest are "
        f"{float(below):.6g} and {float(below + step / n):.6g} {unit}"
    )
    if others:
        words += f"; the smallest n that gives it is {others[0]}"
    return Check(f"{name} on the step", "cannot all be true", words)


def _whole_between(figure: QuotedNumber, n: int, step: Fraction) -> bool:
    low, high = (end * n / step for end in figure.ends)
    return math.ceil(low) <= math.floor(high)


def _residues(mean: QuotedNumber | None, n: int, step: Fraction) -> range | set[int]:
    """Sums of n values, in steps and up to whole steps a value, that the quoted mean allows."""
    if mean is None:
        return range(n)
    low, high = (math.ceil(mean.ends[0] * n / step), math.floor(mean.ends[1] * n / step))
    return range(n) if high - low >= n else {total % n for total in range(low, high + 1)}


def _whole_square_sum(total: int, low: Fraction, high: Fraction) -> bool:
    first = max(math.ceil(low), total)
    first += (first - total) % 2
    return first <= high


def _fitting_n(sd: QuotedNumber, sem: QuotedNumber) -> ExactRange:
    (sd_low, sd_high), (sem_low, sem_high) = sd.ends, sem.ends
    low = (sd_low / sem_high) ** 2 if sem_high else Fraction(1)
    return make_range(low, (sd_high / sem_low) ** 2 if sem_low else None)


def _n_words(fits: ExactRange) -> str:
    low = max(1, math.ceil(fits.ends[0] or 1))
    if fits.ends[1] is None:
        return f"n of at least {low}"
    high = math.floor(fits.ends[1])
    if high < low:
        return "no whole n"
    return f"n = {low}" if low == high else f"n of {low} to {high}"
