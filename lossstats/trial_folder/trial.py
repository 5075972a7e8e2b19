"""A trial: its settings and its runs, read from a folder or written to one."""

from __future__ import annotations

import dataclasses
import os
import secrets
import shutil
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import Literal, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.records.rendering import counted
from lossstats.trial_folder import plan_file, run_sheet, trial_toml
from lossstats.trial_folder.faults import Fault, TrialError
from lossstats.trial_folder.folder_files import check_folder, find_copies, read_run, read_tables, run_facts
from lossstats.trial_folder.plan_file import SealedPlan, plan_text
from lossstats.trial_folder.raw_files import check_name
from lossstats.trial_folder.run_sheet import DROPPED, SheetRow, run_sheet_text
from lossstats.trial_folder.samples import Samples
from lossstats.trial_folder.samples_text import samples_text
from lossstats.trial_folder.settings import Settings
from lossstats.trial_folder.trial_toml import kit_form, settings_text


def _kept(values: ArrayLike) -> NDArray[np.float64]:
    # The values as an array that nobody writes to; an array that already is one is not copied.
    array = np.asarray(values, dtype=np.float64)
    if array.flags.writeable:
        array = array.copy()
        array.flags.writeable = False
    return array


@dataclass(frozen=True, eq=False)
class Run:
    """One uninterrupted series of samples with nothing touched.

    Attributes
    ----------
    name : str
        Name in the run sheet.
    start : datetime
        Aware.
    role : {"test", "reference", "zero"}
        What was on the bench.
    article, condition, mount : str
        Empty where the role has none.
    file : str
        Sample file as named in the run sheet.
    time_s : ndarray, shape (n,)
        Time in s, strictly rising.
    values : ndarray, shape (n,)
        Readings, in the unit of the measurand.
    operating_point : dict of str to ndarray, shape (n,)
        Further recorded columns by name.
    remarks : str
        Free text.
    """

    name: str
    start: datetime
    role: Literal["test", "reference", "zero"]
    article: str = ""
    condition: str = ""
    mount: str = ""
    file: str = ""
    time_s: NDArray[np.float64] = field(repr=False, default_factory=lambda: np.empty(0))
    values: NDArray[np.float64] = field(repr=False, default_factory=lambda: np.empty(0))
    operating_point: dict[str, NDArray[np.float64]] = field(repr=False, default_factory=dict)
    remarks: str = ""

    def __post_init__(self) -> None:
        columns = {"time_s": self.time_s, "values": self.values, **self.operating_point}
        kept = {name: _kept(column) for name, column in columns.items()}
        for name, column in kept.items():
            if column.shape != kept["time_s"].shape or column.ndim != 1:
                raise ValueError(
                    f"run {self.name}: found {name} of shape {column.shape}; accepted: {kept['time_s'].shape} in 1-d"
                )
        if self.start.tzinfo is None:
            raise ValueError(f"run {self.name}: found start {self.start.isoformat()}; accepted: a time with its offset")
        object.__setattr__(self, "time_s", kept.pop("time_s"))
        object.__setattr__(self, "values", kept.pop("values"))
        object.__setattr__(self, "operating_point", kept)

    @property
    def interval_s(self) -> float:
        """Median spacing of the samples.

        Returns
        -------
        float
            In s.
        """
        return float(np.median(np.diff(self.time_s)))

    @property
    def bench_day(self) -> str:
        """Day of the start, by the clock of the bench.

        Returns
        -------
        str
            ISO date.
        """
        return self.start.date().isoformat()


@dataclass(frozen=True, eq=False)
class Trial:
    """A trial: what is asked, and the runs in the order of the bench.

    Attributes
    ----------
    folder : Path or None
        Where it was read; None for a trial made in memory.
    settings : Settings
        What trial.toml says.
    runs : tuple of Run
        In the order of the bench.
    sha256 : dict of str to str
        SHA-256 of every input file by its name in the folder; empty in memory.
    plan : SealedPlan or None
        What was sealed before the first run.
    dropped : tuple of SheetRow
        Rows of the run sheet that take no part, with the reason in their remarks.
    """

    folder: Path | None
    settings: Settings
    runs: tuple[Run, ...] = field(repr=False)
    sha256: dict[str, str] = field(repr=False, default_factory=dict)
    plan: SealedPlan | None = field(repr=False, default=None)
    dropped: tuple[SheetRow, ...] = field(repr=False, default=())

    @property
    def units(self) -> tuple[str, ...]:
        """List the units of replication.

        Returns
        -------
        tuple of str
            By first appearance: articles of test runs, or ``"K01/1"`` (article/mount) where the unit is the mount.
        """
        by_mount = self.settings.comparison.unit_of_replication == "mount"
        names = (f"{run.article}/{run.mount}" if by_mount else run.article for run in self.runs if run.role == "test")
        return tuple(dict.fromkeys(names))

    @property
    def dropped_in_words(self) -> tuple[str, ...]:
        """Name what was dropped and why.

        Returns
        -------
        tuple of str
            First the articles of which no run takes part, then single runs; empty where nothing was dropped.
        """
        measured = {run.article for run in self.runs}
        articles: dict[str, list[str]] = {}
        single = []
        for row in self.dropped:
            if row.article and row.article not in measured:
                articles.setdefault(row.article, []).append(row.remarks.strip())
            else:
                what = " ".join(filter(None, (row.article, row.condition)))
                single.append(f"{row.run}{what and f' of {what}'}, {row.remarks.strip()}")
        whole = [f"{name}, {', '.join(dict.fromkeys(reasons))}" for name, reasons in articles.items()]
        return tuple(
            f"{counted(len(some), noun)} dropped: {'; '.join(some)}"
            for some, noun in ((whole, "article"), (single, "run"))
            if some
        )


