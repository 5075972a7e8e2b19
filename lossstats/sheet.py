"""The result sheet: one self-contained page in the order of a reviewer's reading, with the figures beside it."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lossstats.ranking_sheet import differences_section, values_section
from lossstats.rendering import decimals_for, shown, shown_dof
from lossstats.sheet_page import bullets, page, paragraph, picture, section, table
from lossstats.sheet_record import CAUTIONS, how_to_reproduce, inputs_table, settings_tables, versions_table
from lossstats.statement import printed_places

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from lossstats.estimate import Estimate
    from lossstats.result import Result, RunResult
    from lossstats.saving_budget import SavingSource

Traces = Mapping[str, tuple[NDArray[np.float64], NDArray[np.float64]]]
PAGE = "result_sheet.html"
DPI = 150


def write_sheet(result: Result, folder: str | Path, *, traces: Traces | None = None) -> Path:
    """Write result_sheet.html and the figures of a finished result into a folder.

    Parameters
    ----------
    result : Result
        The finished result.
    folder : path
        An existing folder; only files in it are written, those of an earlier sheet anew.
    traces : mapping of str to (ndarray, ndarray), optional
        Time in s and readings of the runs, by run; without them there is no picture of the runs.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    FileNotFoundError
        If the folder does not exist.

    Notes
    -----
    Every number comes from the result, and the page holds its pictures: it can be mailed, and loads nothing. The
    same result gives the same bytes with the same versions of the libraries.
    """
    target = Path(folder)
    if not target.is_dir():
        raise FileNotFoundError(f"{target}: found no such folder; accepted: an existing folder")
    pictures = draw_pictures(result, traces)
    for name, png in pictures.items():
        (target / f"{name}.png").write_bytes(png)
    (target / PAGE).write_bytes(make_page(result, pictures).encode("utf-8"))
    return target / PAGE


def page_without_pictures(result: Result) -> str:
    """Write the page with an empty place for each picture: what two runs of the kit must have alike.

    Parameters
    ----------
    result : Result
        The finished result, its samples with it.

    Returns
    -------
    str
        The document, as `without_pictures` makes it of a page.
    """
    from lossstats.figures import RUNS_ON_A_SHEET

    samples = 0 if result._trial is None else len(result._trial.runs)
    sheets = -(-samples // RUNS_ON_A_SHEET)
    names = [*_functions(result)[0], *(_name_of_sheet(number) for number in range(1, sheets + 1))]
    return make_page(result, dict.fromkeys(names, b""))


def draw_pictures(result: Result, traces: Traces | None = None) -> dict[str, bytes]:
    """Draw every picture of the sheet.

    Parameters
    ----------
    result : Result
        The finished result.
    traces : mapping of str to (ndarray, ndarray), optional
        Time in s and readings of the runs, by run.

    Returns
    -------
    dict of str to bytes
        PNG by name.
    """
    return _draw(result, traces or {})


def _name_of_sheet(number: int) -> str:
    return "runs" if number == 1 else f"runs_{number}"


def _draw(result: Result, traces: Traces) -> dict[str, bytes]:
    # Runs go on in runs_2, runs_3 where one picture does not hold them.
    from matplotlib.figure import Figure

    from lossstats import figures
    from lossstats.figure_style import house_style

    pictures: dict[str, bytes] = {}
    functions, sizes = _functions(result)
    with house_style():
        for name, draw in functions.items():
            # A Figure of its own, not one of pyplot: no backend is chosen and nothing stays open.
            figure = Figure(figsize=sizes[name], layout="constrained")
            draw(result, ax=figure.add_subplot())
            pictures[name] = _png(figure)
        runs = [run for run in result.runs if run.run in traces]
        for number, first in enumerate(range(0, len(runs), figures.RUNS_ON_A_SHEET), start=1):
            part = runs[first : first + figures.RUNS_ON_A_SHEET]
            figure = Figure(figsize=figures.run_sheet_size(len(part)), layout="constrained")
            figures.draw_run_sheet(part, traces, figure, unit=result.settings.trial.unit)
            pictures[_name_of_sheet(number)] = _png(figure)
    return pictures


def _functions(result: Result) -> tuple[dict[str, Callable[..., Any]], dict[str, tuple[float, float]]]:
    """What is drawn, by the name of its file, and how large."""
    from lossstats import figures, ranking_figures

    both = {"budget": figures.draw_budget, "levels": figures.draw_levels}
    if result.ranking is None:
        return {"saving": figures.draw_saving, "pairs": figures.draw_pairs, **both}, figures.SIZES
    sizes = {"ranking": ranking_figures.ranking_size(result.ranking), "conditions": ranking_figures.VALUES_SIZE}
    own = {"ranking": ranking_figures.draw_ranking, "conditions": ranking_figures.draw_conditions}
    return {**own, **both}, {**figures.SIZES, **sizes}


def _png(figure: Figure) -> bytes:
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=DPI, metadata={"Software": None})
    return buffer.getvalue()


def make_page(result: Result, pictures: Mapping[str, bytes]) -> str:
    """Write the page as HTML, with its pictures inside.

    Parameters
    ----------
    result : Result
        The finished result.
    pictures : mapping of str to bytes
        PNG of the figures by name.

    Returns
    -------
    str
        The document.
    """
    title = result.name or "trial in memory"
    statement = result.statement
    sections = [
        section("Statement", '<div class="claim">' + "".join(map(paragraph, statement.sentences)) + "</div>"),
        section("Scope", bullets(statement.scope)),
        section("What may not be claimed", bullets(statement.not_claimed)),
        section("Notes", bullets([note for note in statement.notes if note != result.settings.trial.note])),
        differences_section(result, pictures) if result.ranking is not None else _saving(result, pictures),
        section("What the uncertainty is made of", _budget(result, pictures)),
        values_section(result, pictures) if result.ranking is not None else _pairs(result, pictures),
        section("Levels in bench order", _levels(result, pictures)),
        section("Runs", _runs_table(result), _traces(pictures)),
        section("Settings as declared", settings_tables(result.settings)),
        section("Input files", inputs_table(result.inputs)),
        section("Versions", versions_table(result.versions)),
        section("How to reproduce this", how_to_reproduce(result.name)),
        section("Cautions for work at the bench", bullets(CAUTIONS)),
    ]
    return page(f"{title}: result sheet", _header(title, result), sections)


def _header(title: str, result: Result) -> str:
    from html import escape

    trial = result.settings.trial
    return (
        paragraph(f"Result sheet of the trial {title}", "kind")
        + f"<h1>{escape(trial.question)}</h1>"
        + paragraph(trial.note, "remark")
    )


def _saving(result: Result, pictures: Mapping[str, bytes]) -> str:
    first = result.statement.sentences[0]
    return section("The saving", picture(pictures["saving"], first, _saving_caption(result), "half"), _numbers(result))


def _saving_caption(result: Result) -> str:
    c, keys, trial = result.compared, result.settings.comparison, result.settings.trial
    names = (keys.before, keys.after) if trial.better == "lower" else (keys.after, keys.before)
    text = f"Saving: {' minus '.join(names)}, in {trial.unit}; "
    text += f"above 0 the {trial.measurand} is {trial.better} {keys.after}."
    if c.verdict.matters is not None:
        return f"{text} Grey: less than the difference that matters, fixed before the trial."
    return f"{text} No difference that matters was fixed."


def _numbers(result: Result) -> str:
    c, unit = result.compared, result.settings.trial.unit
    confidence = f"{100 * result.settings.comparison.confidence:g} %"
    places = printed_places(c.difference, c.verdict.matters) if c.difference else 2
    percent_places = decimals_for(c.percent.standard_uncertainty) if c.percent else 1
    rows = [
        _estimate_row(f"saving ({unit})", c.difference, c.observed, places),
        _estimate_row("in percent of the level before (%)", c.percent, c.observed_percent, percent_places),
    ]
    lines = [
        (f"mean level, {result.settings.comparison.before} ({unit})", shown(c.before_mean, places)),
        (f"mean level, {result.settings.comparison.after} ({unit})", shown(c.after_mean, places)),
        ("design, units", f"{c.design}, {' and '.join(map(str, c.n))}"),
        ("verdict", c.verdict.words),
        ("by the rule", c.verdict.why),
    ]
    if c.verdict.matters is not None:
        lines.append((f"difference that matters ({unit})", f"{c.verdict.matters:g}"))
    if c.p_value is not None:
        lines.append(("p of no difference", _p(c.p_value)))
    if c.exact is not None:
        lines += [("exact p", _p(c.exact.p_value)), ("exact p, smallest reachable", _p(c.exact.smallest_p))]
    if c.fieller_percent is not None:
        ends = " to ".join(shown(end, percent_places) for end in c.fieller_percent)
        lines.append(("check: percent by Fieller's method, scatter alone (%)", ends))
    if c.units_to_decide is not None:
        lines.append(("units a condition that would decide", str(c.units_to_decide)))
    for name, why in (("no interval, because", c.why_no_interval), ("no percentage, because", c.why_no_percent)):
        if why:
            lines.append((name, why))
    head = ("quantity", "value", f"{confidence} interval", "standard uncertainty", "degrees of freedom")
    return table("The saving and its interval", head, rows, numbers=range(1, 5)) + table(
        "What goes with it", ("quantity", "value"), lines
    )


def _estimate_row(name: str, estimate: Estimate | None, observed: float, places: int) -> tuple[str, ...]:
    if estimate is None:
        return name, "none" if math.isnan(observed) else f"{shown(observed, places)} as read", "none", "none", "none"
    ends = f"{shown(estimate.low, places)} to {shown(estimate.high, places)}"
    u = shown(estimate.standard_uncertainty, places)
    return name, shown(estimate.value, places), ends, u, shown_dof(estimate.degrees_of_freedom)


def _p(p: float) -> str:
    return "below 0.0001" if p < 0.0001 else f"{p:.2g}"


def _budget(result: Result, pictures: Mapping[str, bytes]) -> str:
    difference, unit = result.headline, result.settings.trial.unit
    if difference is None:
        return paragraph(f"No budget: {result.compared.why_no_interval}.")
    rows = [_source_row(source) for source in result.budget.sources]
    u, dof = difference.standard_uncertainty, shown_dof(difference.degrees_of_freedom)
    rows.append(("combined", "", "root of the sum of squares", dof, _two_digits(u), "100.0", ""))
    head = ("source", "type", "what it is", "dof", f"u of the saving ({unit})", "share (%)", "how it counts")
    alt = "Shares of the variance: " + ", ".join(f"{row[0]} {row[5]} %" for row in rows[:-1])
    of = "the saving"
    if result.ranking is not None:
        leading = result.ranking.leading
        of = f"the saving with {leading.second} against {leading.first}; those of the others are in result.json"
    return picture(pictures["budget"], alt, f"Sources by their share of the variance of {of}.", "half") + table(
        "Uncertainty budget of the saving", head, rows, numbers=(3, 4, 5)
    )


def _source_row(s: SavingSource) -> tuple[str, ...]:
    u, share = _two_digits(s.contribution), f"{100 * s.share:.1f}"
    return s.source, s.kind, s.stated, shown_dof(s.degrees_of_freedom), u, share, s.counted


def _two_digits(u: float) -> str:
    return "0" if u == 0 else shown(u, decimals_for(u))


def _pairs(result: Result, pictures: Mapping[str, bytes]) -> str:
    keys, unit = result.settings.comparison, result.settings.trial.unit
    alt = f"Values of the units {keys.before} and {keys.after}; the numbers are in the table below"
    caption = f"One mark per {keys.unit_of_replication} and condition: the mean of its mounts."
    if result.compared.design == "single":
        caption = (
            "One mark per run; bars: interval of its level by the readings alone. What refitting does is not in them."
        )
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
    values = table("Unit values", head, rows, numbers=range(1, 5))
    both = f'<div class="beside">{picture(pictures["pairs"], alt, caption)}{values}</div>'
    return section("The values compared", both)


def _levels(result: Result, pictures: Mapping[str, bytes]) -> str:
    alt = f"Levels of the {len(result.runs)} runs in bench order; the numbers are in the table of runs"
    confidence = f"{100 * result.settings.comparison.confidence:g} %"
    caption = f"Upright lines: {confidence} interval of each level by its readings; mostly shorter than the marks."
    return picture(pictures["levels"], alt, caption, "whole") + table(
        "Drift of the bench", ("quantity", "value"), result.drift._rows()
    )


def _runs_table(result: Result) -> str:
    unit = result.settings.trial.unit
    head = (
        "run", "start", "what", f"level ({unit})", f"u ({unit})", "settled", "flags", f"drift removed ({unit})",
        f"corrected ({unit})", "used",
    )  # fmt: skip
    caption = (
        "Runs in bench order; start in the bench's own time; u: standard uncertainty of the level; "
        "corrected: drift of the bench removed"
    )
    return table(caption, head, [_run_row(run) for run in result.runs], numbers=(3, 4, 7, 8), kind="small runs long")


def _run_row(run: RunResult) -> tuple[str, ...]:
    places = decimals_for(run.level.standard_uncertainty)
    what = " ".join(word for word in (run.article, run.condition) if word) or run.role
    what += f", mount {run.mount}" if run.mount else ""
    removed, corrected = ("" if x is None else shown(x, places) for x in (run.drift_removed, run.corrected))
    used = "yes" if run.used else f"no: {run.why_not_used}"
    level, u = shown(run.level.value, places), shown(run.level.standard_uncertainty, places)
    return (
        run.run, run.start[:16].replace("T", " "), what, level, u, run.settled.status, _flags(run, places),
        removed, corrected, used,
    )  # fmt: skip


def _flags(run: RunResult, places: int) -> str:
    s = run.screening
    counted = [
        (len(s.spikes), "spike"),
        (len(s.stuck), "stuck stretch"),
        (len(s.clipped), "clipped stretch"),
        (len(s.gaps), "gap"),
        *((len(found), f"sample off {name}") for name, found in s.off_point.items()),
    ]
    words = [f"{n} {name}" if n == 1 else f"{n} × {name}" for n, name in counted if n]
    if run.level_without_flagged is not None:
        words.append(f"level without flagged {shown(run.level_without_flagged, places)}")
    return "; ".join(words) or "none"


def _traces(pictures: Mapping[str, bytes]) -> str:
    caption = (
        "Every run on its own scale. Shaded: final window; dashed: level; line: fitted approach; "
        "crosses: flagged samples, kept unless the settings say otherwise."
    )
    names = [name for name in pictures if name.startswith("runs")]
    captions = (caption, *["Samples of the runs, continued."] * (len(names) - 1))
    return "".join(
        picture(pictures[name], "Samples of the runs over time, one small panel per run", text, "page")
        for name, text in zip(names, captions, strict=False)
    )
