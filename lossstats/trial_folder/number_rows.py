"""Rows of numbers as text: a strict grammar, row by row, and the same grammar for a block at once."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from lossstats.trial_folder.faults import ENOUGH, FaultList, quoted
from lossstats.trial_folder.fixed_decimals import read_fixed_block
from lossstats.trial_folder.raw_files import LONGEST_LINE
from lossstats.trial_folder.settings import LogKeys
from lossstats.trial_folder.stamp_forms import stamp_reader

SEPARATORS = {"comma": b",", "semicolon": b";", "tab": b"\t", "space": b" "}
STAMP = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d:\d\d)", re.ASCII)
# No bench ran before or will run after, and arithmetic at the ends of the calendar overflows.
_YEARS = range(1900, 2200)
_LIKE_A_STAMP = re.compile(rb"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}.*|\d{1,2}:\d\d.*", re.ASCII)


@dataclass
class RowForm:
    """Form of the rows of one file.

    Attributes
    ----------
    log : LogKeys
        Separator, decimal sign, blanks, decimals, form of the times.
    names : tuple of str
        Names of all columns, in the order of the file.
    wanted : tuple of int
        Places of the columns that are read; the first is the time.
    faults : FaultList
        Takes what is wrong.
    decimals : dict of int to (int, int), optional
        Decimals of each column and the line that showed them; filled from the first row.
    first_stamp : datetime, optional
        The first time stamp of the file; filled from the first row.
    """

    log: LogKeys
    names: tuple[str, ...]
    wanted: tuple[int, ...]
    faults: FaultList
    decimals: dict[int, tuple[int, int]] = field(default_factory=dict)
    first_stamp: datetime | None = None

    @property
    def separator(self) -> bytes:
        """Byte that parts the fields.

        Returns
        -------
        bytes
            One byte.
        """
        return SEPARATORS[self.log.separator]

    @property
    def decimal(self) -> bytes:
        """Decimal sign.

        Returns
        -------
        bytes
            One byte.
        """
        return self.log.decimal.encode()

    def place(self, column: int) -> str:
        """Column number and name, as a fault shows it.

        Parameters
        ----------
        column : int
            Place of the column, from 0.

        Returns
        -------
        str
            For example ``"column 2 (loss_W)"``.
        """
        return f"column {column + 1} ({self.names[column]})"


def parse_stamp(text: str) -> datetime | None:
    """Read an ISO 8601 date and time with its offset from UTC.

    Parameters
    ----------
    text : str
        For example ``2031-03-03T08:00:00+01:00``; a blank in place of the T is taken (RFC 3339, 5.6).

    Returns
    -------
    datetime or None
        Aware, of the years 1900 to 2199; None if the text is anything else.
    """
    if not STAMP.fullmatch(text):
        return None
    try:
        stamp = datetime.fromisoformat(text)
    except ValueError:
        return None
    return stamp if stamp.year in _YEARS else None


def split_fields(line: bytes, log: LogKeys) -> list[bytes]:
    """Part one line into its fields.

    Parameters
    ----------
    line : bytes
        Without its line end.
    log : LogKeys
        Separator, and what to do with blanks.

    Returns
    -------
    list of bytes
        The fields.
    """
    if log.separator == "space":
        return re.split(rb" +", line.strip(b" "))
    fields = line.split(SEPARATORS[log.separator])
    return [part.strip(b" \t") for part in fields] if log.blanks == "strip" else fields


def read_block(block: bytes, first_line: int, form: RowForm) -> NDArray[np.float64]:
    r"""Read a block of whole rows.

    Parameters
    ----------
    block : bytes
        Rows, each ended by ``\n``.
    first_line : int
        Line of the file at which the block begins.
    form : RowForm
        Form of the rows; what its first row shows is noted in it.

    Returns
    -------
    ndarray, shape (rows, wanted columns)
        The numbers; nan in a row that has a fault.
    """
    rows_only = _without_last_separators(block, form)
    numbers = None if rows_only is None else _read_all_at_once(rows_only, first_line, form)
    if numbers is not None:
        return numbers
    rows = []
    for index, line in enumerate(block[:-1].split(b"\n")):
        rows.append(_read_row(line, first_line + index, form))
        form.faults.stopped |= len(form.faults) > ENOUGH
        if form.faults.stopped:
            break
    return np.array(rows, dtype=float).reshape(len(rows), len(form.wanted))


def _without_last_separators(block: bytes, form: RowForm) -> bytes | None:
    # None where some row lacks the separator that is to end it.
    end = form.separator + b"\n"
    if not form.log.separator_at_end:
        return block
    return block.replace(end, b"\n") if block.count(end) == block.count(b"\n") else None


def begins_a_row(line: bytes, form: RowForm) -> bool:
    """Say whether a line holds a time where a row of samples holds it.

    Parameters
    ----------
    line : bytes
        Without its line end.
    form : RowForm
        Form of the rows; nothing is noted in it.

    Returns
    -------
    bool
        True also for a row that was cut short after its time.
    """
    fields, first = split_fields(line, form.log), form.wanted[0]
    if first >= len(fields):
        return False
    apart = replace(form, faults=FaultList(""), decimals={}, first_stamp=None)
    return bool(np.isfinite(_read_time(fields[first], first, 0, apart)))


def _read_all_at_once(block: bytes, first_line: int, form: RowForm) -> NDArray[np.float64] | None:
    # Numbers of the wanted columns, or None where any row needs a closer look.
    # Only what `_read_row` takes is taken here: the tests hold the two against each other.
    if form.log.decimals == "free" or form.log.time_form != "seconds" or form.log.separator == "space":
        return None
    read = read_fixed_block(block, form.separator, form.decimal, len(form.names), form.wanted)
    if read is None:
        return None
    if not form.decimals:
        form.decimals.update({column: (count, first_line) for column, count in enumerate(read.decimals)})
    as_before = all(read.decimals[column] == count for column, (count, _) in form.decimals.items())
    return read.numbers if as_before else None


def _read_row(line: bytes, number: int, form: RowForm) -> list[float]:
    # Numbers of the wanted columns of one row; nan, and a fault, where one is no number.
    nothing = [float("nan")] * len(form.wanted)
    ends = form.log.separator_at_end
    expected = f"{len(form.names)} fields: {', '.join(form.names)}" + ends * ", and a separator (separator_at_end)"
    if not line.strip():
        form.faults.add("a blank line", expected + _AT_END, line=number)
        return nothing
    if len(line) > LONGEST_LINE:
        form.faults.add(f"a line of {len(line)} bytes", f"lines of at most {LONGEST_LINE} bytes", line=number)
        return nothing
    fields = split_fields(line, form.log)
    if len(fields) != len(form.names) + ends or (ends and fields[-1]):
        found = f"{len(fields)} field{'s' if len(fields) > 1 else ''} in {quoted(line)}"
        one_more = not ends and len(fields) == len(form.names) + 1 and not fields[-1].strip()
        if one_more:
            # The form of every row, as a rule: told once.
            form.faults.stopped = True
            expected += "; for an empty field at the end of every row separator_at_end = true in [log] of trial.toml"
        elif not re.match(rb"[-+]?\d", line.strip()):
            expected += _AT_END
        form.faults.add(found, expected, line=number)
        return nothing
    first, *others = form.wanted
    numbers = [_read_time(fields[first], first, number, form)]
    return numbers + [_read_number(fields[column], column, number, form) for column in others]


_AT_END = " (or rows_at_end in [log] of trial.toml, for lines after the last row)"


def _number_grammar(log: LogKeys) -> re.Pattern[bytes]:
    sign = re.escape(log.decimal).encode()
    if log.decimals == "fixed":
        return re.compile(rb"-?[0-9]+(?:" + sign + rb"([0-9]+))?")
    # Two digits of exponent at most: no reading needs more, and none over- or underflows.
    return re.compile(rb"[+-]?[0-9]+(?:" + sign + rb"([0-9]+))?(?:[eE][+-]?[0-9]{1,2})?")


_GRAMMARS = {
    (sign, decimals): _number_grammar(LogKeys(decimal=sign, decimals=decimals))
    for sign in (".", ",")
    for decimals in ("fixed", "free")
}


def _read_time(text: bytes, column: int, line: int, form: RowForm) -> float:
    read = _read_number if form.log.time_form == "seconds" else _read_stamp
    return read(text, column, line, form)


def _read_number(text: bytes, column: int, line: int, form: RowForm) -> float:
    # One number in plain decimal form; `float` alone would take nan, inf, 1_000 and digits of other scripts.
    match = _GRAMMARS[form.log.decimal, form.log.decimals].fullmatch(text)
    value = float(text.replace(form.decimal, b".")) if match else float("inf")
    if match is None or not np.isfinite(value):
        example = f"a finite decimal number such as 6{form.log.decimal}985"
        found = quoted(text) if text else "an empty field"
        hint = _hint(text, form.log)
        if column == form.wanted[0] and _LIKE_A_STAMP.fullmatch(text.strip()):
            # The form of every row: told once.
            form.faults.stopped = True
            hint = "; for time stamps time_form in [log] of trial.toml, with stamp_form where they are not ISO 8601"
        form.faults.add(found, example + hint, line=line, column=form.place(column))
        return float("nan")
    if form.log.decimals == "fixed":
        _check_decimals(text, len(match[1] or b""), column, line, form)
    return value


def _hint(text: bytes, log: LogKeys) -> str:
    if text != text.strip() and log.blanks == "refuse":
        return " without blanks around it (or blanks = 'strip' in [log] of trial.toml)"
    if text.count(b",") == 1 and log.decimal == ".":
        return " (or decimal = ',' in [log] of trial.toml)"
    if log.decimals == "fixed" and _GRAMMARS[log.decimal, "free"].fullmatch(text):
        return " without plus sign or exponent (or decimals = 'free' in [log] of trial.toml)"
    return ""


def _check_decimals(text: bytes, decimals: int, column: int, line: int, form: RowForm) -> None:
    expected, shown_by = form.decimals.setdefault(column, (decimals, line))
    if decimals != expected:
        found = f"{quoted(text)}, {decimals} decimal{'' if decimals == 1 else 's'}"
        form.faults.add(
            found,
            f"{expected} as in line {shown_by} (a number cut short?); decimals = 'free' in [log] of trial.toml "
            "for a logger that drops trailing zeros",
            line=line,
            column=form.place(column),
        )


def _read_stamp(text: bytes, column: int, line: int, form: RowForm) -> float:
    # Seconds since the first stamp of the file. Where the first one is of another form, so are the others.
    log = form.log
    by_form = log.time_form == "stamp"
    stamp = (stamp_reader(log.stamp_form or "", log.stamp_offset) if by_form else parse_stamp)(text.decode("latin-1"))
    if stamp is None:
        form.faults.stopped |= form.first_stamp is None
        accepted = (
            f"a date and time of the form {log.stamp_form} (stamp_form in [log] of trial.toml)"
            if by_form
            else "an ISO 8601 date and time with offset such as 2031-03-03T08:00:00+01:00"
        )
        if form.first_stamp is None:
            accepted += " (or another time_form in [log] of trial.toml)"
        form.faults.add(quoted(text), accepted, line=line, column=form.place(column))
        return float("nan")
    if form.first_stamp is None:
        form.first_stamp = stamp
    return (stamp - form.first_stamp).total_seconds()
