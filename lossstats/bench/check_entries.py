"""One row of the history of a check standard: what may stand in it, and what must hold from row to row."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from lossstats.trial_folder.faults import FaultList, quoted

COLUMNS = ("date", "value", "sd", "n", "bench", "article", "event")
REQUIRED = ("date", "value")
_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?([eE][+-]?\d{1,2})?", re.ASCII)
_COUNT = re.compile(r"[1-9]\d{0,8}", re.ASCII)
_FINITE = "a finite decimal number such as 6.204"


@dataclass(frozen=True)
class Check:
    """One check: the reference article on the bench, on one day.

    Attributes
    ----------
    date : str
        ISO date.
    value : float
        Mean of the runs of this check, in the unit of the history.
    sd : float or None
        Standard deviation of the runs within this check (repeatability); None where it is not recorded.
    n : int or None
        Runs in this check; at least 2 where there is an `sd`.
    bench, article : str
        Bench and reference article; may be empty.
    event : str
        What was done to the bench since the check before, such as ``"recalibrated"``; usually empty.
    """

    date: str
    value: float
    sd: float | None = None
    n: int | None = None
    bench: str = ""
    article: str = ""
    event: str = ""


def entry_text(name: str, cell: Any) -> str:
    """Write a cell as a CSV would hold it, so that both ways in are held to one grammar.

    Parameters
    ----------
    name : str
        Its column.
    cell : object
        Text, number, date, None.

    Returns
    -------
    str
        Empty for a number not recorded.
    """
    if cell is None or (name in ("sd", "n") and isinstance(cell, float) and math.isnan(cell)):
        return ""
    if hasattr(cell, "isoformat"):  # dates, and the time stamps of pandas at midnight
        return str(cell.isoformat()).removesuffix("T00:00:00")
    if name in ("sd", "n") and str(cell) == "<NA>":
        return ""
    if name == "n" and isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return repr(float(cell)) if isinstance(cell, float | np.floating) else str(cell)


def read_entries(
    rows: list[tuple[int, dict[str, str]]], places: dict[str, str], faults: FaultList
) -> tuple[Check, ...]:
    """Read the entries of all rows, each by itself and against the row before.

    Parameters
    ----------
    rows : list of (int, dict of str to str)
        Line number and entry by column.
    places : dict of str to str
        How a fault names each column.
    faults : FaultList
        Takes what is wrong.

    Returns
    -------
    tuple of Check
        The rows without a fault of their own.
    """
    checks = []
    last: dict[tuple[str, str], str] = {}
    for line, entry in rows:
        check = _read_row(line, entry, places, faults)
        if check is None:
            continue
        series = (check.bench, check.article)
        if check.date <= last.get(series, ""):
            faults.add(
                quoted(check.date), f"a date after {last[series]}, that of the check before; dates rise within a bench "
                "and article, one check a day", line=line, column=places["date"],
            )  # fmt: skip
        last[series] = max(check.date, last.get(series, ""))
        checks.append(check)
    return tuple(checks)


def _read_row(line: int, entry: dict[str, str], places: dict[str, str], faults: FaultList) -> Check | None:
    before = len(faults)

    def fault(column: str, accepted: str) -> None:
        found = quoted(entry[column]) if entry[column] else "an empty field"
        faults.add(found, accepted, line=line, column=places[column])

    day = entry["date"]
    if not is_date(day):
        fault("date", "an ISO 8601 date such as 2025-03-04")
    value = _finite(entry["value"])
    if value is None:
        fault("value", _FINITE)
    sd = _finite(entry.get("sd", ""))
    if entry.get("sd") and (sd is None or sd < 0):
        fault("sd", "a finite decimal number, not below 0, or an empty field")
        sd = None
    n = int(entry["n"]) if _COUNT.fullmatch(entry.get("n", "")) else None
    if entry.get("n") and n is None:
        fault("n", "a whole number of runs, at least 1, or an empty field")
    elif sd is not None and (n is None or n < 2):
        found = quoted(entry["n"]) if entry.get("n") else "no n beside an sd"
        accepted = "the number of runs that the sd comes from, at least 2"
        faults.add(found, accepted, line=line, column=places.get("n", "column n"))
    for column in ("bench", "article", "event"):
        if entry.get(column, "") != entry.get(column, "").strip() or not entry.get(column, "").isprintable():
            fault(column, "an entry without blanks around it, in characters that can be printed")
    if len(faults) > before or value is None:
        return None
    return Check(day, value, sd, n, entry.get("bench", ""), entry.get("article", ""), entry.get("event", ""))


def is_date(text: str) -> bool:
    """Tell whether a text is a date of the calendar in ISO 8601.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    bool
        True for ``2025-03-04``.

    Examples
    --------
    >>> is_date("2025-03-04"), is_date("2025-02-30"), is_date("04.03.2025")
    (True, False, False)
    """
    if not _DATE.fullmatch(text):
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _finite(text: str) -> float | None:
    number = float(text) if _NUMBER.fullmatch(text) else math.nan
    return number if math.isfinite(number) else None
