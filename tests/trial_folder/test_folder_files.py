"""Files of a folder one by one. Evidence: hashlib on the files; faults made here, whose place is known.

All of it together is held by the table of broken folders, through `read_trial` and through the archive.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
import small_trial

from lossstats.trial_folder.folder_files import (
    RunFacts,
    check_folder,
    find_copies,
    read_run,
    read_sample_file,
    read_tables,
    run_facts,
)
from lossstats.trial_folder.samples import read_samples


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return small_trial.write(tmp_path / "trial")


def test_tables_of_a_sound_folder(folder: Path) -> None:
    tables = read_tables(folder)
    assert tables.faults == []
    assert tables.settings is not None
    assert tables.log_settings is tables.settings
    assert tables.plan is None
    assert tables.sha256 == {
        name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in ("trial.toml", "run_sheet.csv")
    }


def test_every_file_once_and_in_the_order_of_the_sheet(folder: Path) -> None:
    small_trial.swap(folder, "run_sheet.csv", "samples/r04.csv", "samples/r02.csv")
    small_trial.swap(folder, "run_sheet.csv", "samples/r05.csv", "")
    assert [row.run for row in read_tables(folder).sample_rows] == ["r01", "r02", "r03", "r06"]


@pytest.mark.parametrize("sheet", [b"", b"\xff\xfer\0", b"run;start\n", small_trial.HEADER.encode()])
def test_a_sheet_that_cannot_be_read_leaves_no_file_unnamed(folder: Path, sheet: bytes) -> None:
    small_trial.put(folder, "run_sheet.csv", sheet)
    tables = read_tables(folder)
    assert [fault.file for fault in (*tables.faults, *check_folder(folder, tables, {}))] == ["run_sheet.csv"]


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        ('[log]\ndecimal = ";"\n', False),
        ("[bench_model]\nname = 1\n", False),
        ("[settling]\ntolerance = -1\n", True),
    ],
)
def test_whether_sample_files_can_be_read_hangs_on_the_column_map_only(folder: Path, broken: str, told: bool) -> None:
    small_trial.put(folder, "trial.toml", small_trial.TOML + broken)
    small_trial.swap(folder, "run_sheet.csv", "K01,cleaned", "K01,washed")
    tables = read_tables(folder)
    assert [fault.file for fault in tables.settings_faults] == ["trial.toml"] * len(tables.settings_faults)
    assert 0 < len(tables.settings_faults) < len(tables.faults)
    assert (tables.log_settings is not None) == told


def test_without_settings_only_the_digest_is_taken(folder: Path) -> None:
    small_trial.swap(folder, "samples/r01.csv", small_trial.row(10), "10,nan")
    row = read_tables(folder).sample_rows[0]
    digest = hashlib.sha256((folder / row.file).read_bytes()).hexdigest()
    assert read_run(folder, row, None) == (row.file, digest, None, [])
    read = read_run(folder, row, read_tables(folder).settings)
    assert (read.sha256, read.samples, len(read.faults)) == (digest, None, 1)
    assert run_facts(read) is None


def test_one_sample_file(folder: Path) -> None:
    data = (folder / "samples/r01.csv").read_bytes()
    read = read_sample_file(folder, "samples/r01.csv")
    alone, faults = read_samples(data, "samples/r01.csv")
    assert alone is not None
    assert read.samples is not None
    assert read.samples.values.tobytes() == alone.values.tobytes()
    assert (read.sha256, read.faults) == (hashlib.sha256(data).hexdigest(), faults)
    missing = read_sample_file(folder, "samples/none.csv")
    assert (missing.sha256, missing.samples) == (None, None)
    assert str(missing.faults[0]).startswith("samples/none.csv: found no such file")


def test_facts_of_a_run(folder: Path) -> None:
    read = read_sample_file(folder, "samples/r01.csv")
    assert run_facts(read) == RunFacts(read.sha256 or "", 29.0, stands_still=False)
    small_trial.put(folder, "samples/r01.csv", "time_s,loss_W\n0,7.0\n5,7.0\n")
    still = run_facts(read_sample_file(folder, "samples/r01.csv"))
    assert still is not None
    assert (still.last_s, still.stands_still) == (5.0, True)


def test_copies_are_told_but_for_readings_that_stand_still(folder: Path) -> None:
    rows = read_tables(folder).rows
    moving, still = RunFacts("a", 29.0, stands_still=False), RunFacts("b", 29.0, stands_still=True)
    facts = {"samples/r01.csv": moving, "samples/r03.csv": moving, "samples/r04.csv": moving}
    facts |= {"samples/r05.csv": still, "samples/r06.csv": still}
    copies = find_copies(rows, facts)
    assert {file: fault.found for file, fault in copies.items()} == {
        "samples/r03.csv": "the same content as samples/r01.csv",
        "samples/r04.csv": "the same content as samples/r01.csv",
    }


def test_last_times_are_held_against_the_next_start(folder: Path) -> None:
    small_trial.put(folder, "samples/more.csv", "")
    tables = read_tables(folder)
    facts = {"samples/r01.csv": RunFacts("a", 601.0, stands_still=False)}
    unnamed, late = check_folder(folder, tables, facts)
    assert str(unnamed).startswith("samples/more.csv: found a file that run_sheet.csv does not name")
    assert late.found == "2031-03-03T08:10:00+01:00, while run r01 goes on until 2031-03-03T08:10:01+01:00"
