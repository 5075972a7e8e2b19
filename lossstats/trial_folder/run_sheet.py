"""The run sheet: one row a run, in the order of the bench."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from lossstats.trial_folder.faults import Fault, FaultList, quoted
from lossstats.trial_folder.number_rows import parse_stamp
from lossstats.trial_folder.raw_files import check_name, check_text

FILE = "run_sheet.csv"
COLUMNS = ("run", "start", "role", "article", "condition", "mount", "file", "remarks")
ROLES = ("test", "reference", "zero")
# A run that takes no part: its reason stands in remarks, its file, if there is one, is kept and hashed.
DROPPED = "dropped"
# What each role fills in beside run, start, role and file.
_FILLED: dict[str, tuple[str, ...]] = {
    "test": ("article", "condition", "mount"),
    "reference": ("article", "mount"),
    "zero": (),
    DROPPED: (),
}


@dataclass(frozen=True)
class SheetRow:
    """One row of the run sheet.

    Attributes
    ----------
    line : int
        Line of run_sheet.csv.
    run : str
        Name of the run.
    start : datetime or None
        Aware; None where the stamp has a fault.
    role : str
        ``"test"``, ``"reference"``, ``"zero"`` or ``"dropped"``.
    article, condition, mount : str
        Empty where the role has none.
    file : str
        Sample file, relative to the trial folder; empty where the name has a fault, and where a dropped run left none.
    remarks : str
        Free text; of a dropped run the reason.
    """

    line: int
    run: str
    start: datetime | None
    role: str
    article: str
    condition: str
    mount: str
    file: str
    remarks: str


def place(column: str) -> str:
    """Column number and name, as a fault shows it.

    Parameters
    ----------
    column : str
        Name of a column of the run sheet.

    Returns
    -------
    str
        For example ``"column 3 (role)"``.
    """
    return f"column {COLUMNS.index(column) + 1} ({column})"


def read_run_sheet(data: bytes, conditions: tuple[str, ...] = ()) -> tuple[list[SheetRow], list[Fault]]:
    """Read the content of run_sheet.csv, each row by itself.

    Parameters
    ----------
    data : bytes
        Content of the file.
    conditions : tuple of str, optional
        The two conditions compared; left out: any.

    Returns
    -------
    rows : list of SheetRow
        Every row that has the right number of fields, with or without a fault.
    faults : list of Fault
        All that is wrong with single rows; what is wrong between rows, ``trial_checks`` finds.
    """
    faults = FaultList(FILE)
    text = check_text(data, faults)
    if text is None:
        return [], faults.listed()
    header, *lines = text[:-1].split(b"\n")
    if header != ",".join(COLUMNS).encode():
        as_saved = header.replace(b'"', b"").rstrip(b";").decode("latin-1").split(";") == list(COLUMNS)
        hint = "; a spreadsheet seems to have saved it with semicolons: save it with commas, or use a text editor"
        faults.add(quoted(header), ",".join(COLUMNS) + hint * as_saved, line=1)
        return [], faults.listed()
    rows: list[SheetRow] = []
    starts: list[tuple[int, str]] = []
    for number, line in enumerate(lines, start=2):
        fields = _split_row(line, number, faults)
        if fields is not None:
            rows.append(_read_row(fields, number, conditions, faults))
            if rows[-1].start is None:
                starts.append((number, fields[COLUMNS.index("start")]))
    _tell_starts(starts, len(rows), faults)
    if not lines:
        faults.add("a header and no rows", "one row a run, in the order of the bench")
    return rows, faults.listed()


def _tell_starts(starts: list[tuple[int, str]], rows: int, faults: FaultList) -> None:
    # Where no start can be read, it is one cause, such as a spreadsheet that turned the times about.
    accepted = "an ISO 8601 date and time with offset such as 2031-03-03T08:00:00+01:00"
    shown = [(line, quoted(text) if text else "an empty field") for line, text in starts]
    if len(starts) == rows > 2:
        line, first = shown[0]
        accepted += " (does a spreadsheet turn the times about?)"
        shown = [(line, f"{first}, and no start of the form in any of the {rows} rows")]
    for line, found in shown:
        faults.add(found, accepted, line=line, column=place("start"))


def _split_row(line: bytes, number: int, faults: FaultList) -> list[str] | None:
    expected = f"{len(COLUMNS)} fields: {','.join(COLUMNS)}"
    if not line.strip():
        faults.add("a blank line", expected, line=number)
        return None
    try:
        fields = next(csv.reader([line.decode()], strict=True))
    except UnicodeDecodeError:
        faults.add(quoted(line), "text in UTF-8", line=number)
        return None
    except csv.Error as error:
        faults.add(f"{quoted(line)} ({error})", "fields in quotation marks that end in the same line", line=number)
        return None
    if len(fields) != len(COLUMNS):
        faults.add(f"{len(fields)} field{'s' * (len(fields) != 1)} in {quoted(line)}", expected, line=number)
        return None
    return fields


def _read_row(fields: list[str], line: int, conditions: tuple[str, ...], faults: FaultList) -> SheetRow:
    entry = dict(zip(COLUMNS, fields, strict=True))

    def fault(column: str, accepted: str, found: str | None = None) -> None:
        shown = found or (quoted(entry[column]) if entry[column] else "an empty field")
        faults.add(shown, accepted, line=line, column=place(column))

    for column in COLUMNS[:-1]:
        if entry[column] != entry[column].strip() or not entry[column].isprintable():
            fault(column, "an entry without blanks around it, in characters that can be printed")
            entry[column] = "".join(entry[column].split())
    if not entry["run"]:
        fault("run", "a name for the run, such as r01")
    start = parse_stamp(entry["start"])
    if entry["role"] not in _FILLED:
        fault("role", "test, reference or zero (or dropped, for a run that takes no part, with the reason in remarks)")
    else:
        _check_filled(entry, conditions, fault)
    dropped = entry["role"] == DROPPED
    if dropped and not entry["remarks"].strip():
        fault("remarks", "the reason, which a dropped run needs")
    if not entry["file"] and not dropped:
        fault("file", "the sample file of the run, such as samples/r01.csv")
    elif entry["file"] and (wrong := check_name(entry["file"])):
        fault("file", "a file below samples/, such as samples/r01.csv", f"{wrong}, {quoted(entry['file'])}")
        entry["file"] = ""
    return SheetRow(line, start=start, **{column: entry[column] for column in COLUMNS if column != "start"})


def _check_filled(entry: dict[str, str], conditions: tuple[str, ...], fault: Callable[[str, str], None]) -> None:
    # Hold article, condition and mount against the role.
    role = entry["role"]
    for column in ("article", "condition", "mount"):
        if column in _FILLED[role] and not entry[column]:
            fault(column, f"the {column}, which a {role} run needs")
        elif column not in _FILLED[role] and entry[column] and role != DROPPED:
            fault(column, f"an empty field: a {role} run has no {column}")
        elif column == "condition" and entry[column] and conditions and entry[column] not in conditions:
            fault(column, f"{' or '.join(conditions)}, as [comparison] in trial.toml says")


def run_sheet_text(rows: Iterable[Iterable[str]] = ()) -> str:
    r"""Text of a run sheet.

    Parameters
    ----------
    rows : iterable of iterable of str
        The entries of each row, in the order of the columns.

    Returns
    -------
    str
        Header and rows, each ended by ``\n``.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(rows)
    return text.getvalue()
