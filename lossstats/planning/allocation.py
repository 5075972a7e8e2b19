"""The cheapest trial: how many articles, mounts and runs for stated costs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from lossstats.planning.plan_changes import advice, checked_costs, cost_of
from lossstats.planning.planned_checks import as_term
from lossstats.planning.planned_design import Design, PlannedDesign
from lossstats.planning.planning import design_and_units, power_of
from lossstats.planning.trial_size import (
    check_question,
    counted,
    least_units,
    refuse_limit,
    smallest_plan,
    smallest_size,
)
from lossstats.records.argument_checks import whole_number
from lossstats.records.rendering import Record

if TYPE_CHECKING:
    import pandas as pd

_COLUMNS = ["articles", "mounts", "runs", "power", "cost"]


@dataclass(frozen=True)
class Allocation(Record):
    """The cheapest trial that reaches its power.

    Attributes
    ----------
    plan : PlannedDesign
        The trial.
    cost : float
        In the unit of the costs given.
    power : float
        Recomputed for the plan.
    words : str
        The plan as a sentence.
    advice : str
        The one change that would help most.
    start : tuple of float
        Mounts and runs of the continuous optimum, from which the search starts; a value is nan where the components
        do not fix it.
    candidates : tuple of tuple
        For each number of mounts and runs the cheapest trial: articles, mounts, runs, power, cost; cheapest first.
    notes : tuple of str
        What must be known before the bench is booked.
    """

    plan: PlannedDesign
    cost: float
    power: float
    words: str
    advice: str
    start: tuple[float, float]
    candidates: tuple[tuple[int, int, int, float, float], ...]
    notes: tuple[str, ...] = ()

    title = "Cheapest trial"

    @property
    def table(self) -> pd.DataFrame:
        """Table of the plan and its runners-up, cheapest first.

        Returns
        -------
        pandas.DataFrame
            Columns articles, mounts, runs, power, cost.
        """
        import pandas as pd

        return pd.DataFrame(list(self.candidates), columns=_COLUMNS)

    def _rows(self) -> list[tuple[str, str]]:
        rows = [("in words", self.words), ("cost", f"{self.cost:g}"), ("power", f"{self.power:.3f}")]
        rows.append(("design, units", design_and_units(self.plan)))
        for n, m, r, power, cost in self.candidates[1:4]:
            rows.append(("runner-up", f"{n} x {m} x {r} for {cost:g}, power {power:.3f}"))
        return [*rows, ("what helps most", self.advice), *(("note", note) for note in self.notes)]


def cheapest_plan(
    design: Design,
    difference: float,
    components: Mapping[str, Any],
    costs: Mapping[str, float],
    *,
    power: float = 0.8,
    within: float | None = None,
    most_articles: int = 40,
    most_mounts: int = 6,
    most_runs: int = 6,
    **keys: Any,
) -> Allocation:
    """Cheapest numbers of articles, mounts and runs with which the trial reaches its power.

    Parameters
    ----------
    design : {"paired", "crossover", "independent", "controls", "single", "several"}
        As in trial.toml; for design single the mounts are the units, and `most_articles` is the most of them.
    difference : float
        True difference.
    components : mapping
        As `PlannedDesign` takes them.
    costs : mapping of str to float
        Of one ``article``, ``mount``, ``run`` in any one unit (money, minutes); ``reference`` for one reference run,
        as a mount and a run if left out; ``longer_run`` for making one run twice as long, as a run if left out.
    power : float, default 0.8
        Wanted.
    within : float, optional
        The difference that matters, where the trial is to claim that there is none that matters.
    most_articles, most_mounts, most_runs : int
        Largest numbers searched: articles a condition, mounts an article and condition, runs a mount.
    **keys
        Further fields of `PlannedDesign`.

    Returns
    -------
    Allocation
        The plan, its cost, the runners-up and the change that would help most.

    Raises
    ------
    ValueError
        If an argument is out of range, or no plan of the size asked for reaches the power.

    Notes
    -----
    All numbers of mounts and runs are searched, from the continuous optimum outwards: r = √(c_mount σ_run² / (c_run
    σ_mount²)), m = √(c_article σ_mount² / (c_mount σ²)), σ² the variance that remounting does not lower (Cochran,
    1977, Sampling Techniques, 10.6, from memory). For each of them power rises with the number of articles.

    Examples
    --------
    >>> cheapest_plan(
    ...     "paired", 0.5, {"change": 0.1, "mount": 0.1, "run": 0.05}, {"article": 30, "mount": 15, "run": 20}
    ... ).cost
    400.0
    """
    prices = checked_costs(costs)
    single = design == "single"
    least = least_units(design, keys)
    searched = [name for name in ("mounts", "runs") if name in keys]
    if searched:
        raise ValueError(f"{searched[0]}: found {keys[searched[0]]!r}; accepted: none, as it is searched for")
    plan = smallest_plan(design, components, keys, least)
    check_question(difference, within, power, most_articles, plan)
    for name, most in (("most_mounts", most_mounts), ("most_runs", most_runs)):
        whole_number(name, most, 1)
    refuse_limit(plan, difference, within, power)
    start = _continuous_optimum(plan, prices)
    found = []
    for m, r in _outwards(start, 1 if single else most_mounts, most_runs):
        tried = replace(plan, runs=r) if single else replace(plan, mounts=m, runs=r)

        def reached(units: int, tried: PlannedDesign = tried) -> float:
            return power_of(tried.of_size(units), difference, within=within)

        units = smallest_size(reached, power, least, most_articles)
        if units is not None:
            final = tried.of_size(units)
            found.append((cost_of(final, prices), final, reached(units)))
    if not found:
        raise _out_of_reach(plan, difference, power, within, (most_articles, most_mounts, most_runs))
    found.sort(key=lambda entry: (entry[0], -entry[2]))
    cost, best, reached_power = found[0]
    rows = tuple((p.articles, p.mounts, p.runs, chance, price) for price, p, chance in found)
    words = f"{counted(best)}, {_per_unit(best)}: costs {cost:g}, power {reached_power:.2f}"
    notes = (*_at_edge(best, most_articles + 1 if single else most_mounts, most_runs), *best.notes)
    return Allocation(best, cost, reached_power, words, advice(best, costs), start, rows, notes)


def _continuous_optimum(plan: PlannedDesign, costs: Mapping[str, float]) -> tuple[float, float]:
    variance = {name: as_term(value).standard_uncertainty ** 2 for name, value in plan.components.items()}
    run = variance.get("run", 0.0) + variance.get("readings", 0.0) / plan.run_length
    mount, change = variance.get("mount", 0.0), variance.get("change", 0.0)
    groups = plan.design == "independent" or (plan.design == "several" and not plan.blocks)
    # A pair is one article with two sets of mounts: its cost is shared by both, as is the variance of its change.
    fixed = variance.get("article", 0.0) + change / 2 if groups else change
    r = _root(costs["mount"] * run, costs["run"] * mount)
    m = math.nan if plan.design == "single" else _root(costs["article"] * mount, costs["mount"] * fixed)
    return m, r


def _root(above: float, below: float) -> float:
    return math.sqrt(above / below) if below > 0 else math.nan


def _outwards(start: tuple[float, float], most_mounts: int, most_runs: int) -> Iterator[tuple[int, int]]:
    m0, r0 = (1.0 if math.isnan(x) else x for x in start)
    pairs = [(m, r) for m in range(1, most_mounts + 1) for r in range(1, most_runs + 1)]
    return iter(sorted(pairs, key=lambda pair: abs(pair[0] - m0) + abs(pair[1] - r0)))


def _at_edge(plan: PlannedDesign, most_mounts: int, most_runs: int) -> tuple[str, ...]:
    edges = (("mounts", plan.mounts, most_mounts), ("runs", plan.runs, most_runs))
    return tuple(
        f"the cheapest plan has the most {name} searched ({most}); a larger most_{name} may find a cheaper one"
        for name, number, most in edges
        if number == most > 1
    )


def _out_of_reach(
    plan: PlannedDesign, difference: float, power: float, within: float | None, most: tuple[int, int, int]
) -> ValueError:
    units, mounts, runs = most
    if plan.design == "single":
        largest, size = replace(plan, mounts=units, runs=runs), f"{units} mounts, {runs} runs"
    else:
        largest = replace(plan, articles=units, mounts=mounts, runs=runs)
        size = f"{units} articles, {mounts} mounts, {runs} runs"
    chance = power_of(largest, difference, within=within)
    return ValueError(
        f"power: {power:g} wanted of a difference of {difference:g} {plan.unit}, found {chance:.3g} with "
        f"{size}, the most asked for; accepted: larger most_articles, "
        "most_mounts, most_runs, a larger difference, or a lower power"
    )


def _per_unit(plan: PlannedDesign) -> str:
    runs = f"{plan.runs} {'run' if plan.runs == 1 else 'runs'} a mount"
    if plan.design == "single":
        return runs
    return f"{plan.mounts} {'mount' if plan.mounts == 1 else 'mounts'} each, {runs}"
