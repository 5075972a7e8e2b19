"""Pieces of the result sheet on the runs: their levels in bench order, table, remarks, samples."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from lossstats.records.rendering import decimals_for, shown
from lossstats.sheet.sheet_page import picture, section, table

if TYPE_CHECKING:
    from lossstats.conclusion.result import Result, RunResult


def levels_section(result: Result, pictures: Mapping[str, bytes]) -> str:
    """Show the levels in bench order and what was done about drift.

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
    alt = f"Levels of the {len(result.runs)} runs in bench order; the numbers are in the table of runs"
    confidence = f"{100 * result.settings.comparison.confidence:g} %"
    caption = f"Upright lines: {confidence} interval of each level by its readings; mostly shorter than the marks."
    drift = table("Drift of the bench", ("quantity", "value"), result.drift._rows(), kind="words")
    return section("Levels in bench order", picture(pictures["levels"], alt, caption, "whole"), drift)


def runs_section(result: Result, pictures: Mapping[str, bytes]) -> str:
    """Show every run: its level, what was removed, whether it was used; remarks; samples.

    Parameters
    ----------
    result : Result
        The finished result; remarks are those of the run sheet.
    pictures : mapping of str to bytes
        PNG of the figures by name; those of samples begin with ``runs``.

    Returns
    -------
    str
        HTML.
    """
    return section("Runs", _runs_table(result), _remarks(result), _traces(pictures))


def _remarks(result: Result) -> str:
    # The same remark of several runs stands once.
    runs: dict[str, list[str]] = {}
    for run in result.runs:
        if run.remarks:
            runs.setdefault(run.remarks, []).append(run.run)
    rows = [(", ".join(names), remark) for remark, names in runs.items()]
    return table("Remarks of the run sheet", ("run", "remark"), rows, kind="words") if rows else ""


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
    return table(caption, head, [_run_row(run) for run in result.runs], numbers=(3, 4, 7, 8), kind="small runs")


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
