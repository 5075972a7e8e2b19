"""One trial folder of an archive to its levels, run by run, so that no more than one big run is held at a time."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from lossstats.archive.archive_levels import RunLevel
from lossstats.archive.archive_reading import SampleFile, read_sample_files
from lossstats.archive.large_log import read_large_log
from lossstats.budgets.declared_bench import display_step
from lossstats.conclusion.conclusion import reduce_trial
from lossstats.one_run.levels import ReducedRun
from lossstats.trial_folder import run_sheet, trial_toml
from lossstats.trial_folder.faults import Fault
from lossstats.trial_folder.raw_files import find_unnamed
from lossstats.trial_folder.run_sheet import SheetRow, read_run_sheet
from lossstats.trial_folder.samples import Samples
from lossstats.trial_folder.settings import Settings

# The rules that a folder is held to are those of `read_trial`, one by one.
from lossstats.trial_folder.trial import Run, Trial, _find_copies, _read_plan, _read_run, _read_table, _shape_run
from lossstats.trial_folder.trial_checks import check_rows
from lossstats.trial_folder.trial_toml import read_settings

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
    settings, rows, faults = _read_tables(path)
    if settings is None or faults:
        return FolderLevels((), (Failure(called, "", _told(faults)),))
    settings = _with_step(path, rows, settings)
    seen = _Seen()
    found: dict[str, RunLevel | Failure] = {}
    for row, read in _read_runs(path, rows, settings):
        found[row.file] = _reduce_run(path, called, settings, row, read)
        if read.samples is not None and read.sha256 is not None:
            seen.note(row, read.samples, read.sha256)
    copies = {fault.file: fault for fault in _find_copies(rows, seen.ends, seen.sha256)}
    faults = [*find_unnamed(path, {row.file for row in rows}), *check_rows(rows, settings.comparison, seen.lasts_s)]
    for row in rows:
        if row.file in copies:
            found[row.file] = Failure(called, row.run, _told([copies[row.file]]))
    in_order = [found[file] for file in dict.fromkeys(row.file for row in rows)]
    failed = [one for one in in_order if isinstance(one, Failure)]
    if faults:
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
            step = max(step, display_step(settings.bench_model, (_shape_run(row, read.samples),)))
    return dataclasses.replace(settings, readings=dataclasses.replace(settings.readings, resolution=step))


def _reduce_run(folder: Path, called: str, settings: Settings, row: SheetRow, read: SampleFile) -> RunLevel | Failure:
    if read.samples is None or read.sha256 is None:
        return Failure(called, row.run, _told(read.faults))
    run = _shape_run(row, read.samples)
    try:
        (reduced,) = reduce_trial(Trial(folder, settings, (run,)))
    except (ValueError, ArithmeticError) as error:
        return Failure(called, row.run, str(error).removeprefix("runs[0]: "))
    return _row(called, run, reduced, settings, read.sha256)


@dataclass
class _Seen:
    # What the rules between runs need of each: its last time, its digest, whether its readings stand still.
    lasts_s: dict[str, float] = field(default_factory=dict)
    sha256: dict[str, str] = field(default_factory=dict)
    ends: dict[str, Samples] = field(default_factory=dict)

    def note(self, row: SheetRow, samples: Samples, sha256: str) -> None:
        self.lasts_s[row.file] = float(samples.time_s[-1])
        self.sha256[row.file] = sha256
        extremes = np.array([samples.values.min(), samples.values.max()])
        self.ends[row.file] = dataclasses.replace(samples, values=extremes, time_s=extremes, operating_point={})


def _read_tables(folder: Path) -> tuple[Settings | None, list[SheetRow], list[Fault]]:
    if not folder.is_dir():
        accepted = "a folder with trial.toml, run_sheet.csv, samples/"
        return None, [], [Fault(folder.name, None, None, "no such folder", accepted)]
    faults: list[Fault] = []
    digests: dict[str, str] = {}
    settings: Settings | None = None
    rows: list[SheetRow] = []
    data = _read_table(folder, trial_toml.FILE, digests, faults)
    if data is not None:
        settings, more = read_settings(data)
        faults += more
    data = _read_table(folder, run_sheet.FILE, digests, faults)
    if data is not None:
        conditions = settings.comparison.all_conditions if settings else ()
        rows, more = read_run_sheet(data, conditions if all(conditions) else ())
        faults += more
    _read_plan(folder, digests, faults)
    return settings, rows, faults


def _read_runs(folder: Path, rows: list[SheetRow], settings: Settings) -> Iterator[tuple[SheetRow, SampleFile]]:
    # Small files many at once, big ones in blocks; stamps are held against the run sheet, file by file.
    first = {row.file: row for row in reversed(rows)}
    small: list[str] = []
    keys = (settings.log, settings.readings, settings.bench_model)
    for file, row in reversed(first.items()):
        if settings.log.time_form == "iso":
            yield row, _with_stamps(folder, row, settings)
        elif _size(folder / file) > _LARGE_BYTES:
            yield row, read_large_log(folder, file, *keys)
        else:
            small.append(file)
    for read in read_sample_files(folder, small, *keys):
        yield first[read.file], read


def _with_stamps(folder: Path, row: SheetRow, settings: Settings) -> SampleFile:
    digests: dict[str, str] = {}
    faults: list[Fault] = []
    samples = _read_run(folder, row, settings, digests, faults)
    return SampleFile(row.file, digests.get(row.file), None if faults else samples, faults)


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
