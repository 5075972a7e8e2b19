"""One folder of an archive. Evidence: `find_faults` on every broken folder; the whole job's levels on sound ones."""

from __future__ import annotations

import gc
from pathlib import Path

import numpy as np
import pytest
import small_trial
from broken_cases import CASES

from lossstats.archive import archive_folder
from lossstats.archive.archive_folder import reduce_folder
from lossstats.conclusion.conclusion import reduce_trial
from lossstats.trial_folder.samples import Samples
from lossstats.trial_folder.trial import find_faults, read_trial

EXAMPLES = Path(__file__).parents[2] / "example_runs"


@pytest.mark.parametrize("large", [10**9, 0], ids=["small files", "large files"])
def test_levels_are_those_of_the_whole_job(monkeypatch, large):
    monkeypatch.setattr(archive_folder, "_LARGE_BYTES", large)
    folder = EXAMPLES / "two_shafts"
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


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.file}: {case.name}")
def test_every_broken_folder_is_told_in_the_same_words(tmp_path, monkeypatch, case):
    monkeypatch.setattr(archive_folder, "_reduce_run", only_read)
    folder = small_trial.write(tmp_path / "trial")
    case.breaks(folder)
    found = reduce_folder(folder, "t")
    told = {line for failure in found.failed for line in failure.fault.splitlines()}
    wanted = {str(fault) for fault in find_faults(folder)}
    tables = {line for line in wanted if not line.startswith("samples/")}
    assert any(line.startswith(case.file) and case.found in line for line in told)
    # what follows from a fault of the tables is not looked for
    assert told <= wanted
    if not tables:
        assert told == wanted
        assert all(failure.run for failure in found.failed) or "file that run_sheet.csv does not name" in str(told)


def test_a_broken_run_costs_itself_only(tmp_path):
    folder = small_trial.write(tmp_path / "trial")
    small_trial.swap(folder, "samples/r02.csv", small_trial.row(10, 2), "10,nan")
    small_trial.put(folder, "samples/r03.csv", "time_s,loss_W\n0,7.000\n1,7.001\n")
    (folder / "samples/r05.csv").unlink()
    small_trial.put(folder, "samples/r06.csv", small_trial.samples(1))
    found = reduce_folder(folder, "t")
    assert [run.run for run in found.runs] == ["r01", "r04"]
    assert [str(failure) for failure in found.failed] == [
        "t, run r02: samples/r02.csv, line 12, column 2 (loss_W): found 'nan'; accepted: a finite decimal number such "
        "as 6.985",
        "t, run r03: values: found 2 samples; accepted: at least 10",
        "t, run r05: samples/r05.csv: found no such file; accepted: a file in the trial folder by this name "
        "(run_sheet.csv, line 6)",
        "t, run r06: samples/r06.csv: found the same content as samples/r01.csv; accepted: the readings of this run",
    ]


def test_a_fault_of_the_run_sheet_costs_the_folder(tmp_path):
    folder = small_trial.write(tmp_path / "trial")
    small_trial.swap(folder, "run_sheet.csv", "08:10", "07:10")
    found = reduce_folder(folder, "t")
    assert not found.runs
    assert str(found.failed[0]).startswith("t: run_sheet.csv, line 3, column 2 (start): found ")


def test_no_folder(tmp_path):
    (failure,) = reduce_folder(tmp_path / "none").failed
    assert failure.folder == str(tmp_path / "none")
    assert "no such folder" in failure.fault


def with_stamps(folder: Path, *, late_s: int = 0) -> Path:
    """The small trial with time stamps in the sample files; those of the second run begin late."""
    small_trial.write(folder)
    small_trial.put(folder, "trial.toml", small_trial.TOML + '\n[log]\ntime_form = "iso"\n')
    for number in range(6):
        rows = small_trial.samples(number + 1).splitlines()[1:]
        late = late_s if number == 1 else 0
        stamps = [f"2031-03-03T08:{10 * number + (i + late) // 60:02d}:{(i + late) % 60:02d}+01:00" for i in range(30)]
        body = "".join(f"{stamp},{row.partition(',')[2]}\n" for stamp, row in zip(stamps, rows, strict=True))
        small_trial.put(folder, f"samples/r{number + 1:02d}.csv", "time_s,loss_W\n" + body)
    return folder


@pytest.mark.parametrize("large", [10**9, 0], ids=["small files", "large files"])
def test_stamps_are_held_against_the_run_sheet(tmp_path, monkeypatch, large):
    monkeypatch.setattr(archive_folder, "_LARGE_BYTES", large)
    assert len(reduce_folder(with_stamps(tmp_path / "sound")).runs) == 6
    late = with_stamps(tmp_path / "late", late_s=90)
    found = reduce_folder(late, "t")
    assert [run.run for run in found.runs] == ["r01", "r03", "r04", "r05", "r06"]
    assert [str(failure) for failure in found.failed] == [f"t, run r02: {fault}" for fault in find_faults(late)]
    assert "a stamp within 60 s of the start" in found.failed[0].fault


def test_one_big_run_is_held_at_a_time(tmp_path, monkeypatch):
    monkeypatch.setattr(archive_folder, "_LARGE_BYTES", 0)
    rows = 2000
    folder = small_trial.write(tmp_path / "trial")
    small_trial.put(folder, "run_sheet.csv", "".join(
        line.replace("03-03T08", f"03-{day:02d}T08")
        for day, line in enumerate(small_trial.sheet().splitlines(keepends=True), start=2)
    ))  # fmt: skip
    for run in range(1, 7):
        values = 7 + np.random.default_rng(run).normal(0, 0.02, rows)
        body = "".join(f"{i},{v:.3f}\n" for i, v in enumerate(values.tolist()))
        small_trial.put(folder, f"samples/r{run:02d}.csv", "time_s,loss_W\n" + body)
    held: list[tuple[str, int]] = []

    def counted(step, real):
        def call(*arguments):
            gc.collect()
            runs = [one for one in gc.get_objects() if isinstance(one, Samples) and len(one.time_s) == rows]
            held.append((step, len(runs)))
            del runs
            return real(*arguments)

        return call

    for step in ("read_large_log", "_reduce_run"):
        monkeypatch.setattr(archive_folder, step, counted(step, getattr(archive_folder, step)))
    assert len(reduce_folder(folder).runs) == 6
    assert held == [("read_large_log", 0), ("_reduce_run", 1)] * 6
