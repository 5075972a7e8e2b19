"""One big file in blocks. Evidence: the strict reader on the same file; memory by tracemalloc."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import small_trial
from broken_cases import SAMPLES
from refused_logs import LOGS, REFUSED
from sample_files import LOG, hold_to_strict_reader, text

from lossstats.archive import large_log
from lossstats.archive.large_log import read_large_log
from lossstats.trial_folder.settings import Column, LogKeys, ReadingsKeys


def check(folder, file, log=None, readings=None, model=None):
    """The file in blocks, held against the strict reader."""
    read = read_large_log(folder, file, log, readings, model)
    assert read.file == file
    hold_to_strict_reader(read, folder, log, readings, model)
    return read


@pytest.fixture
def small_blocks(monkeypatch):
    monkeypatch.setattr(large_log, "_BLOCK", 100)


@pytest.fixture
def never_strict(monkeypatch):
    """The whole file is not read a second time."""

    def second(*_args):
        raise AssertionError("read a second time")

    monkeypatch.setattr(large_log, "read_sample_file", second)


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize("case", SAMPLES, ids=lambda case: case.name)
def test_broken_files_have_the_words_of_the_strict_reader(tmp_path, case):
    folder = small_trial.write(tmp_path / "trial")
    case.breaks(folder)
    read = check(folder, "samples/r01.csv")
    assert bool(read.faults) == (case.file == "samples/r01.csv" and case.name != "a copy of another run")


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize(("name", "log", "message"), REFUSED)
def test_foreign_logs_are_refused_with_the_same_words(tmp_path, name, log, message):
    shutil.copy(LOGS / name, tmp_path / "a.csv")
    assert message in "\n".join(map(str, check(tmp_path, "a.csv", log).faults))


@pytest.mark.usefixtures("small_blocks", "never_strict")
@pytest.mark.parametrize(
    ("log", "old", "new"),
    [
        (LogKeys(), b"", b""),
        (LogKeys(), b"\n", b"\r\n"),
        (LogKeys(encoding="utf-8-sig"), b"time_s", b"\xef\xbb\xbftime_s"),
        (LogKeys(decimals="free"), b"", b""),
        (LogKeys(separator="space"), b",", b"  "),
        (LogKeys(rows_before_header=1, unit_row=True), b"time_s,loss_W\n", b"bench 1\ntime_s,loss_W\ns,W\n"),
        (LogKeys(time=Column("time_s", factor=60.0)), b"", b""),
    ],
)
def test_every_form_of_log_is_read_in_one_pass(tmp_path, log, old, new, monkeypatch):
    data = small_trial.samples(1).encode()
    (tmp_path / "a.csv").write_bytes(data.replace(old, new) if old else data)
    read = read_large_log(tmp_path, "a.csv", log)
    monkeypatch.undo()
    assert not read.faults
    check(tmp_path, "a.csv", log)


@pytest.mark.parametrize("block", [30, 31, 64, 1000])
def test_borders_of_blocks_anywhere(tmp_path, monkeypatch, block):
    monkeypatch.setattr(large_log, "_BLOCK", block)
    (tmp_path / "a.csv").write_bytes(text(1, 200))
    assert not check(tmp_path, "a.csv", LOG).faults
    (tmp_path / "b.csv").write_bytes(text(1, 200).replace(b"\n", b"\r\n"))
    assert not check(tmp_path, "b.csv", LOG).faults


@pytest.mark.usefixtures("small_blocks", "never_strict")
def test_lost_samples_are_gaps_and_do_not_need_a_second_reading(tmp_path, monkeypatch):
    data = small_trial.samples(1).replace(small_trial.row(10) + "\n", "")
    (tmp_path / "a.csv").write_text(data)
    read = read_large_log(tmp_path, "a.csv")
    monkeypatch.undo()
    assert len(read.samples.time_s) == 29
    check(tmp_path, "a.csv")
    assert check(tmp_path, "a.csv", None, ReadingsKeys(interval_s=(2.0,))).faults


def test_missing_files_and_links(tmp_path):
    (tmp_path / "b.csv").symlink_to("a.csv")
    assert "no such file" in str(check(tmp_path, "a.csv").faults[0])
    assert "a symbolic link" in str(check(tmp_path, "b.csv").faults[0])


def test_a_file_that_may_not_be_read_is_told_and_not_raised(tmp_path, monkeypatch):
    (tmp_path / "a.csv").write_bytes(text(1))

    def refuse(*_args, **_keys):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "open", refuse)
    (fault,) = read_large_log(tmp_path, "a.csv", LOG).faults
    assert fault.found == f"a file that cannot be read ({os.strerror(errno.EACCES)})"


@pytest.mark.parametrize("lost", [0, 3])
def test_memory_beyond_the_columns_is_that_of_a_few_blocks(tmp_path, lost):
    rows = 400_000
    values = np.random.default_rng(1).integers(6900, 7100, rows)
    lines = [f"{i // 10}.{i % 10},{v // 1000}.{v % 1000:03d}\n" for i, v in enumerate(values.tolist())]
    del lines[1000 : 1000 + lost]
    data = ("time_s,loss_W\n" + "".join(lines)).encode()
    (tmp_path / "a.csv").write_bytes(data)
    tracemalloc.start()
    read = read_large_log(tmp_path, "a.csv")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert read.sha256 == hashlib.sha256(data).hexdigest()
    columns = 2 * 8 * rows
    # 10 MB of blocks when written; where the times need a closer look, one more column for the spacings
    assert peak - columns < 13e6 + (8 * rows if lost else 0)
    assert np.array_equal(np.round(read.samples.values[-1000:] * 1000), values[-1000:])
