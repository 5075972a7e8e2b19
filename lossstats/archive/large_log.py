"""One big sample file, read, hashed and checked in blocks: memory beyond the columns does not grow with the file."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from lossstats.archive.column_cache import ColumnCache
from lossstats.trial_folder.faults import FaultList
from lossstats.trial_folder.folder_files import SampleFile, read_sample_file
from lossstats.trial_folder.number_rows import RowForm, read_block
from lossstats.trial_folder.raw_files import MOST_SAMPLE_BYTES, find_link
from lossstats.trial_folder.samples import (
    Samples,
    check_times,
    find_form,
    first_row_line,
    mapped_columns,
    shape_columns,
    times_are_plain,
)
from lossstats.trial_folder.settings import BenchModelKeys, LogKeys, ReadingsKeys

_BLOCK = 1024 * 1024
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


def read_large_log(
    folder: str | os.PathLike[str],
    file: str,
    log: LogKeys | None = None,
    readings: ReadingsKeys | None = None,
    model: BenchModelKeys | None = None,
    *,
    cache: ColumnCache | None = None,
) -> SampleFile:
    """Read one sample file in blocks, its digest in the same pass.

    Parameters
    ----------
    folder : path
        What the name is relative to.
    file : str
        Name of the file in it, of at most 512 MiB.
    log, readings, model : LogKeys, ReadingsKeys, BenchModelKeys, optional
        As in `lossstats.trial_folder.samples.read_samples`.
    cache : ColumnCache, optional
        Spares the parsing where it holds the columns of the same content; else keeps them for the next time.

    Returns
    -------
    SampleFile
        Content, faults and numbers are those of `lossstats.trial_folder.samples.read_samples`.

    Notes
    -----
    A file with a fault is read a second time by the strict reader, which says what is wrong and needs memory for the
    whole content; so is a file whose last lines are to be left out (``rows_at_end``), from the beginning. Uneven times,
    lost samples among them, are sorted once: that takes memory for one more column.
    """
    place, rules = Path(folder), (log or LogKeys(), readings or ReadingsKeys(), model)
    try:
        read = None if rules[0].rows_at_end else _read_sound(place, file, rules, cache)
    except OSError:
        read = None
    return read or read_sample_file(place, file, *rules)


def _read_sound(
    folder: Path, file: str, rules: tuple[LogKeys, ReadingsKeys, BenchModelKeys | None], cache: ColumnCache | None
) -> SampleFile | None:
    # None where the file is not to be opened, or has a fault: the strict reader then has the word.
    path = folder / file
    if find_link(folder, file) is not None or not path.is_file() or path.stat().st_size > MOST_SAMPLE_BYTES:
        return None
    with path.open("rb", buffering=0) as stream:
        if cache is not None:
            sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
            if (kept := cache.find(sha256, *rules)) is not None:
                return SampleFile(file, sha256, kept, [])
            stream.seek(0)
        reading = _Reading(*rules, path.stat().st_size)
        samples = reading.samples(stream)
    if samples is None:
        return None
    if cache is not None:
        cache.keep(reading.sha256.hexdigest(), samples, *rules)
    return SampleFile(file, reading.sha256.hexdigest(), samples, [])


@dataclass
class _Reading:
    # One pass over a file. Whatever is not as it should be ends it with None.
    log: LogKeys
    readings: ReadingsKeys
    model: BenchModelKeys | None
    size: int
    sha256: hashlib._Hash = field(default_factory=hashlib.sha256)
    columns: list[NDArray[np.float64]] = field(default_factory=list)
    rows: int = 0
    bytes_read: int = 0
    shortest: float = np.inf
    longest: float = -np.inf

    def samples(self, stream: BinaryIO) -> Samples | None:
        form: RowForm | None = None
        for text in self._whole_lines(stream):
            if text is None:
                return None
            start = 0
            if form is None:
                found = find_form(text, self.log, self.model, FaultList(""))
                if found is None:
                    return None
                start, form = found
            if start < len(text) and not self._take(text[start:], form):
                return None
        if form is None or self.rows < 2:
            return None
        for column in self.columns:
            column.resize(self.rows, refcheck=False)
        return self._checked(form)

    def _whole_lines(self, stream: BinaryIO) -> Iterator[bytes | None]:
        # Blocks that end with a line; None at a file that is cut short or has two kinds of line end.
        rest, pairs = b"", None
        while data := stream.read(_BLOCK):
            self.sha256.update(data)
            if not self.bytes_read and self.log.encoding == "utf-8-sig":
                data = data.removeprefix(_BYTE_ORDER_MARK)
            self.bytes_read += len(data)
            cut = data.rfind(b"\n") + 1
            if not cut:
                rest += data
                if len(rest) > _BLOCK:
                    yield None
                continue
            text, rest = rest + data[:cut], data[cut:]
            if pairs is None:
                pairs = b"\r\n" in text
            if pairs:
                if not text.count(b"\r\n") == text.count(b"\n") == text.count(b"\r"):
                    yield None
                text = text.replace(b"\r\n", b"\n")
            yield text
        if rest:
            yield None

    def _take(self, text: bytes, form: RowForm) -> bool:
        numbers = read_block(text, first_row_line(self.log) + self.rows, form)
        if len(form.faults):
            return False
        count = len(numbers)
        self._make_room(self.rows + count, numbers.shape[1])
        for place, column in enumerate(mapped_columns(self.log, self.model)):
            with np.errstate(over="ignore"):
                kept = np.multiply(numbers[:, place], column.factor, out=self.columns[place][self.rows :][:count])
            if column.factor != 1 and not np.isfinite(kept).all():
                return False
        # the spacing from the block before counts too
        steps = np.diff(self.columns[0][max(self.rows - 1, 0) : self.rows + count])
        self.rows += count
        if len(steps):
            self.shortest = min(self.shortest, float(steps.min()))
            self.longest = max(self.longest, float(steps.max()))
        return True

    def _make_room(self, rows: int, columns: int) -> None:
        # As many rows as the file will have by the look of it; growing in place copies nothing on most systems.
        if self.columns and rows <= len(self.columns[0]):
            return
        expected = int(1.02 * rows * max(self.size / self.bytes_read, 1.0)) + 1
        if not self.columns:
            self.columns = [np.empty(expected) for _ in range(columns)]
        for column in self.columns:
            column.resize(max(expected, rows), refcheck=False)

    def _checked(self, form: RowForm) -> Samples | None:
        time_s = self.columns[0]
        if not times_are_plain(time_s[0], time_s[-1], self.shortest, self.longest, self.readings):
            check_times(time_s, first_row_line(self.log), form, self.readings)
            if len(form.faults):
                return None
        return shape_columns(self.columns, self.log, self.model, form.first_stamp)
