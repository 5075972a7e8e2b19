"""Samples of one run: a strict reader of one file, in the kit's own form or through a column map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.trial_folder.faults import ENOUGH, Fault, FaultList, quoted
from lossstats.trial_folder.number_rows import RowForm, begins_a_row, read_block, split_fields
from lossstats.trial_folder.raw_files import LONGEST_LINE, check_text
from lossstats.trial_folder.settings import SHAFT_COLUMNS, BenchModelKeys, Column, LogKeys, ReadingsKeys
from lossstats.trial_folder.shaft_power import power_loss_W

_BLOCK = 1024 * 1024
# A declared interval is met within 1 %: crystal clocks and rounded stamps are better, a wrong setting is worse.
_INTERVAL_TOLERANCE = 0.01
_LONGEST_EVEN_GAP = 10
_SEPARATORS: tuple[Literal["comma", "semicolon", "tab", "space"], ...] = ("comma", "semicolon", "tab", "space")
_STEPS_AT_ONCE = 2**18
# 115 days: longer times count from another moment than the start of the run.
_LONGEST_RUN_S = 1e7


@dataclass(frozen=True, eq=False)
class Samples:
    """The samples of one run.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Time in s, strictly rising; where the log holds stamps, since the first of them.
    values : ndarray, shape (n,)
        Readings, in the unit of the measurand.
    operating_point : dict of str to ndarray, shape (n,)
        Further columns by name.
    first_stamp : datetime or None
        The first time stamp, where the log holds stamps.
    """

    time_s: NDArray[np.float64]
    values: NDArray[np.float64]
    operating_point: dict[str, NDArray[np.float64]]
    first_stamp: datetime | None = None


def read_samples(
    data: bytes,
    file: str,
    log: LogKeys | None = None,
    readings: ReadingsKeys | None = None,
    model: BenchModelKeys | None = None,
) -> tuple[Samples | None, list[Fault]]:
    r"""Read the content of one sample file.

    Parameters
    ----------
    data : bytes
        Content of the file.
    file : str
        Its name, for the faults.
    log : LogKeys, optional
        Column map; left out: the kit's own form, columns ``time_s`` and ``loss_W``.
    readings : ReadingsKeys, optional
        Sample intervals that are expected, and the jitter that is allowed.
    model : BenchModelKeys, optional
        Columns of torque and speed that the loss is reckoned from; the column of values is then not read.

    Returns
    -------
    samples : Samples or None
        None if there was a fault.
    faults : list of Fault
        All that is wrong with the file, twenty in words.

    Notes
    -----
    Grammar of a number: an optional minus, digits, and optionally the decimal sign and digits; with
    ``decimals = "free"`` also a plus and an exponent. Fixed decimals are the only sign of a number that was cut
    short and then ended by a line end.

    Spacing: each spacing must be a whole number of median spacings within ``readings.jitter`` (20 %) of the median,
    plus one step of the written times. Loggers polled by software jitter by a few per cent, and lose whole samples: a
    whole multiple is a gap, left to the screening. Over ten median spacings any length is a gap, because by then
    the logger's own error has added up. Common practice, no source.

    Examples
    --------
    >>> samples, faults = read_samples(b"time_s,loss_W\n0,6.98\n1,6.97\n2,nan\n", "samples/r01.csv")
    >>> print(faults[0])
    samples/r01.csv, line 4, column 2 (loss_W): found 'nan'; accepted: a finite decimal number such as 6.985
    """
    log = log or LogKeys()
    faults = FaultList(file)
    text = check_text(data, faults, byte_order_mark=log.encoding == "utf-8-sig", footer=log.rows_at_end > 0)
    found = None if text is None else find_form(text, log, model, faults)
    if text is None or found is None:
        return None, faults.listed()
    start, form = found
    first_line = first_row_line(log)
    text = _without_end(text, start, first_line, form)
    numbers = _read_rows(text, start, first_line, form)
    if len(numbers) < 2 and faults.stopped:
        pass  # every row is of another form, which is told
    elif len(numbers) < 2:
        faults.add(f"{len(numbers)} row{'s' * (len(numbers) != 1)} of samples", "two rows or more")
    else:
        _scale(numbers, first_line, form, mapped_columns(log, model))
        check_times(numbers[:, 0], first_line, form, readings or ReadingsKeys())
    return (None if len(faults) else shape_columns(list(numbers.T), log, model, form.first_stamp)), faults.listed()


def mapped_columns(log: LogKeys, model: BenchModelKeys | None = None) -> tuple[Column, ...]:
    """List the columns that are read, in the order of the numbers of a row.

    Parameters
    ----------
    log : LogKeys
        Column map.
    model : BenchModelKeys, optional
        Where there is one, the column of values is not read.

    Returns
    -------
    tuple of Column
        Time, value, others.
    """
    return (log.time, *((log.value,) if model is None else ()), *log.other.values())


def first_row_line(log: LogKeys) -> int:
    """Tell in which line of a file its first row of numbers stands.

    Parameters
    ----------
    log : LogKeys
        Rows before the header, and whether a row of units follows it.

    Returns
    -------
    int
        From 1.
    """
    return log.rows_before_header + 2 + log.unit_row


def find_form(text: bytes, log: LogKeys, model: BenchModelKeys | None, faults: FaultList) -> tuple[int, RowForm] | None:
    r"""Read what stands before the rows.

    Parameters
    ----------
    text : bytes
        Beginning of a file, lines ended by ``\n``.
    log : LogKeys
        Column map.
    model : BenchModelKeys or None
        Columns that the loss is reckoned from.
    faults : FaultList
        Takes what is wrong.

    Returns
    -------
    (int, RowForm) or None
        Where the rows begin, and the form of a row; None if there was a fault.
    """
    start = _find_rows(text, log, faults)
    form = None if start is None else _read_header(text[:start], log, mapped_columns(log, model), faults)
    return None if start is None or form is None else (start, form)


def _find_rows(text: bytes, log: LogKeys, faults: FaultList) -> int | None:
    # Where the rows begin: after the rows before the header, the header, and the row of units.
    start = 0
    before = log.rows_before_header + 1 + log.unit_row
    for line in range(1, before + 1):
        end = text.find(b"\n", start, start + LONGEST_LINE + 1)
        if end < 0 and len(text) > start:
            faults.add(f"a line of more than {LONGEST_LINE} bytes", f"lines of at most {LONGEST_LINE} bytes", line=line)
            return None
        if end < 0:
            faults.add(f"{line - 1} lines", f"{before} lines up to the first row, as [log] in trial.toml says")
            return None
        start = end + 1
    return start


def _without_end(text: bytes, start: int, first_line: int, form: RowForm) -> bytes:
    # Without the lines that are to be left out at the end. None of them may be a row of samples.
    cut = len(text)
    for _ in range(form.log.rows_at_end):
        cut = max(text.rfind(b"\n", start, max(cut - 1, start)) + 1, start)
    line = first_line + text.count(b"\n", start, cut)
    for number, left in enumerate(text[cut:].split(b"\n")[:-1], start=line):
        if begins_a_row(left, form):
            accepted = (
                f"no row of samples in the last {form.log.rows_at_end}, as rows_at_end in [log] of trial.toml says"
            )
            form.faults.add(f"a row of samples, {quoted(left)}", accepted, line=number)
    return text[:cut]


def _read_header(head: bytes, log: LogKeys, mapped: tuple[Column, ...], faults: FaultList) -> RowForm | None:
    # Names of the columns, and which of them are read.
    number = log.rows_before_header + 1
    line = head.split(b"\n")[log.rows_before_header]
    encoding = "latin-1" if log.encoding == "latin-1" else "utf-8"
    try:
        names = tuple(field.decode(encoding) for field in split_fields(line, log))
        names = names[:-1] if log.separator_at_end and not names[-1] else names
    except UnicodeDecodeError:
        faults.add(f"{quoted(line)}, which is not UTF-8", "column names in UTF-8 (or encoding in [log])", line=number)
        return None
    wanted = [column.column for column in mapped]
    if other := _other_separators(line, names, wanted, log, encoding):
        fields = "one field" if len(names) == 1 else f"{len(names)} fields"
        found = f"{fields} by separator = {quoted(log.separator)} in {quoted(line)}"
        seems = " or ".join(map(quoted, other))
        faults.add(found, f"the file's separator in [log] of trial.toml; it seems to be {seems}", line=number)
        return None
    count = len(faults)
    _check_names(names, wanted, log, faults)
    if len(faults) > count:
        return None
    return RowForm(log, names, tuple(names.index(name) for name in wanted), faults)


def _check_names(names: Sequence[str], wanted: Sequence[str], log: LogKeys, faults: FaultList) -> None:
    number = log.rows_before_header + 1
    for place, name in enumerate(names):
        where = f"column {place + 1}"
        if name in names[:place]:
            faults.add(
                f"the column name {quoted(name)} a second time", "column names that differ", line=number, column=where
            )
        elif name not in wanted and name not in log.ignore:
            accepted = f"{', '.join(wanted)}; name others in other or ignore in [log] of trial.toml"
            if not name and place == len(names) - 1:
                accepted += "; for a separator at the end of every row separator_at_end = true"
            faults.add(f"the column {quoted(name)}", accepted, line=number, column=where)
    shown = ", ".join(quoted(name) for name in names[:20])
    for name in (*wanted, *log.ignore):
        if name not in names:
            faults.add(f"no column {quoted(name)} among {shown}", "a header with every column of [log]", line=number)


def _other_separators(
    line: bytes, names: Sequence[str], wanted: Sequence[str], log: LogKeys, encoding: str
) -> Sequence[str]:
    # Those that find every column that is read; for a header of one field, else, those that part it at all.
    if all(name in names for name in wanted):
        return []
    logs = [replace(log, separator=other) for other in _SEPARATORS if other != log.separator]
    headers = {other.separator: [field.decode(encoding) for field in split_fields(line, other)] for other in logs}
    fitting = [other for other, found in headers.items() if all(name in found for name in wanted)]
    if fitting or len(names) > 1:
        return fitting
    return [other for other, found in headers.items() if len(found) > 1 and other != "space"]


def _read_rows(text: bytes, start: int, first_line: int, form: RowForm) -> NDArray[np.float64]:
    # Numbers of all rows, read in blocks so that a long file needs little memory beside its content.
    parts = [np.empty((0, len(form.wanted)))]
    line = first_line
    while start < len(text):
        end = text.rfind(b"\n", start, start + _BLOCK) + 1
        if not end:
            form.faults.add(f"a line of more than {_BLOCK} bytes", f"lines of at most {LONGEST_LINE} bytes", line=line)
            break
        parts.append(read_block(text[start:end], line, form))
        if form.faults.stopped:
            break
        line += len(parts[-1])
        start = end
    return np.concatenate(parts)


def _scale(numbers: NDArray[np.float64], first_line: int, form: RowForm, mapped: tuple[Column, ...]) -> None:
    # In place, to the units used here.
    for place, column in enumerate(mapped):
        if column.factor == 1:
            continue
        with np.errstate(over="ignore"):
            numbers[:, place] *= column.factor
        infinite = np.flatnonzero(np.isinf(numbers[:, place]))
        if len(infinite):
            line = first_line + int(infinite[0])
            found = f"a number that the factor {column.factor:g} makes infinite"
            form.faults.add(found, "a finite number", line=line, column=form.place(form.wanted[place]))
            numbers[infinite, place] = np.nan


def check_times(time_s: NDArray[np.float64], first_line: int, form: RowForm, readings: ReadingsKeys) -> None:
    """Hold the times against the rules: they must rise, and be evenly spaced but for gaps.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times in s.
    first_line : int
        Line of the first of them.
    form : RowForm
        Form of the rows; takes the faults.
    readings : ReadingsKeys
        Intervals that are expected, and the jitter that is allowed.
    """
    column = form.place(form.wanted[0])
    if time_s[0] < 0:
        form.faults.add(
            f"the time {time_s[0]:g} s", "times since the start of the run, 0 or later", line=first_line, column=column
        )
    if time_s[-1] > _LONGEST_RUN_S:
        accepted = f"times since the start of the run, at most {_LONGEST_RUN_S:.0f} s (or another time_form in [log])"
        line = first_line + len(time_s) - 1
        form.faults.add(f"the time {time_s[-1]:.10g} s", accepted, line=line, column=column)
    steps = np.diff(time_s)
    falls = np.flatnonzero(steps <= 0)
    form.faults.stopped |= len(falls) > ENOUGH
    for index in falls[:ENOUGH]:
        found = f"the time {time_s[index + 1]:.10g} s after {time_s[index]:.10g} s"
        form.faults.add(found, "times that rise", line=first_line + int(index) + 1, column=column)
    if len(form.faults):
        return
    steps.sort()  # in place: for a long file a copy would count
    median = _middle(steps)
    if readings.interval_s and not any(
        abs(median - interval) <= _INTERVAL_TOLERANCE * interval for interval in readings.interval_s
    ):
        declared = ", ".join(f"{interval:g}" for interval in readings.interval_s)
        accepted = f"{declared} s, as interval_s in [readings] of trial.toml says"
        form.faults.add(f"a sample interval of {median:.6g} s", accepted, column=column)
    if readings.jitter < 1:
        _check_spacing(time_s, median, first_line, form, readings.jitter)


def _middle(ordered: NDArray[np.float64]) -> float:
    # Median of sorted numbers; numpy.median costs as much as reading the digits of a small file.
    middle = len(ordered) // 2
    return float(ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2)


def _check_spacing(time_s: NDArray[np.float64], median: float, first_line: int, form: RowForm, jitter: float) -> None:
    allowed = jitter * median + _step_of_times(form)
    count = 0
    for start in range(0, len(time_s) - 1, _STEPS_AT_ONCE):
        steps = np.diff(time_s[start : start + _STEPS_AT_ONCE + 1])
        if np.abs(steps - median).max() <= allowed:
            continue
        whole = np.maximum(np.round(steps / median), 1)
        off = np.abs(steps - whole * median) > allowed
        for index in np.flatnonzero(off & (whole <= _LONGEST_EVEN_GAP)):
            count += 1
            if count > ENOUGH:
                form.faults.stopped = True
                return
            form.faults.add(
                f"a spacing of {steps[index]:.6g} s, where the median is {median:.6g} s",
                f"a whole number of medians within {jitter:g} of one (jitter in [readings] of trial.toml)",
                line=first_line + start + int(index) + 1,
                column=form.place(form.wanted[0]),
            )


def _step_of_times(form: RowForm) -> float:
    # The step of the times as written, in s; rounding them shifts a spacing by that much at most.
    decimals = form.decimals.get(form.wanted[0])
    return 0.0 if decimals is None else abs(form.log.time.factor) * 10.0 ** -decimals[0]


def times_are_plain(
    first: ArrayLike, last: ArrayLike, shortest: ArrayLike, longest: ArrayLike, readings: ReadingsKeys
) -> NDArray[np.bool_]:
    """Tell of which files the times need no closer look, a few numbers of each being known.

    Parameters
    ----------
    first, last : array_like, shape (files,)
        First and last time in s.
    shortest, longest : array_like, shape (files,)
        Shortest and longest spacing in s.
    readings : ReadingsKeys
        Intervals that are expected, and the jitter that is allowed.

    Returns
    -------
    ndarray of bool, shape (files,)
        True only where `read_samples` finds no fault in the times: the median spacing lies between the two extremes,
        so no spacing is further from it than these are from each other. False says nothing.
    """
    low, high = np.asarray(shortest), np.asarray(longest)
    plain = (np.asarray(first) >= 0) & (np.asarray(last) <= _LONGEST_RUN_S) & (low > 0)
    if readings.jitter < 1:
        plain &= high - low <= readings.jitter * low
    if readings.interval_s:
        met = np.zeros(plain.shape, dtype=bool)
        for interval in readings.interval_s:
            met |= np.maximum(np.abs(low - interval), np.abs(high - interval)) <= _INTERVAL_TOLERANCE * interval
        plain &= met
    return np.asarray(plain, dtype=bool)


def shape_columns(
    columns: Sequence[NDArray[np.float64]],
    log: LogKeys,
    model: BenchModelKeys | None,
    first_stamp: datetime | None = None,
) -> Samples:
    """Give the columns their names; from here on they are not to be written to.

    Parameters
    ----------
    columns : sequence of ndarray, shape (n,)
        In the order of `mapped_columns`, in the units used here.
    log : LogKeys
        Column map.
    model : BenchModelKeys or None
        Columns that the loss is reckoned from.
    first_stamp : datetime, optional
        The first time stamp.

    Returns
    -------
    Samples
        Columns by name.
    """
    kept = [np.ascontiguousarray(column) for column in columns]
    others = dict(zip(log.other, kept[-len(log.other) :], strict=True)) if log.other else {}
    losses = kept[1] if model is None else power_loss_W(*(others[getattr(model, key)] for key in SHAFT_COLUMNS))
    for column in (*kept, losses):
        column.flags.writeable = False
    return Samples(kept[0], losses, others, first_stamp)