def read_trial(folder: str | os.PathLike[str]) -> Trial:
    """Read and check a trial folder.

    Parameters
    ----------
    folder : path
        Holds trial.toml, run_sheet.csv and samples/.

    Returns
    -------
    Trial
        Settings and runs.

    Raises
    ------
    TrialError
        With every fault that was found.

    Notes
    -----
    Files are opened for reading only. Sample files may have 512 MiB, the two tables 1 MiB.
    """
    trial, faults = _read_folder(Path(folder))
    if trial is None:
        raise TrialError(faults)
    return trial


def find_faults(folder: str | os.PathLike[str]) -> list[Fault]:
    """Say all that is wrong with a trial folder.

    Parameters
    ----------
    folder : path
        Holds trial.toml, run_sheet.csv and samples/.

    Returns
    -------
    list of Fault
        Empty if `read_trial` takes the folder.
    """
    return _read_folder(Path(folder))[1]


def _read_folder(folder: Path) -> tuple[Trial | None, list[Fault]]:
    tables = read_tables(folder)
    settings = tables.log_settings
    reads = [read_run(folder, row, settings) for row in tables.sample_rows]
    facts = {read.file: fact for read in reads if (fact := run_facts(read)) is not None}
    faults = [
        *tables.faults,
        *chain.from_iterable(read.faults for read in reads),
        *find_copies(tables.rows, facts).values(),
        *check_folder(folder, tables, facts),
    ]
    if faults or tables.settings is None:
        return None, faults
    samples = {read.file: read.samples for read in reads if read.samples is not None}
    sha256 = tables.sha256 | {read.file: read.sha256 for read in reads if read.sha256 is not None}
    runs = tuple(shape_run(row, samples[row.file]) for row in tables.rows if row.role != DROPPED)
    return Trial(folder, tables.settings, runs, sha256, tables.plan, tuple(tables.dropped_rows)), faults


def shape_run(row: SheetRow, samples: Samples) -> Run:
    """Make a run of its row in the run sheet and its samples.

    Parameters
    ----------
    row : SheetRow
        Without fault.
    samples : Samples
        Of its sample file.

    Returns
    -------
    Run
        The columns are not copied.
    """
    return Run(
        row.run,
        cast("datetime", row.start),
        cast("Literal['test', 'reference', 'zero']", row.role),
        row.article,
        row.condition,
        row.mount,
        row.file,
        samples.time_s,
        samples.values,
        samples.operating_point,
        row.remarks,
    )


def write_trial(trial: Trial, folder: str | os.PathLike[str]) -> None:
    """Write a trial folder in the kit's own form, whole or not at all.

    Parameters
    ----------
    trial : Trial
        From the simulator, or read through a column map.
    folder : path
        Must not exist.

    Raises
    ------
    FileExistsError
        The folder exists.
    TrialError
        What would be written could not be read back; nothing is left behind.

    Notes
    -----
    Decimals: `samples_text` says how many are written.
    """
    target = Path(folder)
    if target.exists() or target.is_symlink():
        raise FileExistsError(f"folder: found {target.name} already; accepted: the name of a new folder")
    draft = target.parent / f".{target.name}.{secrets.token_hex(4)}"
    (draft / "samples").mkdir(parents=True)
    try:
        _write_files(trial, draft)
        read_trial(draft)
        draft.rename(target)
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise


def _write_files(trial: Trial, folder: Path) -> None:
    settings = dataclasses.replace(trial.settings, log=kit_form(trial.settings.log))
    _write(folder / trial_toml.FILE, settings_text(settings))
    rows: list[tuple[str, ...]] = [
        (run.name, run.start.isoformat(), run.role, run.article, run.condition, run.mount, run.file, run.remarks)
        for run in trial.runs
    ]
    for row in trial.dropped:
        start = "" if row.start is None else row.start.isoformat()
        entries = (row.run, start, row.role, row.article, row.condition, row.mount, row.file, row.remarks)
        rows.insert(row.line - 2, entries)
        if row.file and trial.folder is not None:
            # Not read, hence not in memory: its bytes as they are.
            (folder / row.file).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(trial.folder / row.file, folder / row.file)
    _write(folder / run_sheet.FILE, run_sheet_text(rows))
    if trial.plan is not None:
        _write(folder / plan_file.FILE, plan_text(trial.plan))
    for run in trial.runs:
        if wrong := check_name(run.file):
            raise TrialError([Fault(run_sheet.FILE, None, f"run {run.name}", wrong, "a file below samples/")])
        path = folder / run.file
        path.parent.mkdir(parents=True, exist_ok=True)
        values = {} if settings.bench_model else {settings.log.value.column: run.values}
        columns = {settings.log.time.column: run.time_s, **values, **run.operating_point}
        _write(path, samples_text(columns, resolution=settings.readings.resolution))


def _write(path: Path, text: str) -> None:
    with path.open("x", encoding="utf-8", newline="") as file:
        file.write(text)
