"""Many files in one pass. Evidence: the strict reader on each file by itself, for sound, foreign and broken files."""

from __future__ import annotations

import os
import shutil
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import small_trial
from broken_cases import SAMPLES
from refused_logs import LOGS, REFUSED
from sample_files import LOG, hold_to_strict_reader, put, text

from lossstats.archive import archive_reading
from lossstats.archive.archive_reading import read_sample_files
from lossstats.archive.large_log import read_large_log
from lossstats.trial_folder.folder_files import SampleFile
from lossstats.trial_folder.samples import read_samples
from lossstats.trial_folder.settings import BenchModelKeys, Column, LogKeys, ReadingsKeys


def check(
    folder: Path,
    files: list[str],
    log: LogKeys | None = None,
    readings: ReadingsKeys | None = None,
    model: BenchModelKeys | None = None,
) -> list[SampleFile]:
    """All files in one pass, held against each by itself."""
    read = list(read_sample_files(folder, files, log, readings, model))
    assert [one.file for one in read] == files
    for one in read:
        hold_to_strict_reader(one, folder, log, readings, model)
    return read


@pytest.fixture
def strict_calls(monkeypatch) -> list[str]:
    """Names of the files that went to the strict reader."""
    calls: list[str] = []

    def counted(data: bytes, file: str, *more):
        calls.append(file)
        return read_samples(data, file, *more)

    monkeypatch.setattr(archive_reading, "read_samples", counted)
    return calls


def test_regular_files_are_read_at_once_and_the_same(tmp_path, strict_calls):
    files = put(tmp_path, {f"r{run:03d}.csv": text(run, 30 + run % 9) for run in range(300)})
    read = check(tmp_path, files, LOG)
    assert len(read) == 300
    assert not any(one.faults for one in read)
    assert strict_calls == ["r000.csv"]  # the one from which the head was learnt


@pytest.mark.parametrize("batch_bytes", [400, 5000])
def test_batches_of_any_size_and_files_larger_than_a_batch(tmp_path, monkeypatch, batch_bytes):
    monkeypatch.setattr(archive_reading, "_BATCH_BYTES", batch_bytes)
    files = put(tmp_path, {f"r{run:03d}.csv": text(run, 5 + 40 * (run % 3)) for run in range(20)})
    assert not any(one.faults for one in check(tmp_path, files, LOG))


@pytest.mark.parametrize("case", SAMPLES, ids=lambda case: case.name)
def test_a_broken_file_among_sound_ones_has_the_words_of_the_strict_reader(tmp_path, case):
    folder = small_trial.write(tmp_path / "trial")
    case.breaks(folder)
    files = [f"samples/r{number:02d}.csv" for number in (2, 3, 1, 4, 5, 6)]
    read = check(folder, files)
    assert all(one.samples is not None for one in read if one.file not in (case.file, "samples/r02.csv"))


def test_every_broken_file_in_one_pass(tmp_path, strict_calls):
    contents = {}
    for number, case in enumerate(SAMPLES):
        folder = small_trial.write(tmp_path / f"t{number:02d}")
        case.breaks(folder)
        contents[f"t{number:02d}"] = case
    files = [f"{name}/samples/r{run:02d}.csv" for name in contents for run in (2, 1, 3)]
    read = check(tmp_path, files)
    assert sum(bool(one.faults) for one in read) > 60
    assert len(strict_calls) < len(files) / 2  # and the sound ones among them are still read together


@pytest.mark.parametrize(("name", "log", "message"), REFUSED)
def test_foreign_logs_are_refused_with_the_same_words(tmp_path, name, log, message):
    shutil.copy(LOGS / name, tmp_path / "a.csv")
    shutil.copy(LOGS / name, tmp_path / "b.csv")
    read = check(tmp_path, ["a.csv", "b.csv"], log)
    assert message in "\n".join(map(str, read[1].faults))


@pytest.mark.parametrize(
    ("log", "swaps"),
    [
        (LogKeys(separator="semicolon", decimal=","), [(b",", b";"), (b".", b",")]),
        (LogKeys(separator="tab"), [(b",", b"\t")]),
        (LogKeys(separator="space"), [(b",", b"  ")]),
        (LogKeys(decimals="free"), []),
        (LogKeys(blanks="strip"), [(b",", b" , ")]),
        (LogKeys(), [(b"\n", b"\r\n")]),
        (LogKeys(encoding="utf-8-sig"), [(b"time_s", b"\xef\xbb\xbftime_s")]),
        (LogKeys(rows_before_header=1), [(b"time_s", b"bench 1\ntime_s")]),
        (LogKeys(unit_row=True), [(b"loss_W\n", b"loss_W\ns,W\n")]),
        (LogKeys(time=Column("time_s", factor=60.0)), []),
    ],
)
def test_every_form_of_log(tmp_path, log, swaps):
    contents = {}
    for run in range(4):
        data = small_trial.samples(run).encode()
        for old, new in swaps:
            data = data.replace(old, new)
        contents[f"r{run}.csv"] = data
    assert not any(one.faults for one in check(tmp_path, put(tmp_path, contents), log))


