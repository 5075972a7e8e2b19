"""May the linear interval be used? Comparison of its ends with those of the draws (JCGM 101, clause 8)."""

from __future__ import annotations

from dataclasses import dataclass

from lossstats.records.argument_checks import above_zero, refuse
from lossstats.records.estimate import Interval
from lossstats.records.rendering import Record, decimals_for, shown

_MOST_DIGITS = 4


def numerical_tolerance(standard_uncertainty: float, digits: int = 2) -> float:
    """Half a unit in the last significant digit of a standard uncertainty.

    Parameters
    ----------
    standard_uncertainty : float
        Above 0.
    digits : int, default 2
        Significant digits that are to be trusted, 1 to 4.

    Returns
    -------
    float
        The tolerance, in the unit of the uncertainty.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    JCGM 101:2008, 7.9.2: u = c 10^l with c an integer of `digits` digits; the tolerance is 10^l / 2.

    Examples
    --------
    >>> numerical_tolerance(0.00035), numerical_tolerance(0.00035, 1), numerical_tolerance(2, 1)
    (5e-06, 5e-05, 0.5)
    """
    u = above_zero("standard_uncertainty", standard_uncertainty)
    check_digits(digits)
    power = int(f"{u:.{digits - 1}e}".partition("e")[2])  # after rounding: 9.96 is 10 to two digits
    return float(f"5e{power - digits}")


def check_digits(digits: int) -> None:
    """Refuse a number of significant digits that no uncertainty is given with.

    Parameters
    ----------
    digits : int
        Significant digits.

    Raises
    ------
    ValueError
        If it is not 1 to 4.
    """
    if isinstance(digits, bool) or not isinstance(digits, int) or not 1 <= digits <= _MOST_DIGITS:
        refuse("digits", digits, f"a whole number from 1 to {_MOST_DIGITS}, usually 1 or 2")


@dataclass(frozen=True)
class DigitsCheck(Record):
    """The comparison for one number of significant digits.

    Attributes
    ----------
    digits : int
        Significant digits of the standard uncertainty.
    tolerance : float
        Numerical tolerance for these.
    agrees : bool or None
        Whether both ends differ by no more; None where the draws are too few to tell.
    """

    digits: int
    tolerance: float
    agrees: bool | None

    title = "Comparison of interval ends"

    def _rows(self) -> list[tuple[str, str]]:
        words = {True: "within", False: "not within", None: "too few draws to tell"}[self.agrees]
        return [(_digits(self.digits), f"{words} {self.tolerance:g}")]


@dataclass(frozen=True)
class LinearValidation(Record):
    """Answer whether the interval of linear propagation may be used in place of that of the draws.

    Attributes
    ----------
    digits : int or None
        To how many significant digits of the standard uncertainty it may be used; None: to none, or unknown.
    d_low, d_high : float or None
        Differences of the ends, without sign; None where there is no linear interval.
    tolerance : float or None
        Numerical tolerance for the digits asked for.
    digits_asked : int
        Significant digits asked for.
    error_low, error_high : float
        Standard deviations of the ends that were drawn.
    checks : tuple of DigitsCheck
        From the digits asked for down to one.
    linear : Interval or None
        The linear interval.
    drawn : Interval
        The probabilistically symmetric interval of the draws.
    words : str
        The answer as a sentence.
    """

    digits: int | None
    d_low: float | None
    d_high: float | None
    tolerance: float | None
    digits_asked: int
    error_low: float
    error_high: float
    checks: tuple[DigitsCheck, ...]
    linear: Interval | None
    drawn: Interval
    words: str

    title = "Linear interval held against the draws"

    @property
    def supports_linear(self) -> bool | None:
        """The answer for the digits asked for.

        Returns
        -------
        bool or None
            None where there is no linear interval, or the draws are too few to tell.
        """
        return self.checks[0].agrees if self.checks else None

    def _rows(self) -> list[tuple[str, str]]:
        rows = [("answer", self.words)]
        if self.d_low is None or self.d_high is None or self.linear is None or self.tolerance is None:
            return rows
        places = decimals_for(self.tolerance)
        for name, (low, high) in (("linear", self.linear), ("draws", self.drawn)):
            rows.append((f"{name} interval", f"{shown(low, places)} to {shown(high, places)}"))
        rows.append(("difference of ends", f"{shown(self.d_low, places)} and {shown(self.d_high, places)}"))
        for check in self.checks:
            rows += check._rows()
        return rows


