"""Pieces of the result sheet on the saving: its interval, its budget, and the values that were compared."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from lossstats.comparison.statement import printed_places
from lossstats.records.rendering import decimals_for, shown, shown_dof, shown_p, two_digits
from lossstats.sheet.sheet_page import paragraph, picture, section, table

if TYPE_CHECKING:
    from lossstats.comparison.comparison import Comparison
    from lossstats.conclusion.result import Result
    from lossstats.conclusion.saving_budget import SavingSource
    from lossstats.records.estimate import Estimate


def saving_section(result: Result, pictures: Mapping[str, bytes]) -> str:
    """Show the saving with its interval, in its unit and in percent, and the p values.

    Parameters
    ----------
    result : Result
        The finished result of a trial of two conditions.
    pictures : mapping of str to bytes
        PNG of the figures by name.

    Returns
    -------
    str
        HTML.
    """
    first = result.statement.sentences[0]
    return section(
        "The saving and its interval",
        picture(pictures["saving"], first, _caption(result), "half"),
        _interval_table(result),
        _further_table(result),
    )


def _caption(result: Result) -> str:
    c, keys, trial = result.compared, result.settings.comparison, result.settings.trial
    names = (keys.before, keys.after) if trial.better == "lower" else (keys.after, keys.before)
    text = f"Saving: {' minus '.join(names)}, in {trial.unit}; "
    text += f"above 0 the {trial.measurand} is {trial.better} {keys.after}."
    if c.verdict.matters is not None:
        return f"{text} Grey: less than the declared difference that matters."
    return f"{text} No difference that matters was declared."


def _places(c: Comparison) -> int:
    return printed_places(c.difference, c.verdict.matters) if c.difference else 2


def _percent_places(c: Comparison) -> int:
    return decimals_for(c.percent.standard_uncertainty) if c.percent else 1


def _interval_table(result: Result) -> str:
    c, unit = result.compared, result.settings.trial.unit
    rows = [
        _estimate_row(f"saving ({unit})", c.difference, c.observed, _places(c)),
        _estimate_row("in percent of the level before (%)", c.percent, c.observed_percent, _percent_places(c)),
    ]
    if c.period is not None:
        places = decimals_for(c.period.standard_uncertainty)
        rows.append(_estimate_row(f"second period lower by ({unit})", c.period, c.period.value, places))
    interval = f"{100 * result.settings.comparison.confidence:g} % interval"
    head = ("quantity", "value", interval, "standard uncertainty", "degrees of freedom")
    return table("The saving and its interval", head, rows, numbers=range(1, 5))


def _estimate_row(name: str, estimate: Estimate | None, observed: float, places: int) -> tuple[str, ...]:
    if estimate is None:
        return name, "none" if math.isnan(observed) else f"{shown(observed, places)} as read", "none", "none", "none"
    ends = f"{shown(estimate.low, places)} to {shown(estimate.high, places)}"
    u = shown(estimate.standard_uncertainty, places)
    return name, shown(estimate.value, places), ends, u, shown_dof(estimate.degrees_of_freedom)


def _further_table(result: Result) -> str:
    c, keys, unit = result.compared, result.settings.comparison, result.settings.trial.unit
    rows = [
        (f"mean level, {keys.before} ({unit})", shown(c.before_mean, _places(c))),
        (f"mean level, {keys.after} ({unit})", shown(c.after_mean, _places(c))),
        ("design, units", f"{c.design}, {' and '.join(map(str, c.n))}"),
        ("verdict", c.verdict.words),
        ("by the rule", c.verdict.why),
    ]
    if c.verdict.matters is not None:
        rows.append((f"difference that matters ({unit})", f"{c.verdict.matters:g}"))
    rows += _p_rows(c)
    if c.fieller_percent is not None:
        ends = " to ".join(shown(end, _percent_places(c)) for end in c.fieller_percent)
        rows.append(("check: percent by Fieller's method, scatter alone (%)", ends))
    if c.units_to_decide is not None:
        rows.append(("units a condition that would decide", str(c.units_to_decide)))
    for name, why in (("no interval, because", c.why_no_interval), ("no percentage, because", c.why_no_percent)):
        if why:
            rows.append((name, why))
    return table("What goes with it", ("quantity", "value"), rows, kind="words")


def _p_rows(c: Comparison) -> list[tuple[str, str]]:
    rows = []
    if c.p_value is not None:
        rows.append(("p of no difference", shown_p(c.p_value)))
    if c.p_equivalence is not None:
        rows.append(("p of the two one-sided tests, against the difference that matters", shown_p(c.p_equivalence)))
    if c.exact is not None:
        rows.append(("exact p of no difference", shown_p(c.exact.p_value)))
        rows.append(("exact p, smallest reachable", shown_p(c.exact.smallest_p)))
    return rows


def budget_section(result: Result, pictures: Mapping[str, bytes]) -> str:
    """Show every source of uncertainty, with what it adds, or why it adds nothing.

    Parameters
    ----------
    result : Result
        The finished result.
    pictures : mapping of str to bytes
        PNG of the figures by name.

    Returns
    -------
    str
        HTML.
    """
    heading, difference = "What the uncertainty is made of", result.headline
    if difference is None:
        return section(heading, paragraph(f"No budget: {result.budget.why_none}."))
    rows = [_source_row(source) for source in result.budget.sources]
    dof, u = shown_dof(difference.degrees_of_freedom), two_digits(difference.standard_uncertainty)
    per_cent = result.budget.percent_standard_uncertainty
    combined = ["combined", "", dof, u, "100.0"]
    head = ["source", "type", "dof", f"u of the saving ({result.settings.trial.unit})", "share (%)"]
    if per_cent is not None:
        head += ["u in percent (%)", "share (%)"]
        combined += [two_digits(per_cent), "100.0"]
    numbers = range(2, len(head))
    alt = "Shares of the variance: " + ", ".join(f"{row[0]} {row[4]} %" for row in rows)
    caption = f"Sources by their share of the variance of {_of_what(result)}."
    rows.append((*combined, "root of the sum of squares", ""))
    made = table(
        "Uncertainty budget of the saving", (*head, "what it is", "how it counts"), rows, numbers=numbers, kind="budget"
    )
    return section(heading, made, picture(pictures["budget"], alt, caption, "half"))


def _of_what(result: Result) -> str:
    if result.ranking is None:
        return "the saving"
    leading = result.ranking.leading
    return f"the saving with {leading.second} against {leading.first}; those of the others are in result.json"


def _source_row(s: SavingSource) -> tuple[str, ...]:
    row = [s.source, s.kind, shown_dof(s.degrees_of_freedom), two_digits(s.contribution), shown(100 * s.share, 1)]
    if s.percent_contribution is not None and s.percent_share is not None:
        row += [two_digits(s.percent_contribution), shown(100 * s.percent_share, 1)]
    return (*row, s.stated, s.counted)


def values_section(result: Result, pictures: Mapping[str, bytes]) -> str:
    """Show the values that were compared, one a unit and condition.

    Parameters
    ----------
    result : Result
        The finished result of a trial of two conditions.
    pictures : mapping of str to bytes
        PNG of the figures by name.

    Returns
    -------
    str
        HTML.
    """
    keys = result.settings.comparison
    alt = f"Values of the units {keys.before} and {keys.after}; the numbers are in the table below"
    caption = f"One mark per {keys.unit_of_replication} and condition: the mean of its mounts."
    if result.compared.design == "single":
        caption = (
            "One mark per run; bars: interval of its level by the readings alone. What refitting does is not in them."
        )
    shown_values = picture(pictures["pairs"], alt, caption) + _unit_table(result)
    return section("The values compared", f'<div class="beside">{shown_values}</div>')


def _unit_table(result: Result) -> str:
    keys, unit = result.settings.comparison, result.settings.trial.unit
    cells = {(u.group, u.unit, u.condition): u for u in result.units}
    places = max((decimals_for(run.level.standard_uncertainty) for run in result.runs if run.used), default=3)
    rows = []
    for group, name in dict.fromkeys((u.group, u.unit) for u in result.units):
        row = [f"{name} (untouched)" if group == "control" else name]
        for condition in (keys.before, keys.after):
            u = cells.get((group, name, condition))
            row += [shown(u.value, min(places, 4)), f"{u.mounts}, {u.runs}"] if u else ["", ""]
        rows.append(row)
    behind = "mounts, runs"
    head = (keys.unit_of_replication, f"{keys.before} ({unit})", behind, f"{keys.after} ({unit})", behind)
    return table("Unit values", head, rows, numbers=range(1, 5), kind="small")
