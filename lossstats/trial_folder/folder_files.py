"""The files of one trial folder, each read, hashed and checked by itself, and the rules that hold between them."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from lossstats.trial_folder import plan_file, run_sheet, trial_toml
from lossstats.trial_folder.faults import Fault, FaultList, TrialError
from lossstats.trial_folder.plan_file import SealedPlan, read_plan
from lossstats.trial_folder.raw_files import MOST_SAMPLE_BYTES, MOST_TABLE_BYTES, find_unnamed, read_bytes
from lossstats.trial_folder.run_sheet import DROPPED, SheetRow, read_run_sheet
from lossstats.trial_folder.samples import Samples, first_row_line, read_samples
from lossstats.trial_folder.settings import BenchModelKeys, LogKeys, ReadingsKeys, Settings
from lossstats.trial_folder.trial_checks import check_rows
from lossstats.trial_folder.trial_toml import read_settings

# Sheets are filled by hand, to the minute.
_START_TOLERANCE_S = 60.0


@dataclass
class Tables:
    """What a trial folder holds beside its samples.

    Attributes
    ----------
    settings : Settings or None
        What trial.toml says; None where it cannot be told. Where there are faults, what is wrong stands at its default.
    rows : list of SheetRow
        Rows of the run sheet.
    plan : SealedPlan or None
        What was sealed before the first run.
    sha256 : dict of str to str
        Digest of each of these files, and of the sample files of dropped runs, which are not read.
    faults : list of Fault
        All that is wrong with them.
    """

    settings: Settings | None = None
    rows: list[SheetRow] = field(default_factory=list)
    plan: SealedPlan | None = None
    sha256: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    @property
    def sample_rows(self) -> list[SheetRow]:
        """List the rows that take part and name a sample file, each file once.

        Returns
        -------
        list of SheetRow
            In the order of the sheet.
        """
        first: dict[str, SheetRow] = {}
        for row in self.rows:
            if row.role != DROPPED:
                first.setdefault(row.file, row)
        return [row for file, row in first.items() if file]

    @property
    def dropped_rows(self) -> list[SheetRow]:
        """List the rows of dropped runs.

        Returns
        -------
        list of SheetRow
            In the order of the sheet.
        """
        return [row for row in self.rows if row.role == DROPPED]

    @property
    def settings_faults(self) -> list[Fault]:
        """List the faults of trial.toml alone.

        Returns
        -------
        list of Fault
            In the order of the file.
        """
        return [fault for fault in self.faults if fault.file == trial_toml.FILE]

    @property
    def log_settings(self) -> Settings | None:
        """Give the settings, if they tell how sample files are to be read.

        Returns
        -------
        Settings or None
            None where trial.toml has a fault in its column map or its bench model.
        """
        untold = any(str(fault.column).startswith(("key log", "key bench_model")) for fault in self.settings_faults)
        return None if untold else self.settings


class SampleFile(NamedTuple):
    """One sample file as it was read.

    Attributes
    ----------
    file : str
        Its name.
    sha256 : str or None
        Digest of its content; None if it could not be read.
    samples : Samples or None
        None if they could not be read. The columns may be parts of larger arrays, not to be written to.
    faults : list of Fault
        All that is wrong with it.
    """

    file: str
    sha256: str | None
    samples: Samples | None
    faults: list[Fault]


class RunFacts(NamedTuple):
    """What the rules between the runs of a folder need of each.

    Attributes
    ----------
    sha256 : str
        Digest of the sample file.
    last_s : float
        Time of the last sample, in s.
    stands_still : bool
        All readings are equal.
    """

    sha256: str
    last_s: float
    stands_still: bool


def read_tables(folder: Path) -> Tables:
    """Read trial.toml, the run sheet, and the sealed plan if there is one.

    Parameters
    ----------
    folder : Path
        A trial folder.

    Returns
    -------
    Tables
        What they say, and all that is wrong with them.
    """
    tables = Tables()
    if not folder.is_dir():
        accepted = "a folder with trial.toml, run_sheet.csv, samples/"
        tables.faults.append(Fault(str(folder), None, None, "no such folder", accepted))
        return tables
    data = _read_table(folder, trial_toml.FILE, tables)
    if data is not None:
        tables.settings, faults = read_settings(data)
        tables.faults += faults
    data = _read_table(folder, run_sheet.FILE, tables)
    if data is not None:
        conditions = tables.settings.comparison.all_conditions if tables.settings else ()
        tables.rows, faults = read_run_sheet(data, conditions if all(conditions) else ())
        tables.faults += faults
    for row in tables.dropped_rows:
        if row.file:
            _, sha256, faults = _read_hashed(folder, row.file, MOST_SAMPLE_BYTES)
            tables.faults += _named_by(row, faults)
            if sha256 is not None:
                tables.sha256[row.file] = sha256
    try:
        tables.plan = read_plan(folder)
    except TrialError as error:
        tables.faults += error.faults
    if tables.plan is not None:
        tables.sha256[plan_file.FILE] = hashlib.sha256((folder / plan_file.FILE).read_bytes()).hexdigest()
    return tables


def _named_by(row: SheetRow, faults: list[Fault]) -> list[Fault]:
    # A file that is not there may be there by another name: say where this one stands.
    where = f"{run_sheet.FILE}, line {row.line}"
    return [replace(fault, accepted=f"{fault.accepted} ({where})") for fault in faults]


def _read_table(folder: Path, name: str, tables: Tables) -> bytes | None:
    data, sha256, faults = _read_hashed(folder, name, MOST_TABLE_BYTES)
    tables.faults += faults
    if sha256 is not None:
        tables.sha256[name] = sha256
    return data


def _read_hashed(folder: Path, name: str, most: int) -> tuple[bytes | None, str | None, list[Fault]]:
    found = FaultList(name)
    data = read_bytes(folder, name, found, most=most)
    return data, None if data is None else hashlib.sha256(data).hexdigest(), found.listed()


def read_sample_file(
    folder: str | os.PathLike[str],
    file: str,
    log: LogKeys | None = None,
    readings: ReadingsKeys | None = None,
    model: BenchModelKeys | None = None,
) -> SampleFile:
    """Read one sample file strictly, as a whole.

    Parameters
    ----------
    folder : path
        What the name is relative to.
    file : str
        Name of the file in it, of at most 512 MiB.
    log, readings, model : LogKeys, ReadingsKeys, BenchModelKeys, optional
        As in `lossstats.trial_folder.samples.read_samples`.

    Returns
    -------
    SampleFile
        Digest, samples, faults.
    """
    data, sha256, faults = _read_hashed(Path(folder), file, MOST_SAMPLE_BYTES)
    if data is None:
        return SampleFile(file, None, None, faults)
    return SampleFile(file, sha256, *read_samples(data, file, log, readings, model))


def read_run(folder: Path, row: SheetRow, settings: Settings | None) -> SampleFile:
    """Read the sample file of one run, its first time stamp held against the run sheet.

    Parameters
    ----------
    folder : Path
        A trial folder.
    row : SheetRow
        Row of the run.
    settings : Settings or None
        Say how the file is to be read; where they cannot be told, only its digest is taken.

    Returns
    -------
    SampleFile
        Samples also where nothing but the stamp is wrong.
    """
    if settings is None:
        _, sha256, faults = _read_hashed(folder, row.file, MOST_SAMPLE_BYTES)
        return SampleFile(row.file, sha256, None, _named_by(row, faults))
    read = read_sample_file(folder, row.file, settings.log, settings.readings, settings.bench_model)
    return hold_to_start(read, row, settings.log)


def hold_to_start(read: SampleFile, row: SheetRow, log: LogKeys) -> SampleFile:
    """Hold the first time stamp of a sample file, if it has any, against the run sheet.

    Parameters
    ----------
    read : SampleFile
        A sample file.
    row : SheetRow
        Row of its run.
    log : LogKeys
        Column map.

    Returns
    -------
    SampleFile
        With one more fault where the stamp is not that of the start; where the file cannot be had, the faults say
        which row names it.
    """
    if read.sha256 is None:
        return read._replace(faults=_named_by(row, read.faults))
    if read.samples is None or read.samples.first_stamp is None or row.start is None:
        return read
    tolerance_s = max(_START_TOLERANCE_S, float(np.median(np.diff(read.samples.time_s))))
    if abs((read.samples.first_stamp - row.start).total_seconds()) <= tolerance_s:
        return read
    accepted = (
        f"a stamp within {tolerance_s:g} s of the start in run_sheet.csv, line {row.line}: {row.start.isoformat()}"
    )
    found = f"the first stamp {read.samples.first_stamp.isoformat()}"
    fault = Fault(row.file, first_row_line(log), f"column of times ({log.time.column})", found, accepted)
    return read._replace(faults=[*read.faults, fault])


def run_facts(read: SampleFile) -> RunFacts | None:
    """Take from the samples of a run what the rules between runs need.

    Parameters
    ----------
    read : SampleFile
        A sample file.

    Returns
    -------
    RunFacts or None
        None where the samples could not be read.
    """
    if read.samples is None or read.sha256 is None:
        return None
    values = read.samples.values
    return RunFacts(read.sha256, float(read.samples.time_s[-1]), bool(values.min() == values.max()))


def find_copies(rows: Sequence[SheetRow], facts: Mapping[str, RunFacts]) -> dict[str, Fault]:
    """Find runs that are one file copied.

    Parameters
    ----------
    rows : sequence of SheetRow
        In the order of the sheet.
    facts : mapping of str to RunFacts
        By sample file, where the file could be read.

    Returns
    -------
    dict of str to Fault
        By sample file; of files with the same content to the last byte, all but the first. Readings that stand still
        may be the same in two runs.
    """
    faults: dict[str, Fault] = {}
    first: dict[str, str] = {}
    for row in rows:
        if row.file not in facts or facts[row.file].stands_still:
            continue
        other = first.setdefault(facts[row.file].sha256, row.file)
        if other != row.file:
            faults[row.file] = Fault(row.file, None, None, f"the same content as {other}", "the readings of this run")
    return faults


def check_folder(folder: Path, tables: Tables, facts: Mapping[str, RunFacts]) -> list[Fault]:
    """Hold the files of a folder against the run sheet, and its rows against each other.

    Parameters
    ----------
    folder : Path
        A trial folder.
    tables : Tables
        Its settings and its run sheet.
    facts : mapping of str to RunFacts
        By sample file, where the file could be read.

    Returns
    -------
    list of Fault
        Files that nothing names, unless no row of the sheet could be read; rows that do not fit. Copies stand in
        `find_copies`.
    """
    comparison = None if tables.settings is None or tables.settings_faults else tables.settings.comparison
    lasts_s = {file: fact.last_s for file, fact in facts.items()}
    return [
        *(find_unnamed(folder, {row.file for row in tables.rows}) if tables.rows else ()),
        *check_rows(tables.rows, comparison, lasts_s),
    ]
