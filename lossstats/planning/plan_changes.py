"""What a plan costs, and which one change of it would help most for its cost."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import of_trials, smallest_visible_difference
from lossstats.records.argument_checks import not_negative
from lossstats.records.rendering import two_digits

COSTS = ("article", "mount", "run", "reference", "longer_run")


@dataclass(frozen=True)
class Change:
    """One change of a plan and what it brings.

    Attributes
    ----------
    words : str
        What is changed.
    difference : float
        Smallest visible difference after it.
    cost : float
        Added cost; below 0 where it saves.
    gain : float
        Relative fall of the smallest visible difference (natural logarithm) per unit of cost; infinite for a gain
        that costs nothing.
    """

    words: str
    difference: float
    cost: float
    gain: float


def advice(plan: PlannedDesign, costs: Mapping[str, float], *, power: float = 0.8) -> str:
    """Name the one change of a plan that would help most for its cost.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.
    costs : mapping of str to float
        As `cheapest_plan` takes them.
    power : float, default 0.8
        At which the smallest visible difference is taken.

    Returns
    -------
    str
        One sentence.

    Raises
    ------
    ValueError
        If a cost is missing or negative.
    """
    changes = changes_of(plan, costs, power=power)
    now = smallest_visible_difference(plan, power=power).difference
    best = next((change for change in changes if change.gain > 0), None)
    if best is None:
        return "none of the changes would lower the smallest visible difference"
    price = (
        f"for {best.cost:g} more" if best.cost > 0 else f"and {-best.cost:g} is saved" if best.cost else "at no cost"
    )
    return (
        f"{best.words} would help most: the difference seen in {of_trials(power)} such trials falls from "
        f"{two_digits(now)} to {two_digits(best.difference)} {plan.unit} {price}"
    )


def changes_of(plan: PlannedDesign, costs: Mapping[str, float], *, power: float = 0.8) -> tuple[Change, ...]:
    """What each single change of a plan brings for its cost.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.
    costs : mapping of str to float
        As `cheapest_plan` takes them.
    power : float, default 0.8
        At which the smallest visible difference is taken.

    Returns
    -------
    tuple of Change
        Best first: one more article, mount, run, reference run a session, runs of twice the length, pairing.

    Raises
    ------
    ValueError
        If a cost is missing or negative.
    """
    prices = checked_costs(costs)
    now = smallest_visible_difference(plan, power=power).difference
    here = cost_of(plan, prices)
    found = []
    for words, changed in _changed(plan):
        difference = smallest_visible_difference(changed, power=power).difference
        more = cost_of(changed, prices) - here
        if words.startswith("runs of twice"):
            more = prices["longer_run"] * _runs(plan)
        fall = math.log(now / difference)
        gain = fall / more if more > 0 else math.inf if fall > 0 else fall
        found.append(Change(words, difference, more, gain))
    return tuple(sorted(found, key=lambda change: -change.gain))


def cost_of(plan: PlannedDesign, costs: Mapping[str, float]) -> float:
    """Cost of a plan.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.
    costs : mapping of str to float
        Of one ``article``, ``mount``, ``run``; ``reference`` as a mount and a run if left out.

    Returns
    -------
    float
        Articles once each, mounts and runs in every condition, reference runs in every session.

    Raises
    ------
    ValueError
        If a cost is missing or negative.
    """
    prices = checked_costs(costs)
    references = plan.conditions * plan.references * prices["reference"]
    fittings = _fittings(plan)
    articles = 1 if plan.design == "single" else plan.articles
    if plan.design == "controls":
        articles = sum(plan.units)
    elif plan.design == "independent" or (plan.design == "several" and not plan.blocks):
        articles = plan.conditions * plan.articles
    return float(articles * prices["article"] + fittings * prices["mount"] + _runs(plan) * prices["run"] + references)


def _fittings(plan: PlannedDesign) -> int:
    articles = sum(plan.units) if plan.design == "controls" else plan.articles
    return plan.conditions * articles * plan.mounts


def _runs(plan: PlannedDesign) -> int:
    return _fittings(plan) * plan.runs


def _changed(plan: PlannedDesign) -> Iterator[tuple[str, PlannedDesign]]:
    """Every single change that the design allows."""
    single = plan.design == "single"
    if not single:
        step = 2 if plan.design == "crossover" else 1
        each = {"paired": "", "crossover": " in each order", "controls": " of each kind"}.get(plan.design, "")
        if plan.design == "independent" or (plan.design == "several" and not plan.blocks):
            each = " in each condition"
        controls = None if plan.controls is None else plan.controls + 1
        yield f"one more article{each}", replace(plan, articles=plan.articles + step, controls=controls)
    yield "one more mount of each article", replace(plan, mounts=plan.mounts + 1)
    yield "one more run of each mount", replace(plan, runs=plan.runs + 1)
    if plan.references:
        yield "one more reference run a session", replace(plan, references=plan.references + 1)
    if plan.components.get("readings"):
        yield "runs of twice the length", replace(plan, run_length=2 * plan.run_length)
    if plan.design == "independent" and "change" in plan.components:
        yield "measuring every article in both conditions", replace(plan, design="paired")
    if plan.design == "several" and not plan.blocks and "change" in plan.components:
        yield "measuring every article in every condition", replace(plan, blocks=True)


def checked_costs(costs: Mapping[str, float]) -> dict[str, float]:
    """Check costs and fill in those that follow from others.

    Parameters
    ----------
    costs : mapping of str to float
        As the user gave them.

    Returns
    -------
    dict of str to float
        One of every kind.

    Raises
    ------
    ValueError
        If one is missing, unknown, negative, or all are 0.
    """
    unknown = [name for name in costs if name not in COSTS]
    missing = [name for name in COSTS[:3] if name not in costs]
    if unknown or missing:
        found = f"{unknown[0]!r}" if unknown else f"no {missing[0]!r}"
        raise ValueError(f"costs: found {found}; accepted: article, mount, run, and reference, longer_run if wanted")
    prices = {name: not_negative(f"costs[{name!r}]", cost) for name, cost in costs.items()}
    if not any(prices.values()):
        raise ValueError("costs: found 0 for all of them; accepted: at least one above 0")
    return {"reference": prices["mount"] + prices["run"], "longer_run": prices["run"], **prices}
