"""How many articles, or mounts of the one article, a trial needs to reach its power."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from lossstats.planning.planned_design import Design, PlannedDesign
from lossstats.planning.planning import (
    FAR,
    design_and_units,
    of_trials,
    power_of,
)
from lossstats.planning.power import smallest_difference
from lossstats.records.argument_checks import above_zero, whole_number
from lossstats.records.rendering import Record, two_digits

MOST_UNITS = 500


@dataclass(frozen=True)
class TrialSize(Record):
    """Smallest trial that reaches the power wanted.

    Attributes
    ----------
    units : int
        Articles (in each condition; both orders together for crossover); mounts a condition for design single.
    power : float
        Recomputed for that number.
    power_with_one_fewer : float or None
        The same with one unit fewer; None where fewer give no verdict.
    wanted : float
        Power asked for.
    difference : float
        True difference.
    within : float or None
        The difference that matters, where the claim is that there is none that matters.
    words : str
        The same as a sentence.
    plan : PlannedDesign
        The trial.
    notes : tuple of str
        What must be known before the bench is booked.
    """

    units: int
    power: float
    power_with_one_fewer: float | None
    wanted: float
    difference: float
    within: float | None
    words: str
    plan: PlannedDesign
    notes: tuple[str, ...] = ()

    title = "Size of the trial"

    def _rows(self) -> list[tuple[str, str]]:
        fewer = self.power_with_one_fewer
        rows = [
            ("in words", self.words),
            ("units", str(self.units)),
            ("power", f"{self.power:.3f} (wanted {self.wanted:g})"),
            ("with one fewer", "no verdict" if fewer is None else f"{fewer:.3f}"),
            ("design, units", design_and_units(self.plan)),
        ]
        return rows + [("note", note) for note in self.notes]


def size_trial(
    design: Design,
    difference: float,
    components: Mapping[str, Any],
    *,
    power: float = 0.8,
    within: float | None = None,
    most: int = MOST_UNITS,
    **keys: Any,
) -> TrialSize:
    """Smallest number of articles (mounts for one article) with which the trial reaches its power.

    Parameters
    ----------
    design : {"paired", "crossover", "independent", "controls", "single", "several"}
        As in trial.toml.
    difference : float
        True difference; 0 or smaller than `within` where that is given.
    components : mapping
        As `PlannedDesign` takes them.
    power : float, default 0.8
        Wanted.
    within : float, optional
        The difference that matters, where the trial is to claim that there is none that matters.
    most : int
        Largest number of units tried.
    **keys
        Further fields of `PlannedDesign`: mounts, runs, references, shared, confidence and so on.

    Returns
    -------
    TrialSize
        The power is recomputed for the number returned and for one fewer. At least three units of a group.

    Raises
    ------
    ValueError
        If an argument is out of range, or the power cannot be reached at any size asked for; says what limits it.

    Examples
    --------
    >>> size = size_trial("paired", 0.3, {"change": 0.1, "mount": 0.1, "run": 0.05})
    >>> size.units, round(size.power, 2), round(size.power_with_one_fewer, 2)
    (6, 0.88, 0.76)
    """
    least = least_units(design, keys)
    plan = smallest_plan(design, components, keys, least)
    check_question(difference, within, power, most, plan)
    refuse_limit(plan, difference, within, power)

    def reached(units: int) -> float:
        return power_of(plan.of_size(units), difference, within=within)

    units = smallest_size(reached, power, least, most)
    if units is None:
        raise ValueError(
            f"power: {power:g} wanted of a difference of {difference:g} {plan.unit}, found {reached(most):.3g} with "
            f"{most} {_what(plan)}, the most asked for; accepted: a larger most, more mounts or runs, a larger "
            "difference, or a lower power"
        )
    final = plan.of_size(units)
    fewer = reached(units - 1) if units > least else None
    words = f"{counted(final)}: {_claim(difference, within, plan.unit)} in {of_trials(reached(units))} such trials"
    return TrialSize(units, reached(units), fewer, power, difference, within, words, final, final.notes)


def least_units(design: str, keys: Mapping[str, Any]) -> int:
    """Smallest number of units with which a trial gives a verdict.

    Parameters
    ----------
    design : str
        As in trial.toml.
    keys : mapping
        Further fields of `PlannedDesign`.

    Returns
    -------
    int
        Three of each group; one mount where a repeatability is known.
    """
    if keys.get("repeatability") is not None:
        return 1
    return 6 if design == "crossover" else 3


def smallest_plan(design: Design, components: Mapping[str, Any], keys: Mapping[str, Any], least: int) -> PlannedDesign:
    """Make the plan from which the search starts.

    Parameters
    ----------
    design : str
        As in trial.toml.
    components : mapping
        As `PlannedDesign` takes them.
    keys : mapping
        Its further fields, without the number of units.
    least : int
        Smallest number of units.

    Returns
    -------
    PlannedDesign
        With that number.

    Raises
    ------
    ValueError
        If the number of units is among the fields, or a field is out of range.
    """
    sought = "mounts" if design == "single" else "articles"
    if sought in keys:
        raise ValueError(f"{sought}: found {keys[sought]!r}; accepted: none, as it is the number that is sought")
    return PlannedDesign(**{"design": design, "components": components, "articles": 1, **keys, sought: least})


def smallest_size(reached: Callable[[int], float], power: float, least: int, most: int) -> int | None:
    """Smallest number whose power is enough.

    Parameters
    ----------
    reached : callable
        Power by number of units; rises with it but for steps of one.
    power : float
        Wanted.
    least, most : int
        Numbers to search, both included.

    Returns
    -------
    int or None
        None where none is enough.
    """
    numbers = range(least, most + 1)
    first = bisect_left(numbers, power, key=reached)
    # Of an odd number of articles one order has one more: the power may fall by a step and rise again.
    while first > 0 and reached(numbers[first - 1]) >= power:
        first -= 1
    return numbers[first] if first < len(numbers) else None


def refuse_limit(plan: PlannedDesign, difference: float, within: float | None, power: float) -> None:
    """Refuse a power that the shared errors alone put out of reach.

    Parameters
    ----------
    plan : PlannedDesign
        Of any size.
    difference : float
        True difference.
    within : float or None
        The difference that matters, where there is to be none.
    power : float
        Wanted.

    Raises
    ------
    ValueError
        Names the shared errors, the power that they allow, and what would help.
    """
    limit = plan.widths_of_shared(difference)
    if limit is None:
        return
    chance = limit.chance_shown(difference) if within is None else limit.chance_within(difference, within)
    if chance >= power:
        return
    terms = plan.shared_terms(difference)
    named = ", ".join(f"{name} {term.standard_uncertainty:.3g} {plan.unit}" for name, term in terms.items())
    needed = "" if within is not None else _beyond(plan, power)
    raise ValueError(
        f"power: {power:g} wanted of a difference of {difference:g} {plan.unit}, found at most {chance:.3g} with any "
        f"number of {_what(plan)}: the errors that all of them share ({named}) do not fall with their number; "
        f"accepted: smaller shared errors (more reference runs, a better calibration), {needed}or a lower power"
    )


def _beyond(plan: PlannedDesign, power: float) -> str:
    def limited(difference: float) -> float:
        widths = plan.widths_of_shared(difference)
        return 1.0 if widths is None else widths.chance_shown(difference)

    unit = max(plan.standard_uncertainty(), 1e-300)
    found = smallest_difference(limited, unit, power, 1 - plan.confidence, farthest=FAR)
    return "" if math.isinf(found) else f"a difference above {two_digits(found)} {plan.unit}, "


def check_question(difference: float, within: float | None, power: float, most: int, plan: PlannedDesign) -> None:
    """Refuse a question that no trial could answer.

    Parameters
    ----------
    difference : float
        True difference.
    within : float or None
        The difference that matters, where there is to be none.
    power : float
        Wanted.
    most : int
        Largest number of units.
    plan : PlannedDesign
        The smallest trial.

    Raises
    ------
    ValueError
        Names the argument, what was found and what would be accepted.
    """
    whole_number("most", most, plan.size)
    if not math.isfinite(difference) or (within is None and difference == 0):
        raise ValueError(f"difference: found {difference!r}; accepted: a finite number other than 0")
    if within is not None:
        above_zero("within", within)
        if abs(difference) >= within:
            raise ValueError(
                f"difference: found {difference!r} with within {within!r}; accepted: a true difference smaller than "
                "the one that matters, 0 for none at all"
            )
    if not 1 - plan.confidence < power < 1:
        raise ValueError(
            f"power: found {power!r}; accepted: above the size of the test ({1 - plan.confidence:.3g}) and below 1"
        )


def _claim(difference: float, within: float | None, unit: str) -> str:
    if within is None:
        return f"a difference of {difference:g} {unit} is seen"
    truth = "there is none" if difference == 0 else f"it is {difference:g} {unit}"
    return f"no difference beyond {within:g} {unit} is claimed, where {truth},"


def _what(plan: PlannedDesign) -> str:
    return "mounts" if plan.design == "single" else "articles"


def counted(plan: PlannedDesign) -> str:
    """Say how many units a plan has, and of what.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.

    Returns
    -------
    str
        Without the mounts and runs of each.
    """
    what = {
        "paired": "articles, each in both conditions",
        "crossover": "articles in both orders together",
        "independent": "articles in each condition",
        "controls": "treated articles",
        "single": "mounts of the one article in each condition",
        "several": "articles, each in every condition" if plan.blocks else "articles in each condition",
    }[plan.design]
    extra = f" and {plan.units[1]} untouched ones" if plan.design == "controls" else ""
    return f"{plan.size} {what}{extra}"
