"""What a planned trial can see: power, smallest visible difference, fitness for the question."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.power import check_reached, smallest_difference
from lossstats.records.argument_checks import above_zero, finite_number
from lossstats.records.rendering import Record, two_digits

FAR = 1e4  # standard uncertainties: no larger difference is tried


@dataclass(frozen=True)
class SmallestDifference(Record):
    """Smallest true difference that a planned trial finds with the power wanted.

    Attributes
    ----------
    difference : float
        In `unit`.
    power : float
        Wanted, and reached at the difference.
    words : str
        The same as a sentence.
    plan : PlannedDesign
        The trial.
    unit : str
        Unit of the difference.
    notes : tuple of str
        What must be known before the bench is booked.
    """

    difference: float
    power: float
    words: str
    plan: PlannedDesign
    unit: str
    notes: tuple[str, ...] = ()

    title = "Smallest visible difference"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [("in words", self.words), ("difference", f"{self.difference:.3g} {self.unit}")]
        rows += [("power", f"{self.power:.3g}"), ("design, units", design_and_units(self.plan))]
        return rows + [("note", note) for note in self.notes]


@dataclass(frozen=True)
class Fitness(Record):
    """Whether a bench and a plan can answer the question.

    Attributes
    ----------
    ratio : float
        Smallest visible difference over the difference that matters: the one number. At most 1 is fit.
    fit : bool
        Whether the difference that matters can be seen with the power wanted, and a verdict given.
    words : str
        The one sentence.
    matters : float
        The difference that matters.
    power_at_matters : float
        Chance to see a true difference of that size.
    smallest_difference : float
        Smallest visible difference, in `unit`; infinite where no difference reaches the power.
    power : float
        Wanted.
    unit : str
        Unit of the differences.
    notes : tuple of str
        What must be known before the bench is booked.
    """

    ratio: float
    fit: bool
    words: str
    matters: float
    power_at_matters: float
    smallest_difference: float
    power: float
    unit: str
    notes: tuple[str, ...] = ()

    title = "Fit for the question"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [("in words", self.words), ("smallest visible over what matters", f"{self.ratio:.2f}")]
        return rows + [("note", note) for note in self.notes]


def power_of(plan: PlannedDesign, difference: float, *, within: float | None = None) -> float:
    """Power of a planned trial at a true difference.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.
    difference : float
        True difference, in the unit of the plan.
    within : float, optional
        The difference that matters. Given: the chance of the verdict "no difference that matters", the whole interval
        within plus and minus this. Left out: the chance that a difference is shown, 0 outside the interval.

    Returns
    -------
    float
        Between 0 and 1. For design several that of any one of the comparisons.

    Raises
    ------
    ValueError
        If a number is not finite or `within` is not above 0.

    Notes
    -----
    By quadrature over the spread that the units will show; no simulation and no seed. The shared errors are taken as
    they will be stated, a gain error at the true difference. Normal units. For design several all shared errors take
    the factor of the family, where the ranking spares a gain error: that errs on the side of more articles.

    With `within`, both one-sided tests (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15, 657, from memory) have half of
    what the confidence leaves: at 0.95 a wrong claim has a chance of at most 2.5 %; 0.90 gives the classical 5 %.

    Examples
    --------
    >>> plan = PlannedDesign("paired", 6, {"change": 0.1, "mount": 0.1, "run": 0.05})
    >>> round(power_of(plan, 0.3), 3)
    0.876
    """
    finite_number("difference", difference)
    if within is None:
        return plan.interval_widths(difference).chance_shown(difference)
    above_zero("within", within)
    return plan.interval_widths(difference, fine=True).chance_within(difference, within)


def smallest_visible_difference(plan: PlannedDesign, *, power: float = 0.8) -> SmallestDifference:
    """Smallest true difference that the trial shows with the power wanted.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.
    power : float, default 0.8
        Chance that the interval leaves out 0, above the chance at no difference.

    Returns
    -------
    SmallestDifference
        With its sentence.

    Raises
    ------
    ValueError
        If the power is out of range, or no difference reaches it because the gain error grows with it.
    RuntimeError
        If the power recomputed there is not the one wanted.

    Examples
    --------
    >>> plan = PlannedDesign("paired", 4, {"change": 0.1, "mount": 0.1, "run": 0.05}, mounts=2)
    >>> smallest_visible_difference(plan).words
    'a difference of 0.32 W is seen in 8 of 10 such trials'
    """
    found = _smallest_seen(plan, power)
    if math.isinf(found):
        gain = plan.shared_terms(1.0)["gain"].standard_uncertainty
        raise ValueError(
            f"power: found {power!r}, which no difference reaches: the gain error ({100 * gain:.3g} %) grows with it; "
            "accepted: a lower power or a better calibration"
        )
    check_reached(power_of(plan, found), found, power)
    words = f"a difference of {two_digits(found)} {plan.unit} is seen in {of_trials(power)} such trials"
    return SmallestDifference(found, power, words, plan, plan.unit, plan.notes)


def fit_for_question(plan: PlannedDesign, matters: float, *, power: float = 0.8) -> Fitness:
    """Say whether the difference that matters can be seen with this bench and this plan.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.
    matters : float
        The difference that matters, above 0.
    power : float, default 0.8
        Wanted.

    Returns
    -------
    Fitness
        One number, the smallest visible difference over the difference that matters, and one sentence.

    Raises
    ------
    ValueError
        If a number is out of range.

    Examples
    --------
    >>> plan = PlannedDesign("paired", 4, {"change": 0.1, "mount": 0.1, "run": 0.05}, mounts=2)
    >>> round(fit_for_question(plan, 0.25).ratio, 2)
    1.28
    """
    above_zero("matters", matters)
    unit, chance = plan.unit, power_of(plan, matters)
    smallest = _smallest_seen(plan, power)
    fit = smallest <= matters and plan.verdict_possible
    start = "with this bench and this plan the difference that matters"
    seen = f"a true difference of {matters:g} {unit} is seen in {of_trials(chance)} such trials"
    if fit:
        words = f"{start} can be seen: {seen}"
    elif not plan.verdict_possible:
        words = f"{start} cannot be claimed: two units give no verdict"
    else:
        instead = "" if math.isinf(smallest) else f", {of_trials(power)} would see {two_digits(smallest)} {unit}"
        words = f"{start} cannot be relied on to be seen: {seen}{instead}"
    return Fitness(smallest / matters, fit, words, matters, chance, smallest, power, unit, plan.notes)


def of_trials(chance: float) -> str:
    """A chance as a number of trials.

    Parameters
    ----------
    chance : float
        Between 0 and 1.

    Returns
    -------
    str
        Of ten where that is exact, else of a hundred.

    Examples
    --------
    >>> of_trials(0.8), of_trials(0.873), of_trials(0.999)
    ('8 of 10', '87 of 100', 'more than 99 of 100')
    """
    if chance > 0.995:
        return "more than 99 of 100"
    if chance < 0.005:
        return "fewer than 1 of 100"
    if abs(10 * chance - round(10 * chance)) < 1e-6:
        return f"{round(10 * chance)} of 10"
    return f"{round(100 * chance)} of 100"


def _smallest_seen(plan: PlannedDesign, power: float) -> float:
    """The difference at which the power is the one wanted; infinite where none reaches it."""
    unit, alpha = plan.standard_uncertainty(), 1 - plan.confidence
    return smallest_difference(lambda d: power_of(plan, d), unit, power, alpha, farthest=FAR)


def design_and_units(plan: PlannedDesign) -> str:
    """Show the design with the units of its groups.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.

    Returns
    -------
    str
        For a row.
    """
    return f"{plan.design}, {' and '.join(map(str, plan.units))}"