def compare_intervals(
    linear: Interval,
    drawn: Interval,
    standard_uncertainty: float,
    *,
    digits: int = 2,
    errors: Interval = Interval(0.0, 0.0),  # noqa: B008 - a tuple, never changed
    draws: int | None = None,
) -> LinearValidation:
    """Compare the ends of the linear interval with those of the draws.

    Parameters
    ----------
    linear : Interval
        Interval of linear propagation, estimate minus and plus expanded uncertainty.
    drawn : Interval
        Interval of the same coverage from the draws.
    standard_uncertainty : float
        Of the draws; sets the tolerance.
    digits : int, default 2
        Significant digits of it that are to hold; fewer are tried as well, down to one.
    errors : Interval
        Standard deviations of the drawn ends; twice these must not reach across the tolerance.
    draws : int, optional
        Number of draws, to say how many would decide.

    Returns
    -------
    LinearValidation
        For each number of digits whether the linear interval agrees, and the answer in words.

    Raises
    ------
    ValueError
        If the uncertainty is not above 0, or the digits are out of range.

    Notes
    -----
    JCGM 101:2008, 8.1: both ends must differ by no more than the tolerance. Give intervals of one kind; Monte Carlo
    propagation gives the probabilistically symmetric one, whose ends the draws determine well. 8.2 wants the draws to
    a fifth of the tolerance; here the answer is left open where twice the standard deviation of an end decides it.

    Examples
    --------
    >>> compare_intervals(Interval(-3.92, 3.92), Interval(-3.88, 3.88), 2.0).digits
    2
    """
    check_digits(digits)
    ends = Interval(abs(linear[0] - drawn[0]), abs(linear[1] - drawn[1]))
    tolerances = {n: numerical_tolerance(standard_uncertainty, n) for n in range(digits, 0, -1)}
    checks = tuple(DigitsCheck(n, tolerance, _agrees(ends, errors, tolerance)) for n, tolerance in tolerances.items())
    usable = next((check.digits for check in checks if check.agrees), None)
    words = _in_words(checks, ends, errors, draws)
    return LinearValidation(
        digits=usable,
        d_low=ends.low,
        d_high=ends.high,
        tolerance=checks[0].tolerance,
        digits_asked=digits,
        error_low=errors[0],
        error_high=errors[1],
        checks=checks,
        linear=Interval(*linear),
        drawn=Interval(*drawn),
        words=words,
    )


def no_comparison(why: str, drawn: Interval, *, digits: int, errors: Interval) -> LinearValidation:
    """State that there is nothing to compare.

    Parameters
    ----------
    why : str
        Why not.
    drawn : Interval
        Interval of the draws.
    digits : int
        Significant digits asked for.
    errors : Interval
        Standard deviations of the drawn ends.

    Returns
    -------
    LinearValidation
        Without differences and without an answer but `why`.
    """
    return LinearValidation(None, None, None, None, digits, errors[0], errors[1], (), None, drawn, why)


def _agrees(ends: Interval, errors: Interval, tolerance: float) -> bool | None:
    pairs = list(zip(ends, errors, strict=True))
    if any(d - 2 * error > tolerance for d, error in pairs):
        return False
    return True if all(d + 2 * error <= tolerance for d, error in pairs) else None


def _in_words(checks: tuple[DigitsCheck, ...], ends: Interval, errors: Interval, draws: int | None) -> str:
    asked = checks[0]
    places = decimals_for(asked.tolerance)
    differ = f"its ends differ from those of the draws by {shown(ends[0], places)} and {shown(ends[1], places)}"
    limit = f"the tolerance is {asked.tolerance:g}"
    if asked.agrees:
        text = f"The linear interval may be used, to {_digits(asked.digits)} of the standard uncertainty"
        return f"{text}: {differ}, {limit} (JCGM 101, 8.1)."
    if asked.agrees is None:
        text = f"These draws cannot tell whether the linear interval may be used to {_digits(asked.digits)}"
        known = f"and the drawn ends are themselves uncertain by {2 * max(errors):.1g}"
        text += f": {differ}, {limit}, {known}{_draws_to_decide(asked.tolerance, ends, errors, draws)}"
    else:
        text = f"The linear interval may not be used to {_digits(asked.digits)} of the standard uncertainty"
        text += f": {differ}, {limit} (JCGM 101, 8.1); use the interval of the draws"
    return f"{text}. {_fewer(checks[1:])}".rstrip()


def _draws_to_decide(tolerance: float, ends: Interval, errors: Interval, draws: int | None) -> str:
    if draws is None:
        return ""
    # Twice the error is to be a fifth of the tolerance (8.2), and less than what is left up to the tolerance.
    factors = [2.0, (10 * max(errors) / tolerance) ** 2]
    factors += [
        (2 * error / gap) ** 2 for d, error in zip(ends, errors, strict=True) if (gap := abs(d - tolerance)) > 0
    ]
    if max(factors) > 1000:
        return ""
    return f"; about {float(f'{draws * max(factors):.0e}'):,.0f} draws would tell".replace(",", " ")


def _fewer(checks: tuple[DigitsCheck, ...]) -> str:
    usable = next((check for check in checks if check.agrees), None)
    if usable:
        return f"To {_digits(usable.digits)} it may be used (tolerance {usable.tolerance:g})."
    if checks and checks[-1].agrees is False:
        return "Nor may it be used to fewer digits."
    return ""


def _digits(number: int) -> str:
    return f"{number} significant digit{'s' if number > 1 else ''}"
