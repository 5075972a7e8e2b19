"""Thousands of small sample files in one pass: read, hashed, and checked by the rules of the strict reader.

Files of one form are joined and read at once where they are regular to the last byte. Whatever is not goes, file by
file, to `read_samples`, which alone says what is wrong: there is one set of rules.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lossstats.trial_folder.faults import FaultList
from lossstats.trial_folder.fixed_decimals import read_fixed_block
from lossstats.trial_folder.folder_files import SampleFile
from lossstats.trial_folder.number_rows import SEPARATORS
from lossstats.trial_folder.raw_files import MOST_SAMPLE_BYTES, find_link, read_bytes
from lossstats.trial_folder.samples import (
    Samples,
    find_form,
    mapped_columns,
    read_samples,
    shape_columns,
    times_are_plain,
)
from lossstats.trial_folder.settings import BenchModelKeys, LogKeys, ReadingsKeys

# Bytes that are read at once: enough for the calls of numpy not to count, little enough for the cache of a core.
_BATCH_BYTES = 384 * 1024
_BATCH_FILES = 1024
# Links are not followed and pipes not waited for; where the system cannot promise that, the careful way is taken.
_OPEN_FLAGS = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
_OPENS_SAFELY = hasattr(os, "O_NOFOLLOW") and hasattr(os, "O_NONBLOCK")

_Column = NDArray[np.float64]


def read_sample_files(
    folder: str | os.PathLike[str],
    files: Iterable[str],
    log: LogKeys | None = None,
    readings: ReadingsKeys | None = None,
    model: BenchModelKeys | None = None,
) -> Iterator[SampleFile]:
    """Read many sample files of one form.

    Parameters
    ----------
    folder : path
        What the names are relative to: a trial folder, or one that holds many.
    files : iterable of str
        Names, such as ``trial_07/samples/r01.csv``.
    log, readings, model : LogKeys, ReadingsKeys, BenchModelKeys, optional
        As in `lossstats.trial_folder.samples.read_samples`, the same for all files.

    Yields
    ------
    SampleFile
        In the order of `files`; content, faults and numbers are those of `lossstats.trial_folder.samples.read_samples`.

    Notes
    -----
    Memory is that of the files of one batch, half a MiB or one file, and of what the caller keeps.
    """
    batch = _Batch(log or LogKeys(), readings or ReadingsKeys(), model)
    content = _Contents(Path(folder))
    for file in files:
        faults = FaultList(file)
        data = content.read(file, faults)
        if data is None:
            batch.read.append(SampleFile(file, None, None, faults.listed()))
        else:
            batch.add(file, hashlib.sha256(data).hexdigest(), data)
        if batch.waiting_bytes > _BATCH_BYTES or len(batch.read) >= _BATCH_FILES:
            yield from batch.flush()
    yield from batch.flush()


class _Contents:
    # Reads files as `raw_files.read_bytes` does, in fewer calls where nothing is odd.
    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._root = os.fspath(folder)
        self._without_links: set[str] = set()

    def read(self, name: str, faults: FaultList) -> bytes | None:
        data = self._read_plain(name) if _OPENS_SAFELY else None
        return read_bytes(self._folder, name, faults, most=MOST_SAMPLE_BYTES) if data is None else data

    def _read_plain(self, name: str) -> bytes | None:
        inside = name.rpartition("/")[0]
        if inside not in self._without_links:
            if inside and find_link(self._folder, inside) is not None:
                return None
            self._without_links.add(inside)
        try:
            handle = os.open(f"{self._root}/{name}", _OPEN_FLAGS)
        except OSError:
            return None
        try:
            info = os.fstat(handle)
            if not stat.S_ISREG(info.st_mode) or info.st_size > _BATCH_BYTES:
                return None
            data = os.read(handle, info.st_size + 1)
        except OSError:
            return None
        finally:
            os.close(handle)
        return data if len(data) == info.st_size else None


class _Waiting(NamedTuple):
    place: int
    file: str
    sha256: str
    data: bytes
    rows: bytes


@dataclass
class _Batch:
    # Files since the last flush, in order: those already read, and None in the place of those that wait.
    log: LogKeys
    readings: ReadingsKeys
    model: BenchModelKeys | None
    read: list[SampleFile | None] = field(default_factory=list)
    waiting: list[_Waiting] = field(default_factory=list)
    waiting_bytes: int = 0
    head: bytes | None = None  # of the last file that the strict reader took: whatever has the same has the same form
    columns: int = 0
    wanted: tuple[int, ...] = ()

    def add(self, file: str, sha256: str, data: bytes) -> None:
        head = self.head
        if head is not None and len(data) <= _BATCH_BYTES and data.startswith(head) and _has_two_rows(data, head):
            self.waiting.append(_Waiting(len(self.read), file, sha256, data, data[len(head) :]))
            self.waiting_bytes += len(data)
            self.read.append(None)
            return
        strict = self._strictly(file, sha256, data)
        if strict.samples is not None:
            self._learn(data)
        self.read.append(strict)

    def flush(self) -> Iterator[SampleFile]:
        self._read_waiting(self.waiting)
        ready = [one for one in self.read if one is not None]
        self.read, self.waiting, self.waiting_bytes = [], [], 0
        yield from ready

    def _strictly(self, file: str, sha256: str, data: bytes) -> SampleFile:
        return SampleFile(file, sha256, *read_samples(data, file, self.log, self.readings, self.model))

    def _learn(self, data: bytes) -> None:
        # The head of a file that the strict reader has taken, so that it is not read again for the next one.
        log = self.log
        regular = log.decimals == "fixed" and log.time_form == "seconds" and log.separator != "space"
        # A footer, or a separator at every end, is for the strict reader.
        regular = regular and not log.rows_at_end and not log.separator_at_end
        if not regular or b"\r" in data or data.startswith(b"\xef\xbb\xbf"):
            return
        found = find_form(data, self.log, self.model, FaultList(""))
        if found is not None and data[: found[0]] != self.head:
            self._read_waiting(self.waiting)
            self.waiting, self.waiting_bytes = [], 0
            self.head, self.columns, self.wanted = data[: found[0]], len(found[1].names), found[1].wanted

    def _read_waiting(self, waiting: Sequence[_Waiting]) -> None:
        # All at once; where that cannot be, each half by itself; where that cannot be, the one file strictly.
        if not waiting:
            return
        columns = self._columns_of(waiting)
        if columns is not None:
            self._part(waiting, columns)
        elif len(waiting) == 1:
            (one,) = waiting
            self.read[one.place] = self._strictly(one.file, one.sha256, one.data)
        else:
            middle = len(waiting) // 2
            self._read_waiting(waiting[:middle])
            self._read_waiting(waiting[middle:])

    def _part(self, waiting: Sequence[_Waiting], columns: list[_Column]) -> None:
        # To each file its own; one whose times are not plain is read strictly after all.
        counts = np.array([one.rows.count(b"\n") for one in waiting])
        shaped = shape_columns(columns, self.log, self.model)
        plain = times_are_plain(*_extents(shaped.time_s, counts), self.readings)
        start = 0
        for one, count, is_plain in zip(waiting, counts.tolist(), plain.tolist(), strict=True):
            part = slice(start, start + count)
            start += count
            if is_plain:
                others = {name: column[part] for name, column in shaped.operating_point.items()}
                samples = Samples(shaped.time_s[part], shaped.values[part], others)
                self.read[one.place] = SampleFile(one.file, one.sha256, samples, [])
            else:
                self.read[one.place] = self._strictly(one.file, one.sha256, one.data)

    def _columns_of(self, waiting: Sequence[_Waiting]) -> list[_Column] | None:
        # Wanted columns of all files one below the other, in the units used here.
        rows = b"".join([one.rows for one in waiting])
        separator, decimal = SEPARATORS[self.log.separator], self.log.decimal.encode()
        block = read_fixed_block(rows, separator, decimal, self.columns, self.wanted)
        if block is None:
            return None
        columns = list(block.numbers.T)
        for place, column in enumerate(mapped_columns(self.log, self.model)):
            if column.factor != 1:
                with np.errstate(over="ignore"):
                    columns[place] = columns[place] * column.factor
                if not np.isfinite(columns[place]).all():
                    return None
        return columns


def _has_two_rows(data: bytes, head: bytes) -> bool:
    first = data.find(b"\n", len(head))
    return 0 <= first < len(data) - 1 and data.endswith(b"\n")


def _extents(time_s: _Column, counts: NDArray[np.int64]) -> tuple[_Column, _Column, _Column, _Column]:
    # First and last time and shortest and longest spacing of each file of two rows or more.
    ends = np.cumsum(counts)
    starts = ends - counts
    steps = np.empty(len(time_s))
    np.subtract(time_s[1:], time_s[:-1], out=steps[:-1])
    steps[ends - 1] = steps[ends - 2]  # from one file to the next is no spacing
    return time_s[starts], time_s[ends - 1], np.minimum.reduceat(steps, starts), np.maximum.reduceat(steps, starts)
