"""The printable run sheet: an A4 page for the bench, with the planned times and boxes to fill by hand."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from itertools import groupby

from lossstats.run_plan.run_order import RunOrder
from lossstats.sheet.sheet_page import bullets, page, paragraph, section
from lossstats.sheet.sheet_record import CAUTIONS
from lossstats.trial_folder.plan_file import SealedPlan
from lossstats.trial_folder.plan_times import Change, OrderedRun, change_takes_time, changes_of_condition
from lossstats.trial_folder.settings import PlanKeys, Settings

FILE = "run_sheet.html"
_AT_THE_BENCH = (
    "Start: the time at which recording begins, to the minute, by the clock that the samples go by. Write it over the "
    "planned start in run_sheet.csv; the planned one stays in plan.json.",
    "Nothing is touched during a run. Taking an article off and fitting it again makes a new mount.",
    "Keep the order. A run that went wrong stays in the list, role dropped and the reason under remarks; its repeat is "
    "a further row under a name of its own. An article that went out is dropped in all its rows.",
    "Reference and zero runs are not left out for want of time: a test run outside them cannot be corrected for drift.",
    "Sample files are not written to once they are recorded.",
    "What departs from the plan is named in the result; write the reason here while it is known.",
)
_STYLE = """
.day table, .filled table { width: 100%; font-size: .85rem; }
.day td, .day th, .filled td, .filled th { vertical-align: middle; padding: .2rem .5rem .2rem 0; min-width: 0; }
.day tbody tr, .filled tbody tr { height: 2.3rem; }
.day td.box, .filled td.box { border: 1px solid var(--soft); }
.day .time, .filled .time { white-space: nowrap; } .day .box.time { width: 5rem; } .day .box.initials { width: 4rem; }
.day .box.remarks { width: 42%; } .filled .box { width: 5rem; } .day th, .filled th { min-width: 3rem; }
.day tr.check td, .day tr.check th { color: var(--soft); font-weight: 400; }
.day tr.check td.box { background: none; } .day tr.block td, .day tr.block th { border-top: 2px solid var(--ink); }
.seal { font-family: ui-monospace, "DejaVu Sans Mono", monospace; font-size: .8rem; word-break: break-all; }
.signed { display: grid; grid-template-columns: repeat(3, 1fr); gap: .6rem; margin: .8rem 0; }
.signed div { border-bottom: 1px solid var(--soft); height: 2.6rem; font-size: .8rem; color: var(--soft); }
@media print { .day tbody tr, .filled tbody tr { height: 8.5mm; } section.new { break-before: page; }
  .signed, .filled { break-inside: avoid; } }
