"""What ``lossstats plan`` does: from trial.toml to a run sheet, a page to print, and a sealed plan."""

from __future__ import annotations

import os
import secrets
import shutil
from dataclasses import dataclass
from pathlib import Path

from lossstats.planning import plan_sheet
from lossstats.planning.plan_sheet import plan_page
from lossstats.records.rendering import Record
from lossstats.run_plan.order_checks import contradictions
from lossstats.run_plan.run_order import RunOrder, lay_out_runs
from lossstats.trial_folder import plan_file, run_sheet, trial_toml
from lossstats.trial_folder.faults import Fault, FaultList, TrialError
from lossstats.trial_folder.plan_file import SealedPlan, plan_text, seal_plan
from lossstats.trial_folder.raw_files import MOST_TABLE_BYTES, find_link, read_bytes
from lossstats.trial_folder.run_sheet import read_run_sheet, run_sheet_text
from lossstats.trial_folder.settings import Settings
from lossstats.trial_folder.toml_tables import TableReader
from lossstats.trial_folder.trial_checks import check_rows
from lossstats.trial_folder.trial_toml import read_settings

_EXAMPLE = """\
[plan]
first_start = "2031-03-03T08:00:00+01:00"
articles = ["K01", "K02", "K03", "K04"]
one_way = true
reference = "REF"
# every key of it, with its meaning, stands at the end of the trial.toml that `lossstats new` writes
"""


@dataclass(frozen=True)
class PlannedFolder(Record):
    """What was written into a trial folder.

    Attributes
    ----------
    order : RunOrder
        The order of the runs.
    plan : SealedPlan
        The same, sealed with the settings.
    files : tuple of str
        Names of the files written.
    """

    order: RunOrder
    plan: SealedPlan
    files: tuple[str, ...]

    title = "Planned trial"

    def _rows(self) -> list[tuple[str, str]]:
        return [
            *self.order._rows(),
            ("sealed", f"SHA-256 {self.plan.sha256}"),
            ("written", ", ".join(self.files)),
        ]


def write_plan(folder: str | os.PathLike[str]) -> PlannedFolder:
    """Plan the trial of a folder: read trial.toml, write run_sheet.csv, run_sheet.html and plan.json.

    Parameters
    ----------
    folder : path
        Holds trial.toml with a table [plan]. A run sheet that is a header only, as `write_skeleton` writes it, is
        filled.

    Returns
    -------
    PlannedFolder
        What was laid out, and the files written.

    Raises
    ------
    TrialError
        If trial.toml has faults or keys that contradict each other.
    FileExistsError
        If there is a plan, a run sheet with rows, or a sample file already.

    Notes
    -----
    The files are written whole or not at all.
    """
    path = Path(folder)
    settings = _read(path)
    _refuse_begun(path)
    order = lay_out_runs(settings)
    plan = seal_plan(settings, order)
    sheet = _sheet_text(order)
    _check_sheet(sheet, settings)
    texts = {
        plan_sheet.FILE: plan_page(settings, order, plan),
        run_sheet.FILE: sheet,
        plan_file.FILE: plan_text(plan),
    }
    _write_all(path, texts)
    return PlannedFolder(order, plan, tuple(texts))


def _read(folder: Path) -> Settings:
    if not folder.is_dir():
        raise TrialError([Fault(str(folder), None, None, "no such folder", "a folder with trial.toml")])
    found = FaultList(trial_toml.FILE)
    data = read_bytes(folder, trial_toml.FILE, found, most=MOST_TABLE_BYTES)
    if data is None:
        raise TrialError(found.listed())
    settings, faults = read_settings(data)
    if settings is not None and settings.plan is None:
        found.add("no table [plan]", f"a table such as\n{_EXAMPLE}")
    if faults or settings is None:
        raise TrialError([*faults, *found.listed()])
    if settings.plan is not None:
        # With their lines, which the settings alone do not know.
        reader = TableReader(data.decode(), found)
        for contradiction in contradictions(settings):
            reader.fault(contradiction.path, contradiction.found, contradiction.accepted)
    if len(found):
        raise TrialError(found.listed())
    return settings


def _refuse_begun(folder: Path) -> None:
    # A plan after the first sample is none, and a sealed one is not replaced in passing.
    start_again = (
        f"a folder without {plan_file.FILE}, run sheet rows and samples; to plan anew before the first run, delete "
        f"{plan_file.FILE}, {run_sheet.FILE} and {plan_sheet.FILE}"
    )
    for name in (plan_file.FILE, run_sheet.FILE, plan_sheet.FILE, "samples"):
        if find_link(folder, name) is not None:
            raise FileExistsError(f"{name}: found a symbolic link; accepted: files in the trial folder itself")
    samples = [p for p in sorted((folder / "samples").rglob("*")) if p.is_file() and not p.name.startswith(".")]
    if samples:
        name = samples[0].relative_to(folder).as_posix()
        more = f" and {len(samples) - 1} more" if len(samples) > 1 else ""
        raise FileExistsError(
            f"{name}: found samples{more}; accepted: a plan made before the first run, in a folder without samples "
            "(to plan another trial, make a new folder)"
        )
    for name in (plan_file.FILE, plan_sheet.FILE):
        if (folder / name).exists():
            raise FileExistsError(f"{name}: found one already; accepted: {start_again}")
    sheet = folder / run_sheet.FILE
    if sheet.exists() and sheet.read_bytes() not in (b"", run_sheet_text().encode()):
        raise FileExistsError(f"{run_sheet.FILE}: found rows already; accepted: {start_again}")


def _sheet_text(order: RunOrder) -> str:
    return run_sheet_text(
        (r.run, r.start.isoformat(), r.role, r.article, r.condition, r.mount, f"samples/{r.run}.csv", "")
        for r in order.runs
    )


def _check_sheet(text: str, settings: Settings) -> None:
    # What is planned must be what `lossstats check` takes.
    rows, faults = read_run_sheet(text.encode(), settings.comparison.all_conditions)
    faults = faults or check_rows(rows, settings.comparison, {})
    if faults:
        raise TrialError(faults)


def _write_all(folder: Path, texts: dict[str, str]) -> None:
    # Drafts beside, then moved; what was moved is taken back if a later one fails.
    sheet = folder / run_sheet.FILE
    empty = sheet.read_bytes() if sheet.exists() else None
    draft = folder / f".plan.{secrets.token_hex(4)}"
    moved: list[Path] = []
    draft.mkdir()
    try:
        for name, text in texts.items():
            with (draft / name).open("x", encoding="utf-8", newline="") as file:
                file.write(text)
        (folder / "samples").mkdir(exist_ok=True)
        for name in texts:
            (draft / name).replace(folder / name)
            moved.append(folder / name)
    except BaseException:
        for path in moved:
            path.unlink()
        if empty is not None and sheet in moved:
            sheet.write_bytes(empty)
        raise
    finally:
        shutil.rmtree(draft, ignore_errors=True)
