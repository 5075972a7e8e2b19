"""Power of a plan over the number of units or over the true difference, as a finished result to draw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import design_and_units, power_of, smallest_visible_difference
from lossstats.planning.trial_size import least_units
from lossstats.records.argument_checks import open_share, whole_number
from lossstats.records.rendering import Record

if TYPE_CHECKING:
    import pandas as pd

_POINTS = 61
_UNIT_NAMES = {
    "single": "mounts of the one article in each condition",
    "crossover": "articles in both orders together",
    "controls": "treated articles",
    "independent": "articles in each condition",
}


@dataclass(frozen=True)
class PowerCurve(Record):
    """Power of a plan over one of its numbers.

    Attributes
    ----------
    over : {"units", "difference"}
        What the power is shown over.
    values : tuple of float
        Numbers of units, or differences.
    power : tuple of float
        Power at each.
    planned_value : float or None
        Number of the plan on the same axis; None where no difference was named.
    planned_power : float or None
        Power there.
    wanted : float
        Power wanted.
    difference : float or None
        True difference of a curve over the units.
    within : float or None
        The difference that matters, where the claim is that there is none that matters.
    axis : str
        What `values` count, with its unit.
    plan : PlannedDesign
        The trial.
    """

    over: Literal["units", "difference"]
    values: tuple[float, ...]
    power: tuple[float, ...]
    planned_value: float | None
    planned_power: float | None
    wanted: float
    difference: float | None
    within: float | None
    axis: str
    plan: PlannedDesign

    title = "Power curve"

    @property
    def claim(self) -> str:
        """What the power is the chance of.

        Returns
        -------
        str
            In words.
        """
        unit = self.plan.unit
        if self.within is not None:
            return f"chance to claim no difference beyond {self.within:g} {unit}"
        if self.difference is not None:
            return f"chance to see a difference of {self.difference:g} {unit}"
        return "chance to see the difference"

    @property
    def table(self) -> pd.DataFrame:
        """Table of the curve.

        Returns
        -------
        pandas.DataFrame
            Columns named as `over`, and power.
        """
        import pandas as pd

        return pd.DataFrame({self.over: list(self.values), "power": list(self.power)})

    def _rows(self) -> list[tuple[str, str]]:
        rows = [("claim", self.claim), ("design, units", design_and_units(self.plan))]
        if self.planned_value is not None:
            rows.append(("planned", f"{self.planned_value:g} ({self.axis}), power {self.planned_power:.3f}"))
        first, last = (f"{self.values[i]:.3g}: {self.power[i]:.3f}" for i in (0, -1))
        return [*rows, (f"power over {self.axis}", f"{first} to {last}")]


def power_curve(
    plan: PlannedDesign,
    *,
    over: Literal["units", "difference"] = "units",
    difference: float | None = None,
    within: float | None = None,
    values: Sequence[float] | None = None,
    power: float = 0.8,
) -> PowerCurve:
    """Power of a plan over its number of units, or over the true difference.

    Parameters
    ----------
    plan : PlannedDesign
        The trial.
    over : {"units", "difference"}
        Articles (mounts for design single), or the true difference.
    difference : float, optional
        True difference: needed over the units but where `within` is given (then 0 if left out); over the difference
        the point to mark.
    within : float, optional
        The difference that matters, for the claim that there is none that matters.
    values : sequence of float, optional
        Where to compute; left out: from the smallest trial with a verdict to twice the plan, or from no difference to
        twice the smallest visible one.
    power : float, default 0.8
        Wanted; drawn as a line.

    Returns
    -------
    PowerCurve
        Finished numbers; `lossstats.planning.planning_figures.draw_power_curve` draws them.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Examples
    --------
    >>> plan = PlannedDesign("paired", 4, {"change": 0.1, "mount": 0.1, "run": 0.05})
    >>> [round(p, 2) for p in power_curve(plan, difference=0.3, values=(4, 6)).power]
    [0.58, 0.88]
    """
    if over not in ("units", "difference"):
        raise ValueError(f"over: found {over!r}; accepted: 'units' or 'difference'")
    open_share("power", power)
    if over == "difference":
        xs = tuple(float(x) for x in values) if values is not None else _differences(plan, within, power)
        chances = tuple(power_of(plan, x, within=within) for x in xs)
        marked = None if difference is None else power_of(plan, difference, within=within)
        return PowerCurve(
            over, xs, chances, difference, marked, power, None, within, f"true difference ({plan.unit})", plan
        )
    if difference is None and within is None:
        raise ValueError("difference: found none; accepted: the true difference, for a curve over the units")
    true = 0.0 if difference is None else difference
    sizes = _sizes(plan) if values is None else [whole_number(f"values[{i}]", x, 1) for i, x in enumerate(values)]
    chances = tuple(power_of(plan.of_size(n), true, within=within) for n in sizes)
    axis = _UNIT_NAMES.get(plan.design, "articles" if plan.blocks else "articles in each condition")
    here = power_of(plan, true, within=within)
    return PowerCurve(
        over, tuple(float(n) for n in sizes), chances, float(plan.size), here, power, true, within, axis, plan
    )


def _sizes(plan: PlannedDesign) -> list[int]:
    least = min(least_units(plan.design, {"repeatability": plan.repeatability}), plan.size)
    most = max(2 * plan.size, least + 6)
    step = max(1, math.ceil((most - least) / _POINTS))
    return sorted({*range(least, most + 1, step), plan.size})


def _differences(plan: PlannedDesign, within: float | None, power: float) -> tuple[float, ...]:
    if within is None:
        top = 2 * smallest_visible_difference(plan, power=max(power, 2 * (1 - plan.confidence))).difference
    else:
        top = 1.5 * within
    return tuple(top * i / (_POINTS - 1) for i in range(_POINTS))
