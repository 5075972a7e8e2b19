"""Pieces of the result sheet for a reviewer: the plan and departures from it, and what hangs on choices and units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lossstats.comparison.statement import printed_places
from lossstats.records.rendering import decimals_for, shown
from lossstats.run_plan.plan_record import NO_PLAN
from lossstats.sheet.sheet_page import bullets, paragraph, section, subsection, table

if TYPE_CHECKING:
    from lossstats.conclusion.choices import NotApplied
    from lossstats.conclusion.looks import Look
    from lossstats.conclusion.reanalysis import ChoiceRow
    from lossstats.conclusion.result import Result

_SEVERAL = "it is computed for two conditions, and this trial compares several"
_NOT_ASKED = "it was not asked for with this result; `lossstats sensitivity` on the trial folder prints it"
_ONE_UNIT = "there is one unit, and nothing is left without it"


def plan_section(result: Result) -> str:
    """Show the seal of the plan, every departure from it, and earlier looks at the data.

    Parameters
    ----------
    result : Result
        The finished result.

    Returns
    -------
    str
        HTML; without a sealed plan it says what nothing shows then.
    """
    return section("Plan and departures", _plan(result), _looks(result.earlier_looks))


def _plan(result: Result) -> str:
    plan = result.plan
    if plan is None:
        return paragraph(f"{NO_PLAN[0].upper()}{NO_PLAN[1:]}.")
    rows = [("SHA-256 of the sealed plan", plan.sha256), ("runs planned", str(plan.planned_runs))]
    parts = [table("Sealed plan", ("what", "as sealed"), rows, kind="words seal")]
    parts.append(
        subsection("Departures", bullets(plan.departures) or paragraph("None: carried out as the sealed plan says."))
    )
    if plan.confounded:
        parts.append(
            subsection("What the order cannot tell apart, as said before the first run", bullets(plan.confounded))
        )
    return "".join(parts)


def _looks(looks: Sequence[Look]) -> str:
    if not looks:
        return ""
    rows = [(str(number), str(look.runs), look.units, look.verdict) for number, look in enumerate(looks, start=1)]
    head = ("look", "runs", "units", "verdict")
    return table("Earlier looks at other states of the data", head, rows, numbers=(1,), kind="words")


def sensitivity_section(result: Result) -> str:
    """Show what other reasonable choices would have given, and what the verdict is without each unit.

    Parameters
    ----------
    result : Result
        The finished result.

    Returns
    -------
    str
        HTML; what was not computed is said to be so.
    """
    return section(
        "How much hangs on choices and on single units",
        subsection("Other reasonable choices", _choices(result)),
        subsection("Without each unit in turn", _left_out(result)),
    )


def _choices(result: Result) -> str:
    found = result.sensitivity
    if found is None:
        return paragraph(f"Not computed: {_SEVERAL if result.comparison is None else _NOT_ASKED}.")
    notes = list(dict.fromkeys(row.note for row in found.choices if row.note))
    rows = [_choice_row(result, "planned", found.planned, "")]
    rows += [_choice_row(result, row.choice, row, _mark(row.note, notes)) for row in found.choices]
    head = ("choice", *_head(result))
    caption = "One decision changed at a time away from the plan"
    made = table(caption, head, rows, numbers=range(1, 5), kind="small choices")
    return (
        bullets(found.sentences)
        + made
        + _numbered(notes)
        + _spared("Choices that change nothing here, or cannot be tried", found.not_applied)
    )


def _left_out(result: Result) -> str:
    found = result.influence
    if found is None:
        return paragraph(f"Not computed: {_why_no_influence(result)}.")
    if not found.rows:
        return bullets(found.sentences) + _spared("Units that cannot be spared", found.not_left_out)
    rows = []
    for row in (found.planned, *found.rows):
        name = f"{row.left_out} (untouched)" if row.group == "control" else row.left_out
        value, *rest = _numbers(result, row.saving, row.low, row.high, row.percent, row.percent_low, row.percent_high)
        moved = shown(row.shift, _places(result)) if row.left_out else ""
        rows.append((name or "none", value, moved, *rest, _verdict(row.verdict, row.left_out, changed=row.changed)))
    saving, *others = _head(result)
    head = ("left out", saving, f"moved by ({found.unit})", *others)
    made = table("The whole comparison without one unit", head, rows, numbers=range(1, 6), kind="small choices")
    return bullets(found.sentences) + made + _spared("Units that cannot be spared", found.not_left_out)


def _why_no_influence(result: Result) -> str:
    if result.comparison is None:
        return _SEVERAL
    one = len({(value.unit, value.group) for value in result.units}) == 1
    return _ONE_UNIT if one else _NOT_ASKED


def _places(result: Result) -> int:
    c = result.compared
    return printed_places(c.difference, c.verdict.matters) if c.difference else 2


def _head(result: Result) -> tuple[str, ...]:
    keys, unit = result.settings.comparison, result.settings.trial.unit
    interval = f"{100 * keys.confidence:g} % interval"
    return f"saving ({unit})", f"{interval} ({unit})", "in percent (%)", f"{interval} (%)", "verdict"


def _choice_row(result: Result, name: str, row: ChoiceRow, mark: str) -> tuple[str, ...]:
    numbers = _numbers(result, row.saving, row.low, row.high, row.percent, row.percent_low, row.percent_high)
    return name, *numbers, _verdict(row.verdict, "" if row.headline else name, changed=row.changed) + mark


def _verdict(words: str, name: str, *, changed: bool) -> str:
    return f"changed: {words}" if changed and name else words


def _numbers(
    result: Result,
    saving: float,
    low: float | None,
    high: float | None,
    percent: float | None,
    percent_low: float | None,
    percent_high: float | None,
) -> tuple[str, str, str, str]:
    per_cent = result.compared.percent
    places, tenths = _places(result), decimals_for(per_cent.standard_uncertainty) if per_cent else 1
    part = "none" if percent is None else shown(percent, tenths)
    return shown(saving, places), _ends(low, high, places), part, _ends(percent_low, percent_high, tenths)


def _ends(low: float | None, high: float | None, places: int) -> str:
    return "none" if low is None or high is None else f"{shown(low, places)} to {shown(high, places)}"


def _mark(note: str, notes: Sequence[str]) -> str:
    return f" (note {notes.index(note) + 1})" if note else ""


def _numbered(notes: Sequence[str]) -> str:
    return bullets([f"Note {number}: {note}." for number, note in enumerate(notes, start=1)])


def _spared(caption: str, items: Sequence[NotApplied]) -> str:
    rows = [(item.choice, item.reason) for item in items]
    return table(caption, ("what", "why"), rows, kind="words") if rows else ""