"""


def plan_page(settings: Settings, order: RunOrder, plan: SealedPlan) -> str:
    """Write the run sheet as a page to print.

    Parameters
    ----------
    settings : Settings
        What trial.toml says.
    order : RunOrder
        The order.
    plan : SealedPlan
        The same, sealed.

    Returns
    -------
    str
        HTML that loads nothing from anywhere; every page bears the beginning of the plan's hash.
    """
    keys = settings.plan or PlanKeys("")
    offset = order.runs[0].start.strftime("%z")
    offset = f"{offset[:3]}:{offset[3:]}"
    sections = [
        section("Before hands go near the bench", bullets(CAUTIONS)),
        section("At the bench", bullets(_AT_THE_BENCH)),
        section("What this order cannot tell apart", bullets(order.confounded)),
        section("Notes", bullets(order.notes)),
    ]
    days = [(day, list(runs)) for day, runs in groupby(order.runs, key=lambda run: run.bench_day)]
    for number, (_, runs) in enumerate(days, start=1):
        heading = f"Bench day {number} of {len(days)}: {runs[0].start:%A %Y-%m-%d}, UTC{offset}"
        sections.append(section(heading, _day_table(runs)).replace("<section>", '<section class="new">', 1))
    if change_takes_time(keys):
        comparison = settings.comparison
        changes = changes_of_condition(order.runs, keys, comparison.all_conditions)
        worked = [change for change in changes if change.article not in comparison.controls]
        sections.append(section("Between the conditions", _change_table(worked, keys)))
    margin = f'@page {{ @bottom-left {{ content: "plan {plan.sha256[:16]}"; font: 8pt monospace; }} }}'
    html = page(f"Run sheet: {settings.trial.question}", _header(settings, order, plan), sections)
    return html.replace("</style>", f"{_STYLE}{margin}\n</style>", 1)


def _header(settings: Settings, order: RunOrder, plan: SealedPlan) -> str:
    trial, comparison = settings.trial, settings.comparison
    matters = comparison.difference_that_matters
    counts = dict(order._rows())
    difference = "no difference that matters was fixed"
    if matters is not None:
        difference = f"difference that matters {matters:g} {trial.unit}"
    facts = (
        f"{trial.measurand} in {trial.unit}; {' against '.join(comparison.all_conditions)}, "
        f"design {comparison.design}; {difference}; {counts['runs']}; {counts['bench']}"
    )
    signed = "".join(f"<div>{escape(words)}</div>" for words in ("planned by", "date", "bench run by"))
    return (
        paragraph("Run sheet of a planned trial", "kind")
        + f"\n<h1>{escape(trial.question)}</h1>\n"
        + paragraph(facts)
        + paragraph(trial.note, "remark")
        + f'\n<p class="seal">plan.json, SHA-256 {escape(plan.sha256)}</p>\n<div class="signed">{signed}</div>'
    )


def _day_table(runs: Sequence[OrderedRun]) -> str:
    rows = []
    block: int | None = None
    for run in runs:
        kind = "check" if run.role != "test" else "block" if run.block != block else ""
        block = run.block
        cells = (
            f'<th scope="row">{escape(run.run)}</th><td class="time">{run.start:%H:%M}–{run.end:%H:%M}</td>'
            f"<td>{escape(_on_the_bench(run))}</td>"
            '<td class="box time"></td><td class="box remarks"></td><td class="box initials"></td>'
        )
        rows.append(f'<tr class="{kind}">{cells}</tr>' if kind else f"<tr>{cells}</tr>")
    head = ("run", "planned", "on the bench", "start", "remarks", "initials")
    return _table("A heavier line begins a block: runs that belong together in the order.", head, rows, "day wide long")


def _on_the_bench(run: OrderedRun) -> str:
    if run.role == "zero":
        return "zero run (no load)"
    what = f"{run.article}, {run.condition}" if run.condition else f"{run.article} (reference)"
    return f"{what}, mount {run.mount}"


def _change_table(changes: Sequence[Change], keys: PlanKeys) -> str:
    rows = [
        f'<tr><th scope="row">{escape(change.article)}</th>'
        f"<td>{escape(change.last.condition)} → {escape(change.following.condition)}</td>"
        f'<td class="time">{change.last.end:%a %d %H:%M}</td><td class="time">{change.ready:%a %d %H:%M}</td>'
        f'<td class="time">{change.following.start:%a %d %H:%M} ({escape(change.following.run)})</td>'
        '<td class="box time"></td><td class="box time"></td><td class="box initials"></td></tr>'
        for change in changes
    ]
    washing = f"Washing {keys.wash_hours:g} h within the working hours" if keys.wash_hours else "No time for washing"
    caption = f"{washing}, drying {keys.dry_hours:g} h by night and day"
    if keys.back_hours is not None:
        caption += f"; back to the condition before {keys.back_hours:g} h"
    head = ("article", "change", "off the bench", "ready from", "next run", "washed at", "dry at", "initials")
    return _table(f"{caption}.", head, rows, "filled wide")


def _table(caption: str, head: Sequence[str], rows: Sequence[str], kind: str) -> str:
    top = "".join(f'<th scope="col">{escape(name)}</th>' for name in head)
    return (
        f'<div class="{kind}" role="region" aria-label="{escape(caption)}" tabindex="0"><table>'
        f"<caption>{escape(caption)}</caption>\n<thead><tr>{top}</tr></thead>\n<tbody>\n"
        + "\n".join(rows)
        + "\n</tbody></table></div>"
    )