def test_heads_and_orders_of_columns_that_change_from_file_to_file(tmp_path):
    contents = {}
    for run in range(12):
        data = text(run)
        if run % 3 == 1:
            data = b"\n".join(b",".join(line.split(b",")[::-1]) for line in data.split(b"\n"))
        if run % 4 == 2:
            data = data.replace(b".", b".0")  # one more decimal
        contents[f"r{run}.csv"] = data
    assert not any(one.faults for one in check(tmp_path, put(tmp_path, contents), LOG))


def test_times_that_are_not_plain_are_looked_at_closely(tmp_path, strict_calls):
    sound = small_trial.samples(1)
    contents = {
        "a.csv": sound,
        "gap.csv": sound.replace(small_trial.row(10) + "\n", ""),
        "twice.csv": sound.replace("\n10,", "\n9,"),
        "late.csv": sound.replace("\n0,", "\n-1,"),
        "b.csv": small_trial.samples(2),
    }
    files = put(tmp_path, {name: content.encode() for name, content in contents.items()})
    read = check(tmp_path, files)
    assert [bool(one.faults) for one in read] == [False, False, True, True, False]
    assert strict_calls == ["a.csv", "gap.csv", "twice.csv", "late.csv"]
    check(tmp_path, files, None, ReadingsKeys(jitter=1.0))
    read = check(tmp_path, files, None, ReadingsKeys(interval_s=(5.0,)))
    assert "a sample interval of 1 s" in str(read[-1].faults[0])
    read = check(tmp_path, files, None, ReadingsKeys(interval_s=(5.0, 1.0)))
    assert not read[-1].faults


def test_losses_of_a_bench_model(tmp_path):
    names = ("torque_in_Nm", "speed_in_rpm", "torque_out_Nm", "speed_out_rpm")
    log = LogKeys(other={name: Column(name) for name in names})
    contents = {}
    for run in range(5):
        rng = np.random.default_rng(run)
        rows = "".join(f"{i},{9 + rng.normal():.3f},300.{run},{8 + rng.normal():.3f},301.0\n" for i in range(20))
        contents[f"r{run}.csv"] = (f"time_s,{','.join(names)}\n" + rows).encode()
    read = check(tmp_path, put(tmp_path, contents), log, None, BenchModelKeys())
    assert not any(one.faults for one in read)


def test_missing_files_links_and_pipes_do_not_stop_the_rest(tmp_path):
    files = put(tmp_path, {f"samples/r{run}.csv": text(run) for run in range(3)})
    (tmp_path / "samples/link.csv").symlink_to("r1.csv")
    (tmp_path / "linked").symlink_to("samples")
    os.mkfifo(tmp_path / "samples/pipe.csv")
    files[1:1] = ["samples/none.csv", "samples/link.csv", "linked/r1.csv", "samples/pipe.csv"]
    read = check(tmp_path, files, LOG)
    assert [one.samples is None for one in read] == [False, True, True, True, True, False, False]
    assert str(read[3].faults[0]).startswith("linked/r1.csv: found a symbolic link, linked to ")


def test_memory_does_not_grow_with_the_number_of_files(tmp_path):
    files = put(tmp_path, {f"r{run}.csv": text(run % 7) for run in range(50)}) * 80
    tracemalloc.start()
    for one in read_sample_files(tmp_path, files, LOG):
        assert one.samples is not None
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(files) == 4000  # 3.7 MB of text
    assert peak < 12e6


def test_files_spoilt_at_random_are_told_as_by_themselves(tmp_path):
    rng = np.random.default_rng(8)
    pieces = [b"", b"0", b"7", b"-", b".", b",", b"\n", b" ", b"e", b"\r\n", b"x", b"\0", b"5.00", b"\n\n"]
    contents, spoilt = {}, 0
    for number in range(400):
        data = bytearray(text(number % 5, 8 + number % 3))
        for _ in range(rng.integers(0, 3)):
            place = int(rng.integers(0, len(data)))
            data[place : place + int(rng.integers(0, 2))] = pieces[rng.integers(0, len(pieces))]
        contents[f"r{number:03d}.csv"] = bytes(data)
    for one in check(tmp_path, put(tmp_path, contents), LOG):
        spoilt += bool(one.faults)
    assert 100 < spoilt < 300


@pytest.mark.parametrize(
    ("log", "end", "foot"),
    [
        (LogKeys(rows_at_end=2), "", "\nend of the record"),
        (LogKeys(separator_at_end=True), ",", ""),
        (LogKeys(rows_at_end=1, separator_at_end=True), ",", "end\n"),
    ],
)
def test_footers_and_last_separators_as_the_strict_reader_takes_them(tmp_path, log, end, foot):
    (tmp_path / "samples").mkdir()
    files = []
    for run in range(5):
        rows = small_trial.samples(run).replace("\n", f"{end}\n") + foot
        # one without its footer or with a row that lacks its separator
        rows = small_trial.samples(run) if run == 3 else rows
        files.append(f"samples/r{run}.csv")
        (tmp_path / files[-1]).write_text(rows, encoding="utf-8")
    read = check(tmp_path, files, log)
    assert [one.samples is not None for one in read] == [True, True, True, False, True]
    for file in files:
        hold_to_strict_reader(read_large_log(tmp_path, file, log), tmp_path, log)
