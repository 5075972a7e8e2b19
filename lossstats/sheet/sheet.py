"""The result sheet: one self-contained page in the order of a reviewer's reading, with the figures beside it."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lossstats.sheet.ranking_sheet import differences_section, ranked_values_section
from lossstats.sheet.sheet_page import bullets, page, paragraph, safe, section
from lossstats.sheet.sheet_record import CAUTIONS, how_to_reproduce, inputs_table, settings_tables, versions_table
from lossstats.sheet.sheet_review import plan_section, sensitivity_section
from lossstats.sheet.sheet_runs import levels_section, runs_section
from lossstats.sheet.sheet_saving import budget_section, saving_section, values_section

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from lossstats.conclusion.result import Result

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
    from lossstats.figures.figures import RUNS_ON_A_SHEET

    samples = 0 if result._trial is None else len(result._trial.runs)
    sheets = -(-samples // RUNS_ON_A_SHEET)
    names = [*_functions(result)[0], *(_name_of_sheet(number) for number in range(1, sheets + 1))]
    return make_page(result, dict.fromkeys(names, b""))


def _name_of_sheet(number: int) -> str:
    return "runs" if number == 1 else f"runs_{number}"


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
    # Runs go on in runs_2, runs_3 where one picture does not hold them.
    from matplotlib.figure import Figure

    from lossstats.figures import figures
    from lossstats.figures.figure_style import house_style

    pictures: dict[str, bytes] = {}
    functions, sizes = _functions(result)
    with house_style():
        for name, draw in functions.items():
            # A Figure of its own, not one of pyplot: no backend is chosen and nothing stays open.
            figure = Figure(figsize=sizes[name], layout="constrained")
            draw(result, ax=figure.add_subplot())
            pictures[name] = _png(figure)
        traces = traces or {}
        runs = [run for run in result.runs if run.run in traces]
        for number, first in enumerate(range(0, len(runs), figures.RUNS_ON_A_SHEET), start=1):
            part = runs[first : first + figures.RUNS_ON_A_SHEET]
            figure = Figure(figsize=figures.run_sheet_size(len(part)), layout="constrained")
            figures.draw_run_sheet(part, traces, figure, unit=result.settings.trial.unit)
            pictures[_name_of_sheet(number)] = _png(figure)
    return pictures


def _functions(result: Result) -> tuple[dict[str, Callable[..., Any]], dict[str, tuple[float, float]]]:
    """What is drawn, by the name of its file, and how large."""
    from lossstats.figures import figures, ranking_figures

    both = {"budget": figures.draw_budget, "levels": figures.draw_levels}
    sizes = {**figures.SIZES, "budget": figures.budget_size(result)}
    if result.ranking is None:
        return {"saving": figures.draw_saving, "pairs": figures.draw_pairs, **both}, sizes
    own_sizes = {"ranking": ranking_figures.ranking_size(result.ranking), "conditions": ranking_figures.VALUES_SIZE}
    own = {"ranking": ranking_figures.draw_ranking, "conditions": ranking_figures.draw_conditions}
    return {**own, **both}, {**sizes, **own_sizes}


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
    several = result.ranking is not None
    sections = [
        section("Statement", '<div class="claim">' + "".join(map(paragraph, statement.sentences)) + "</div>"),
        section("Scope", bullets(statement.scope)),
        section("What may not be claimed", bullets(statement.not_claimed)),
        section("Notes", bullets([note for note in statement.notes if note != result.settings.trial.note])),
        (differences_section if several else saving_section)(result, pictures),
        budget_section(result, pictures),
        (ranked_values_section if several else values_section)(result, pictures),
        levels_section(result, pictures),
        runs_section(result, pictures),
        plan_section(result),
        sensitivity_section(result),
        section("How to reproduce this", how_to_reproduce(result.name)),
        section("Settings as declared", settings_tables(result.settings)),
        section("Input files", inputs_table(result.inputs)),
        section("Versions", versions_table(result.versions)),
        section("Cautions for work at the bench", bullets(CAUTIONS)),
    ]
    return page(f"{title}: result sheet", _header(title, result), sections)


def _header(title: str, result: Result) -> str:
    trial = result.settings.trial
    return (
        paragraph(f"Result sheet of the trial {title}", "kind")
        + f"<h1>{safe(trial.question)}</h1>"
        + paragraph(trial.note, "remark")
    )
