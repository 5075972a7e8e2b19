"""One folder of an archive. Evidence: `find_faults` on every broken folder; the whole job's levels on sound ones."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

from lossstats import archive_folder
from lossstats.archive_folder import reduce_folder
from lossstats.conclusion import reduce_trial
from lossstats.trial import find_faults, read_trial

HERE = Path(__file__).parent
_spec = importlib.util.spec_from_file_location("test_broken_folders", HERE / "test_broken_folders.py")
assert _spec is not None
assert _spec.loader is not None
broken = importlib.util.module_from_spec(_spec)
sys.modules.setdefault("test_broken_folders", broken)
_spec.loader.exec_module(broken)
CASES = list({id(case): case for name in ("SAMPLES", "TOMLS", "SHEETS") for case in getattr(broken, name)}.values())


@pytest.mark.parametrize("large", [10**9, 0], ids=["small files", "large files"])
def test_levels_are_those_of_the_whole_job(monkeypatch, large):
    monkeypatch.setattr(archive_folder, "_LARGE_BYTES", large)
    folder = HERE.parent / "example_runs" / "two_shafts"
    trial = read_trial(folder)
    found = reduce_folder(folder, "two_shafts")
    assert not found.failed
    assert [run.run for run in found.runs] == [run.name for run in trial.runs]
    for row, run, reduced in zip(found.runs, trial.runs, reduce_trial(trial), strict=True):
        assert (row.level, row.u, row.dof) == pytest.approx(
            (reduced.level.value, reduced.level.standard_uncertainty, reduced.level.degrees_of_freedom), rel=1e-9
        )
        assert (row.settled, row.flagged) == (reduced.settled.status, len(reduced.screening.flagged))
        assert (row.start, row.article, row.condition, row.mount, row.role) == (
            run.start.isoformat(), run.article, run.condition, run.mount, run.role,
        )  # fmt: skip
        assert (row.folder, row.unit, row.samples) == ("two_shafts", "W", len(run.values))
        assert row.sha256 == trial.sha256[run.file]


def only_read(_folder, called, _settings, row, read):
    return archive_folder.Failure(called, row.run, archive_folder._told(read.faults))


@pytest.mark.parametrize("number", range(len(CASES)), ids=[f"{case.file}: {case.name}" for case in CASES])
def test_every_broken_folder_is_told_in_the_same_words(tmp_path, monkeypatch, number):
    monkeypatch.setattr(archive_folder, "_reduce_run", only_read)
    folder = broken.small_trial.write(tmp_path / "trial")
    CASES[number].breaks(folder)
    found = reduce_folder(folder, "t")
    told = {line for failure in found.failed for line in failure.fault.splitlines()}
    wanted = {str(fault) for fault in find_faults(folder)}
    tables = {line for line in wanted if not line.startswith("samples/")}
    case = CASES[number]
    assert any(line.startswith(case.file) and case.found in line for line in told)
    # what follows from a fault of the tables is not looked for
    assert told <= wanted
    if not tables:
        assert told == wanted
        assert all(failure.run for failure in found.failed) or "file that run_sheet.csv does not name" in str(told)


def test_a_broken_run_costs_itself_only(tmp_path):
    folder = broken.small_trial.write(tmp_path / "trial")
    broken.swap(folder, "samples/r02.csv", broken.row(10, 2), "10,nan")
    broken.put(folder, "samples/r03.csv", "time_s,loss_W\n0,7.000\n1,7.001\n")
    (folder / "samples/r05.csv").unlink()
    broken.put(folder, "samples/r06.csv", broken.small_trial.samples(1))
    found = reduce_folder(folder, "t")
    assert [run.run for run in found.runs] == ["r01", "r04"]
    assert [str(failure) for failure in found.failed] == [
        "t, run r02: samples/r02.csv, line 12, column 2 (loss_W): found 'nan'; accepted: a finite decimal number such "
        "as 6.985",
        "t, run r03: values: found 2 samples; accepted: at least 10",
        "t, run r05: samples/r05.csv: found no such file; accepted: a file in the trial folder by this name",
        "t, run r06: samples/r06.csv: found the same content as samples/r01.csv; accepted: the readings of this run",
    ]


def test_a_fault_of_the_run_sheet_costs_the_folder(tmp_path):
    folder = broken.small_trial.write(tmp_path / "trial")
    broken.swap(folder, "run_sheet.csv", "08:10", "07:10")
    found = reduce_folder(folder, "t")
    assert not found.runs
    assert str(found.failed[0]).startswith("t: run_sheet.csv, line 3, column 2 (start): found ")


def test_no_folder(tmp_path):
    (failure,) = reduce_folder(tmp_path / "none").failed
    assert failure.folder == str(tmp_path / "none")
    assert "no such folder" in failure.fault
