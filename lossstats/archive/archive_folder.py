"""One trial folder of an archive to its levels, run by run, so that no more than one big run is held at a time."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from lossstats.archive.archive_levels import RunLevel
from lossstats.archive.archive_reading import read_sample_files
from lossstats.archive.large_log import read_large_log
from lossstats.budgets.declared_bench import display_step
from lossstats.conclusion.conclusion import reduce_trial
from lossstats.one_run.reduced_runs import ReducedRun
from lossstats.trial_folder.faults import Fault
from lossstats.trial_folder.folder_files import (
    RunFacts,
    SampleFile,
    check_folder,
    find_copies,
    hold_to_start,
    read_tables,
    run_facts,
)
from lossstats.trial_folder.run_sheet import SheetRow
from lossstats.trial_folder.settings import Settings
from lossstats.trial_folder.trial import Run, Trial, shape_run

_LARGE_BYTES = 8 * 1024 * 1024


@dataclass(frozen=True)
class Failure:
    """A run or a folder that gave no level.

    Attributes
    ----------
    folder : str
        Trial folder as it was given.
    run : str
        Name of the run; empty where the whole folder is meant.
    fault : str
        What is wrong: one line a fault.
    """

    folder: str
    run: str
    fault: str

    def __str__(self) -> str:
        place = f"{self.folder}, run {self.run}" if self.run else self.folder
        return f"{place}: {self.fault}"


@dataclass(frozen=True)
class FolderLevels:
    """What one folder gave.

    Attributes
    ----------
    runs : tuple of RunLevel
        Runs with a level, in bench order.
    failed : tuple of Failure
        What gave none.
    """

    runs: tuple[RunLevel, ...]
    failed: tuple[Failure, ...]


def reduce_folder(folder: str | os.PathLike[str], name: str | None = None) -> FolderLevels:
    """Read, check and reduce one trial folder.

    Parameters
    ----------
    folder : path
        A trial folder.
    name : str, optional
        How it is called in the result; left out: as given.

    Returns
    -------
    FolderLevels
        Levels by the rules that the trial declares, the same as of the whole job.

    Notes
    -----
    The faults are those of `lossstats.find_faults`. A fault of a sample file costs its run; a fault of
    trial.toml, of the run sheet or of the plan costs the folder. Nothing is raised for what is wrong with a folder.
    """
    path, called = Path(folder), os.fspath(folder) if name is None else name
    tables = read_tables(path)
    if tables.settings is None or tables.faults:
        return FolderLevels((), (Failure(called, "", _told(tables.faults)),))
    rows = tables.sample_rows
    settings = _with_step(path, rows, tables.settings)
    found: dict[str, RunLevel | Failure] = {}
    facts: dict[str, RunFacts] = {}
    for row, read in _read_runs(path, rows, settings):
        found[row.file] = _reduce_run(path, called, settings, row, read)
        fact = run_facts(read)
        if fact is not None:
            facts[row.file] = fact
        del read  # before the next one is read
    copies = find_copies(rows, facts)
    in_order = [
        Failure(called, row.run, _told([copies[row.file]])) if row.file in copies else found[row.file] for row in rows
    ]
    failed = [one for one in in_order if isinstance(one, Failure)]
    if faults := check_folder(path, tables, facts):
        return FolderLevels((), (Failure(called, "", _told(faults)), *failed))
    return FolderLevels(tuple(one for one in in_order if isinstance(one, RunLevel)), tuple(failed))


def _with_step(folder: Path, rows: list[SheetRow], settings: Settings) -> Settings:
    # The display step of a loss reckoned from torque and speed is the largest of all runs: these are read for it once,
    # and for their levels again, so that no two need be held.
    if settings.bench_model is None or settings.readings.resolution:
        return settings
    step = 0.0
    for row, read in _read_runs(folder, rows, settings):
        if read.samples is not None:
            step = max(step, display_step(settings.bench_model, (shape_run(row, read.samples),)))
        del read
    return dataclasses.replace(settings, readings=dataclasses.replace(settings.readings, resolution=step))


def _reduce_run(folder: Path, called: str, settings: Settings, row: SheetRow, read: SampleFile) -> RunLevel | Failure:
    if read.samples is None or read.sha256 is None or read.faults:
        return Failure(called, row.run, _told(read.faults))
    run = shape_run(row, read.samples)
    try:
        (reduced,) = reduce_trial(Trial(folder, settings, (run,)))
    except (ValueError, ArithmeticError) as error:
        return Failure(called, row.run, str(error).removeprefix(f"run {run.name} ({run.file}): "))
    return _row(called, run, reduced, settings, read.sha256)


def _read_runs(folder: Path, rows: list[SheetRow], settings: Settings) -> Iterator[tuple[SheetRow, SampleFile]]:
    # Small files many at once, big ones in blocks.
    small: dict[str, SheetRow] = {}
    keys = (settings.log, settings.readings, settings.bench_model)
    for row in rows:
        if _size(folder / row.file) > _LARGE_BYTES:
            yield row, hold_to_start(read_large_log(folder, row.file, *keys), row, settings.log)
        else:
            small[row.file] = row
    for read in read_sample_files(folder, small, *keys):
        yield small[read.file], hold_to_start(read, small[read.file], settings.log)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _told(faults: list[Fault]) -> str:
    return "\n".join(map(str, faults))


def _row(folder: str, run: Run, reduced: ReducedRun, settings: Settings, sha256: str) -> RunLevel:
    level = reduced.level
    return RunLevel(
        folder=folder,
        run=run.name,
        start=run.start.isoformat(),
        bench_day=run.bench_day,
        role=run.role,
        article=run.article,
        condition=run.condition,
        mount=run.mount,
        bench=settings.scope.bench,
        unit=settings.trial.unit,
        level=level.value,
        u=level.standard_uncertainty,
        dof=level.degrees_of_freedom,
        settled=reduced.settled.status,
        flagged=len(reduced.screening.flagged),
        samples=reduced.screening.samples,
        sha256=sha256,
    )
