"""Files that travel with a sealed result: what of them can be made again, and what was not checked."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from lossstats.conclusion.looks import FILE as LOOKS
from lossstats.conclusion.looks import looks_text
from lossstats.conclusion.result import FOLDER
from lossstats.planning.plan_sheet import FILE as RUN_SHEET_PAGE
from lossstats.planning.plan_sheet import plan_page
from lossstats.rehearsal.rehearsed_plan import open_plan
from lossstats.review.bundle import PICTURES
from lossstats.review.record_differences import Departure, text_difference
from lossstats.review.sheet_pdf import PDF
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.sheet.sheet import PAGE
from lossstats.trial_folder.faults import TrialError

if TYPE_CHECKING:
    from lossstats.conclusion.result import Result
    from lossstats.trial_folder.plan_file import SealedPlan

_LOOKS = "record of looks"
_PLAN_PAGE = "page of the run sheet"
_CHECKED = re.compile(rf"result\.json|{re.escape(PAGE)}|{re.escape(LOOKS)}|{PICTURES}")
_NEVER = (
    "versions of Python and libraries: as the record states them; it holds no time of its making",
    "earlier looks: those deleted from result.json and looks.csv together show nowhere",
)
_WITHOUT_CHOICES = "sensitivity, influence, result sheet and pictures: left out as asked"


def file_differences(folder: Path, result: Result) -> list[Departure]:
    """Hold looks.csv and run_sheet.html against what the kit would write.

    Parameters
    ----------
    folder : Path
        Trial folder.
    result : Result
        Recomputed, its trial with it.

    Returns
    -------
    list of Departure
        A line that is another one, or looks.csv missing; the page of the run sheet may be left out.
    """
    plan = None if result._trial is None else result._trial.plan
    return [*_looks(folder / FOLDER / LOOKS, result), *_plan_page(folder / RUN_SHEET_PAGE, plan)]


def _looks(path: Path, result: Result) -> list[Departure]:
    if not path.is_file():
        return [Departure(_LOOKS, LOOKS, "the looks at this trial", "no such file")]
    like = looks_text([*result.earlier_looks, result._look()])
    return text_difference(_LOOKS, LOOKS, path.read_text(encoding="utf-8", errors="replace"), like)


def _plan_page(path: Path, plan: SealedPlan | None) -> list[Departure]:
    if not path.is_file():
        return []
    if plan is None:
        return [Departure(_PLAN_PAGE, path.name, "a page", "no sealed plan that it could be made from")]
    try:
        settings, order = open_plan(plan)
        order = replace(order, notes=lay_out_runs(settings).notes)
    except TrialError as error:  # sealed by another version, whose keys this one does not read
        return [Departure(_PLAN_PAGE, path.name, "a page", f"a plan that cannot be laid out again ({error})")]
    text = path.read_text(encoding="utf-8", errors="replace")
    return text_difference(_PLAN_PAGE, path.name, text, plan_page(settings, order, plan))


def unchecked(folder: Path, *, choices: bool) -> tuple[str, ...]:
    """Name what travels with a result and was not checked.

    Parameters
    ----------
    folder : Path
        Trial folder.
    choices : bool
        Whether sensitivity, influence and sheet were recomputed.

    Returns
    -------
    tuple of str
        Each with the reason.
    """
    results = folder / FOLDER
    names = sorted(p.relative_to(results).as_posix() for p in results.rglob("*") if not p.is_dir() or p.is_symlink())
    others = [name for name in names if name != PDF and not _CHECKED.fullmatch(name)]
    return (
        *((f"{FOLDER}/{PDF}: a print cannot be compared; print the sheet again to compare by eye",) * (PDF in names)),
        *(f"{FOLDER}/{name}: no file of the kit" for name in others),
        *((_WITHOUT_CHOICES,) * (not choices)),
        *_NEVER,
    )
