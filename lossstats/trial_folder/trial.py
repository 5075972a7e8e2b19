"""A trial: its settings and its runs, read from a folder or written to one."""

from __future__ import annotations

import dataclasses
import hashlib
import os
import secrets
import shutil
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Literal, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.trial_folder import plan_file, run_sheet, trial_toml
from lossstats.trial_folder.faults import Fault, FaultList, TrialError
from lossstats.trial_folder.plan_file import SealedPlan, plan_text, read_plan
from lossstats.trial_folder.raw_files import MOST_SAMPLE_BYTES, MOST_TABLE_BYTES, check_name, find_unnamed, read_bytes
from lossstats.trial_folder.run_sheet import SheetRow, read_run_sheet, run_sheet_text
from lossstats.trial_folder.samples import Samples, read_samples
from lossstats.trial_folder.samples_text import samples_text
from lossstats.trial_folder.settings import Settings
from lossstats.trial_folder.trial_checks import check_rows
from lossstats.trial_folder.trial_toml import kit_form, read_settings, settings_text

# Sheets are filled by hand, to the minute.
_START_TOLERANCE_S = 60.0


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
    """

    folder: Path | None
    settings: Settings
    runs: tuple[Run, ...] = field(repr=False)
    sha256: dict[str, str] = field(repr=False, default_factory=dict)
    plan: SealedPlan | None = field(repr=False, default=None)

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
    if not folder.is_dir():
        return None, [
            Fault(folder.name, None, None, "no such folder", "a folder with trial.toml, run_sheet.csv, samples/")
        ]
    sha256: dict[str, str] = {}
    settings: Settings | None = None
    faults: list[Fault] = []
    data = _read_table(folder, trial_toml.FILE, sha256, faults)
    if data is not None:
        settings, more = read_settings(data)
        faults += more
    trial_is_told = settings is not None and not faults
    log_is_told = settings is not None and not any(
        str(f.column).startswith(("key log", "key bench_model")) for f in faults
    )
    rows: list[SheetRow] = []
    data = _read_table(folder, run_sheet.FILE, sha256, faults)
    if data is not None:
        conditions = settings.comparison.all_conditions if settings else ()
        rows, more = read_run_sheet(data, conditions if all(conditions) else ())
        faults += more
    plan = _read_plan(folder, sha256, faults)
    samples: dict[str, Samples] = {}
    for row in rows:
        if row.file and row.file not in samples:
            part = _read_run(folder, row, settings if log_is_told else None, sha256, faults)
            if part is not None:
                samples[row.file] = part
    faults += find_unnamed(folder, {row.file for row in rows})
    faults += _find_copies(rows, samples, sha256)
    lasts_s = {name: float(part.time_s[-1]) for name, part in samples.items()}
    faults += check_rows(rows, settings.comparison if settings and trial_is_told else None, lasts_s)
    if faults or settings is None:
        return None, faults
    runs = tuple(_shape_run(row, samples[row.file]) for row in rows)
    return Trial(folder, settings, runs, sha256, plan), faults


def _read_plan(folder: Path, sha256: dict[str, str], faults: list[Fault]) -> SealedPlan | None:
    try:
        plan = read_plan(folder)
    except TrialError as error:
        faults += error.faults
        return None
    if plan is not None:
        sha256[plan_file.FILE] = hashlib.sha256((folder / plan_file.FILE).read_bytes()).hexdigest()
    return plan


def _read_table(folder: Path, name: str, sha256: dict[str, str], faults: list[Fault]) -> bytes | None:
    found = FaultList(name)
    data = read_bytes(folder, name, found, most=MOST_TABLE_BYTES)
    faults += found.listed()
    if data is not None:
        sha256[name] = hashlib.sha256(data).hexdigest()
    return data


def _read_run(
    folder: Path, row: SheetRow, settings: Settings | None, sha256: dict[str, str], faults: list[Fault]
) -> Samples | None:
    # The samples of one run; None if the file has a fault, or if it is not known how it is to be read.
    found = FaultList(row.file)
    data = read_bytes(folder, row.file, found, most=MOST_SAMPLE_BYTES)
    if data is None:
        faults += found.listed()
        return None
    sha256[row.file] = hashlib.sha256(data).hexdigest()
    if settings is None:
        return None
    samples, more = read_samples(data, row.file, settings.log, settings.readings, settings.bench_model)
    faults += more
    if samples is not None and samples.first_stamp is not None and row.start is not None:
        tolerance_s = max(_START_TOLERANCE_S, float(np.median(np.diff(samples.time_s))))
        if abs((samples.first_stamp - row.start).total_seconds()) > tolerance_s:
            faults.append(
                Fault(
                    row.file,
                    settings.log.rows_before_header + 2 + settings.log.unit_row,
                    f"column of times ({settings.log.time.column})",
                    f"the first stamp {samples.first_stamp.isoformat()}",
                    f"a stamp within {tolerance_s:g} s of the start in run_sheet.csv, line {row.line}: "
                    f"{row.start.isoformat()}",
                )
            )
    return samples


def _find_copies(rows: list[SheetRow], samples: dict[str, Samples], sha256: dict[str, str]) -> list[Fault]:
    # Two runs with the same content to the last byte are one file copied, unless the readings stand still.
    faults = []
    first: dict[str, str] = {}
    for row in rows:
        if row.file not in samples or np.ptp(samples[row.file].values) == 0:
            continue
        other = first.setdefault(sha256[row.file], row.file)
        if other != row.file:
            faults.append(Fault(row.file, None, None, f"the same content as {other}", "the readings of this run"))
    return faults


def _shape_run(row: SheetRow, samples: Samples) -> Run:
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
    rows = [
        (run.name, run.start.isoformat(), run.role, run.article, run.condition, run.mount, run.file, run.remarks)
        for run in trial.runs
    ]
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
