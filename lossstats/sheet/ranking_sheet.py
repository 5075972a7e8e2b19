"""Pieces of the result sheet for a ranking of several conditions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from lossstats.records.rendering import decimals_for, shown, shown_dof, shown_p
from lossstats.several.ranking_statement import places_of
from lossstats.sheet.sheet_page import picture, section, table

if TYPE_CHECKING:
    from lossstats.conclusion.result import Result
    from lossstats.several.ranked import ControlRatio, Ranking


def differences_section(result: Result, pictures: Mapping[str, bytes]) -> str:
    """Show the differences with their intervals, the ratios and what goes with them.

    Parameters
    ----------
    result : Result
        The finished result of a trial of several conditions.
    pictures : mapping of str to bytes
        PNG of the figures by name.

    Returns
    -------
    str
        HTML.
    """
    ranking = result.ranked
    parts = [picture(pictures["ranking"], result.statement.sentences[0], _caption(result)), _differences(ranking)]
    if ranking.control_ratios:
        head = ("condition", f"percent of {ranking.control} (%)", f"{ranking.confidence * 100:g} % interval")
        rows = [_ratio_row(ratio) for ratio in ranking.control_ratios]
        parts.append(table("Levels in percent of the control; intervals hold together", head, rows, numbers=(1, 2)))
    return section("The differences", *parts, table("What goes with them", ("quantity", "value"), _further(ranking)))


def _caption(result: Result) -> str:
    ranking, trial = result.ranked, result.settings.trial
    better = trial.better
    against = "the first condition named" if ranking.control is None else ranking.control
    text = f"Saving against {against}, in {trial.unit}: above 0 the {trial.measurand} is {better}."
    if ranking.leading.verdict.matters is None:
        return f"{text} No difference that matters was declared."
    return f"{text} Grey: less than the declared difference that matters."


def _differences(ranking: Ranking) -> str:
    rows = []
    for pair in ranking.comparisons:
        places = places_of(pair)
        value, low, high, u = (
            shown(x, places) for x in (pair.difference, pair.low, pair.high, pair.standard_uncertainty)
        )
        name, dof = f"{pair.second} against {pair.first}", shown_dof(pair.degrees_of_freedom)
        rows.append((name, value, f"{low} to {high}", u, dof, shown_p(pair.p_adjusted), pair.verdict.words))
    head = (
        f"saving ({ranking.unit})", "value", f"{ranking.confidence * 100:g} % interval", "standard uncertainty",
        "degrees of freedom", "adjusted p", "verdict",
    )  # fmt: skip
    return table("Differences; their intervals hold together", head, rows, numbers=range(1, 6))


def _ratio_row(ratio: ControlRatio) -> tuple[str, str, str]:
    if ratio.percent is None or ratio.low is None or ratio.high is None:
        return ratio.condition, "none", ratio.why_no_percent
    places = decimals_for((ratio.high - ratio.low) / 4)
    value, low, high = (shown(x, places) for x in (ratio.percent, ratio.low, ratio.high))
    return ratio.condition, value, f"{low} to {high}"


def _further(ranking: Ranking) -> list[tuple[str, str]]:
    lines = [("order by mean, best first", ", ".join(ranking.order))]
    lines += [("cannot be told apart", ", ".join(group)) for group in ranking.groups]
    if ranking.overall is None:
        lines.append(("any difference at all", f"no test: {ranking.why_no_overall}"))
    else:
        lines += [("p of no difference at all", shown_p(ranking.overall.p_value)), ("by", ranking.overall.method)]
    matters = ranking.leading.verdict.matters
    if matters is not None:
        lines.append((f"difference that matters ({ranking.unit})", f"{matters:g}"))
    return [*lines, ("intervals and adjusted p", ranking.method)]


def ranked_values_section(result: Result, pictures: Mapping[str, bytes]) -> str:
    """Show the unit values that were compared.

    Parameters
    ----------
    result : Result
        The finished result of a trial of several conditions.
    pictures : mapping of str to bytes
        PNG of the figures by name.

    Returns
    -------
    str
        HTML.
    """
    keys, ranking = result.settings.comparison, result.ranked
    places = min(4, max((decimals_for(run.level.standard_uncertainty) for run in result.runs if run.used), default=3))
    cells = {(u.unit, u.condition): shown(u.value, places) for u in result.units}
    names = list(dict.fromkeys(u.unit for u in result.units))
    rows = [[name, *(cells.get((name, condition), "") for condition in keys.all_conditions)] for name in names]
    rows.append(["mean", *(shown(ranking.means[condition], places) for condition in keys.all_conditions)])
    head = (keys.unit_of_replication, *(f"{name} ({ranking.unit})" for name in keys.all_conditions))
    alt = f"Values of the units in {len(ranking.order)} conditions; the numbers are in the table below"
    caption = (
        f"One mark per {keys.unit_of_replication} and condition: the mean of its mounts. A bar spans conditions that "
        "cannot be told apart, which is not the same as equal."
    )
    values = table("Unit values", head, rows, numbers=range(1, len(head)))
    return section("The values compared", picture(pictures["conditions"], alt, caption, "narrow"), values)
