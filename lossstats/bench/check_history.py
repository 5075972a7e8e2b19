"""The history of a check standard: read from one CSV, from columns in memory, or from trial folders."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lossstats.bench.check_entries import COLUMNS, REQUIRED, Check, entry_text, read_entries
from lossstats.records.rendering import Record, decimals_for, shown
from lossstats.trial_folder.faults import FaultList, quoted
from lossstats.trial_folder.raw_files import MOST_TABLE_BYTES, check_text

if TYPE_CHECKING:
    import pandas as pd

    from lossstats.one_run.reduced_runs import ReducedRun
    from lossstats.trial_folder.trial import Run, Trial

_HEADER = f"the columns date and value, and of {', '.join(COLUMNS[2:])} those that there are, each once"


@dataclass(frozen=True)
class CheckHistory(Record):
    """Checks of a bench with its reference article, in the order of time.

    Attributes
    ----------
    checks : tuple of Check
        Dates rise strictly within one bench and article.
    unit : str
        Unit of the values.
    source : str
        Where they come from.
    notes : tuple of str
        Remarks.
    """

    checks: tuple[Check, ...]
    unit: str
    source: str
    notes: tuple[str, ...] = ()

    title = "History of a check standard"

    @property
    def table(self) -> pd.DataFrame:
        """One row a check.

        Returns
        -------
        DataFrame
            Columns date, value, sd, n, bench, article, event; sd and n are missing where they were not recorded.
        """
        import pandas as pd

        table = pd.DataFrame([{name: getattr(check, name) for name in COLUMNS} for check in self.checks])
        return table.astype({"sd": float, "n": "Int64"})

    def only(self, *, bench: str | None = None, article: str | None = None) -> CheckHistory:
        """Keep the checks of one bench and one reference article.

        Parameters
        ----------
        bench : str, optional
            Its name; left out: all.
        article : str, optional
            Its name; left out: all.

        Returns
        -------
        CheckHistory
            The checks that bear these names.

        Raises
        ------
        ValueError
            If no check bears a name.
        """
        kept = self.checks
        for column, name in (("bench", bench), ("article", article)):
            if name is None:
                continue
            kept = tuple(check for check in kept if getattr(check, column) == name)
            if not kept:
                known = ", ".join(repr(known) for known in dict.fromkeys(getattr(c, column) for c in self.checks))
                raise ValueError(f"{column}: found {name!r}; accepted: a name in the history, {known}")
        return replace(self, checks=kept)

    def _rows(self) -> list[tuple[str, str]]:
        values = [check.value for check in self.checks]
        places = decimals_for(float(np.std(values)))
        return [
            ("checks", f"{len(values)}, {self.checks[0].date} to {self.checks[-1].date}"),
            ("values", f"{shown(min(values), places)} to {shown(max(values), places)} {self.unit}".rstrip()),
            *((f"event {check.date}", check.event) for check in self.checks if check.event),
            ("source", self.source),
            *(("note", note) for note in self.notes),
        ]


def read_check_history(path: str | os.PathLike[str], *, unit: str = "W") -> CheckHistory:
    """Read the history of a check standard from one CSV.

    Parameters
    ----------
    path : path
        Header line, then one row a check: date (ISO 8601) and value, and of sd, n, bench, article, event those that
        there are. Fields parted by commas, decimal points, UTF-8; an empty field of sd or n is a number not recorded.
    unit : str, default "W"
        Unit of value and sd.

    Returns
    -------
    CheckHistory
        The checks.

    Raises
    ------
    ValueError
        With every fault that was found: file, line, column, what was found, what would be accepted.
    """
    file = Path(path)
    faults = FaultList(file.name)
    lines = _read_lines(file, faults)
    header: list[str] = lines[0][1] if lines else []
    if lines and not _header_fits(header):
        faults.add(quoted(",".join(header)), _HEADER, line=1)
    elif lines and len(lines) == 1:
        faults.add("a header and no rows", "one row a check")
    _stop_at(faults)
    rows = []
    for line, fields in lines[1:]:
        if len(fields) != len(header):
            found = f"{len(fields)} field{'s' * (len(fields) != 1)}" if fields else "a blank line"
            faults.add(found, f"{len(header)} fields: {','.join(header)}", line=line)
        else:
            rows.append((line, dict(zip(header, fields, strict=True))))
    places = {name: f"column {place} ({name})" for place, name in enumerate(header, start=1)}
    checks = read_entries(rows, places, faults)
    _stop_at(faults)
    return CheckHistory(checks, unit, file.name)


def make_check_history(columns: Mapping[str, Sequence[Any]] | pd.DataFrame, *, unit: str = "W") -> CheckHistory:
    """Make the history of a check standard from columns in memory, held to the same rules as a CSV.

    Parameters
    ----------
    columns : mapping of str to sequence, or DataFrame
        Columns date (ISO text or dates) and value, and of sd, n, bench, article, event those that there are, all of
        the same length; None, or nan in sd and n, is a number not recorded.
    unit : str, default "W"
        Unit of value and sd.

    Returns
    -------
    CheckHistory
        The checks.

    Raises
    ------
    ValueError
        With every fault that was found; rows are counted from 1.
    """
    faults = FaultList("history")
    names = [str(name) for name in columns]
    lengths = {len(columns[name]) for name in names}
    if not _header_fits(names):
        faults.add(quoted(",".join(names)), _HEADER)
    elif len(lengths) != 1:
        faults.add(f"columns of {' and '.join(map(str, sorted(lengths)))} rows", "columns of one length")
    elif lengths == {0}:
        faults.add("columns without rows", "one row a check")
    _stop_at(faults)
    texts = {name: [entry_text(name, cell) for cell in columns[name]] for name in names}
    rows = [(row + 1, {name: texts[name][row] for name in names}) for row in range(lengths.pop())]
    checks = read_entries(rows, {name: f"column {name!r}" for name in names}, faults)
    _stop_at(faults)
    return CheckHistory(checks, unit, "columns in memory")


def _header_fits(names: Sequence[str]) -> bool:
    return set(REQUIRED) <= set(names) <= set(COLUMNS) and len(set(names)) == len(names)


def _stop_at(faults: FaultList) -> None:
    if not len(faults):
        return
    head = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
    raise ValueError("\n".join([f"{head} in the check history:", *(f"  {fault}" for fault in faults.listed())]))


def _read_lines(file: Path, faults: FaultList) -> list[tuple[int, list[str]]]:
    """Lines of a CSV with their numbers, parted into fields; the header first."""
    data = None
    try:
        if file.stat().st_size > MOST_TABLE_BYTES:
            faults.add(f"{file.stat().st_size} bytes", f"at most {MOST_TABLE_BYTES // 1024} KiB")
        else:
            data = file.read_bytes()
    except OSError as error:
        faults.add(f"a file that cannot be read ({error.strerror})", "a CSV of checks")
    text = None if data is None else check_text(data, faults)
    lines = []
    for number, line in enumerate(text[:-1].split(b"\n") if text is not None else (), start=1):
        try:
            lines.append((number, next(csv.reader([line.decode()], strict=True), [""])))
        except UnicodeDecodeError:
            faults.add(quoted(line), "text in UTF-8", line=number)
        except csv.Error as error:
            faults.add(f"{quoted(line)} ({error})", "fields in quotation marks that end in the same line", line=number)
    return lines if not lines or lines[0][0] == 1 else []


def history_from_trials(folders: Iterable[str | os.PathLike[str] | Trial]) -> CheckHistory:
    """Make the history of a check standard from the reference runs of trial folders.

    Parameters
    ----------
    folders : iterable of path or Trial
        Trials with reference runs, in any order.

    Returns
    -------
    CheckHistory
        One row a bench day and reference article: mean, standard deviation and number of the levels of its runs.
        Levels are as the bench showed them, without drift correction: the reference runs are what the correction is
        made from, and a check must not be corrected by itself.

    Raises
    ------
    TrialError
        If a folder has faults.
    NotSettledError
        If a reference run is still moving, under a trial whose rule refuses that.
    ValueError
        If there is no reference run, or the units differ.

    Notes
    -----
    The standard deviation within a day holds refits and the drift of that day beside the repeatability of a run.
    """
    days: dict[tuple[str, str, str], list[float]] = {}
    notes: list[str] = []
    units: dict[str, str] = {}
    for folder in folders:
        trial, name = _opened(folder)
        units.setdefault(trial.settings.trial.unit, name)
        found = _reference_levels(trial, name, notes)
        for run, level in found:
            days.setdefault((run.bench_day, trial.settings.scope.bench, run.article), []).append(level)
        if not found:
            notes.append(f"{name}: no reference run in use")
    if len(units) > 1:
        places = ", ".join(f"{unit!r} in {name}" for unit, name in units.items())
        raise ValueError(f"folders: found the units {places}; accepted: trials in one unit")
    if not days:
        raise ValueError("folders: found no reference run; accepted: trials with runs of the role reference")
    checks = tuple(
        Check(day, float(np.mean(v)), float(np.std(v, ddof=1)) if len(v) > 1 else None, len(v), bench, article)
        for (day, bench, article), v in sorted(days.items())
    )
    return CheckHistory(checks, next(iter(units)), "reference runs of trial folders", tuple(notes))


def _opened(folder: str | os.PathLike[str] | Trial) -> tuple[Trial, str]:
    from lossstats.trial_folder.trial import Trial, read_trial

    trial = folder if isinstance(folder, Trial) else read_trial(folder)
    return trial, "a trial in memory" if trial.folder is None else trial.folder.name


def _reference_levels(trial: Trial, name: str, notes: list[str]) -> list[tuple[Run, float]]:
    """Levels of the reference runs that the trial's own rule for runs still moving lets through."""
    from lossstats.conclusion.conclusion import NotSettledError, reduce_trial

    runs = tuple(run for run in trial.runs if run.role == "reference")
    reduced: list[ReducedRun] = reduce_trial(replace(trial, runs=runs)) if runs else []
    rule = trial.settings.settling
    moving = [run.name for run, r in zip(runs, reduced, strict=True) if r.settled.status == "moving"]
    if moving and rule.still_moving == "refuse":
        raise NotSettledError(moving, f"{name}: tolerance {rule.tolerance:g} {trial.settings.trial.unit}")
    leave = set(moving) if rule.still_moving == "leave out" else set()
    if moving:
        notes.append(f"{name}: {'left out' if leave else 'used although'} still moving: {', '.join(moving)}")
    return [(run, r.level.value) for run, r in zip(runs, reduced, strict=True) if run.name not in leave]
