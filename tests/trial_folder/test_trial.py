"""Trial folders read and written. Evidence: values made here come back bit for bit; hashes by hashlib on the files."""

from __future__ import annotations

import builtins
import dataclasses
import hashlib
import io
import os
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import small_trial
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.samples_text import samples_text
from lossstats.trial_folder.settings import Column, ComparisonKeys, LogKeys, ReadingsKeys, Settings, TrialKeys
from lossstats.trial_folder.trial import Run, Trial, find_faults, read_trial, write_trial

START = datetime(2031, 3, 3, 8, tzinfo=timezone(timedelta(hours=1)))
PLAN = [("K01", "dusty"), ("K02", "dusty"), ("K01", "cleaned"), ("K02", "cleaned")]


def make_trial(columns: list[tuple[Any, Any]], resolution: float = 0.001, **operating_point: Any) -> Trial:
    """Four runs in memory from (time_s, values) pairs."""
    log = LogKeys(other={name: Column(name) for name in operating_point})
    told = Settings(
        TrialKeys("Does it pay?"),
        ComparisonKeys("dusty", "cleaned", "paired"),
        readings=ReadingsKeys(resolution),
        log=log,
    )
    runs = [
        Run(
            f"r{index}",
            START + timedelta(hours=index),
            "test",
            article,
            condition,
            "1",
            f"samples/r{index}.csv",
            *columns[index],
            operating_point,
            "made up, for a test",
        )
        for index, (article, condition) in enumerate(PLAN)
    ]
    return Trial(None, told, tuple(runs))


def noisy(seed: int, decimals: int = 3) -> tuple[Any, Any]:
    return np.arange(30.0), np.round(7 + 0.02 * np.random.default_rng(seed).normal(size=30), decimals)


def test_read_small_trial(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    trial = read_trial(str(folder))
    assert trial.folder == folder
    assert trial.units == ("K01", "K02", "K03")
    assert [run.name for run in trial.runs] == ["r01", "r02", "r03", "r04", "r05", "r06"]
    run = trial.runs[3]
    assert (run.role, run.article, run.condition, run.mount, run.file) == (
        "test",
        "K01",
        "cleaned",
        "1",
        "samples/r04.csv",
    )
    assert run.start == START + timedelta(minutes=30)
    assert (run.interval_s, run.bench_day) == (1.0, "2031-03-03")
    assert run.values[:2].tolist() == [7.001, 7.008]
    assert run.operating_point == {}


def test_every_input_file_is_hashed(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    (folder / "results").mkdir()
    (folder / "results" / "figure.png").write_bytes(b"\x00")
    (folder / "notes.txt").write_text("for us\n")
    expected = {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in [folder / "trial.toml", folder / "run_sheet.csv", *(folder / "samples").iterdir()]
    }
    assert read_trial(folder).sha256 == expected


def test_arrays_of_a_run_are_not_to_be_written_to(tmp_path: Path) -> None:
    run = read_trial(small_trial.write(tmp_path / "trial")).runs[0]
    for array in (run.time_s, run.values):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0.0
    mine = np.arange(3.0)
    made = Run("r", START, "zero", time_s=mine, values=mine)
    mine[0] = 5.0
    assert made.values[0] == 0.0


def test_runs_refuse_columns_that_do_not_fit_and_clocks_without_offset() -> None:
    with pytest.raises(ValueError, match=r"run r: found values of shape \(2,\); accepted: \(3,\) in 1-d"):
        Run("r", START, "zero", time_s=np.arange(3.0), values=np.arange(2.0))
    with pytest.raises(ValueError, match="run r: found start 2031-03-03T08:00:00; accepted: a time with its offset"):
        Run("r", START.replace(tzinfo=None), "zero")


def test_bench_day_is_the_day_by_the_clock_of_the_bench() -> None:
    early = datetime(2031, 3, 4, 0, 30, tzinfo=timezone(timedelta(hours=2)))
    assert Run("r", early, "zero").bench_day == "2031-03-04"


def test_units_are_mounts_where_the_settings_say(tmp_path: Path) -> None:
    trial = make_trial([noisy(seed) for seed in range(4)])
    comparison = ComparisonKeys("dusty", "cleaned", "single", "mount")
    mounted = dataclasses.replace(
        trial,
        settings=dataclasses.replace(trial.settings, comparison=comparison),
        runs=tuple(
            dataclasses.replace(run, article="K01", mount=str(1 + index)) for index, run in enumerate(trial.runs)
        ),
    )
    write_trial(mounted, tmp_path / "trial")
    assert read_trial(tmp_path / "trial").units == ("K01/1", "K01/2", "K01/3", "K01/4")


def test_nothing_in_the_folder_changes_and_nothing_is_opened_for_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = small_trial.write(tmp_path / "trial")
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    for path in files:
        path.chmod(0o444)
    before = [(path.stat().st_mtime_ns, hashlib.sha256(path.read_bytes()).hexdigest()) for path in files]
    modes: list[str] = []
    really_open = io.open

    def noting_open(file: Any, mode: str = "r", *args: Any, **more: Any) -> Any:
        modes.append(mode)
        return really_open(file, mode, *args, **more)

    flags: list[int] = []
    really_os_open = os.open

    def noting_os_open(path: Any, flag: int, *args: Any, **more: Any) -> int:
        flags.append(flag)
        return really_os_open(path, flag, *args, **more)

    monkeypatch.setattr(io, "open", noting_open)
    monkeypatch.setattr(builtins, "open", noting_open)
    monkeypatch.setattr(os, "open", noting_os_open)
    read_trial(folder)
    monkeypatch.undo()
    assert modes == ["rb"] * 8
    assert not any(flag & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC) for flag in flags)
    after = [(path.stat().st_mtime_ns, hashlib.sha256(path.read_bytes()).hexdigest()) for path in files]
    assert after == before
    assert sorted(path for path in folder.rglob("*") if path.is_file()) == files


def test_a_foreign_log_with_stamps_must_begin_when_the_sheet_says(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    small_trial.swap(folder, "trial.toml", "[readings]", '[log]\ntime_form = "iso"\ndecimals = "free"\n[readings]')
    for number, (_, clock, _, _) in enumerate(small_trial.RUNS, start=1):
        rows = (small_trial.row(index, number).split(",") for index in range(30))
        text = "".join(f"2031-03-03 {clock}:{int(time):02d}+01:00,{value}\n" for time, value in rows)
        small_trial.put(folder, f"samples/r{number:02d}.csv", "time_s,loss_W\n" + text)
    assert np.array_equal(read_trial(folder).runs[1].time_s, np.arange(30.0))
    content = (folder / "samples/r02.csv").read_text().replace("+01:00", "+02:00")
    small_trial.put(folder, "samples/r02.csv", content)
    assert list(map(str, find_faults(folder))) == [
        (
            "samples/r02.csv, line 2, column of times (time_s): found the first stamp 2031-03-03T08:10:00+02:00; "
            "accepted: a stamp within 60 s of the start in run_sheet.csv, line 3: 2031-03-03T08:10:00+01:00"
        )
    ]


@st.composite
def lattice_runs(draw: st.DrawFn) -> tuple[list[tuple[Any, Any]], float]:
    """Four runs of numbers on a lattice, each the float nearest to its decimal form."""
    decimals = draw(st.integers(0, 6))
    runs = []
    for _ in range(4):
        count = draw(st.integers(2, 12))
        start, step = draw(st.integers(0, 50)), draw(st.integers(1, 100))
        scale = draw(st.sampled_from([1, 10, 1000]))
        times = [(start + step * index) / scale for index in range(count)]
        steps = draw(st.lists(st.integers(-(10**7), 10**7), min_size=count, max_size=count))
        runs.append((np.array(times), np.array([value / 10**decimals for value in steps])))
    return runs, draw(st.sampled_from([0.0, 10.0**-decimals]))


@given(lattice_runs())
@settings(max_examples=60, deadline=None)
def test_written_trials_read_back_bit_for_bit(tmp_path_factory: pytest.TempPathFactory, made: Any) -> None:
    columns, resolution = made
    trial = make_trial(columns, resolution)
    # Two equal files are refused, rightly; a run apart keeps them different.
    texts = {samples_text({"t": run.time_s, "v": run.values}) for run in trial.runs}
    assume(len(texts) == len(trial.runs))
    folder = tmp_path_factory.mktemp("round") / "trial"
    write_trial(trial, folder)
    again = read_trial(folder)
    assert again.settings == trial.settings
    for run, same in zip(trial.runs, again.runs, strict=True):
        assert np.array_equal(run.time_s, same.time_s)
        assert np.array_equal(run.values, same.values)
        for name in ("name", "start", "role", "article", "condition", "mount", "file", "remarks"):
            assert getattr(run, name) == getattr(same, name)


def test_operating_point_columns_come_back(tmp_path: Path) -> None:
    trial = make_trial([noisy(seed) for seed in range(4)], power_W=np.linspace(279.5, 280.5, 30).round(1))
    write_trial(trial, tmp_path / "trial")
    again = read_trial(tmp_path / "trial")
    assert np.array_equal(again.runs[2].operating_point["power_W"], trial.runs[2].operating_point["power_W"])


def test_a_trial_read_through_a_map_is_written_in_the_own_form(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "foreign")
    small_trial.swap(
        folder,
        "trial.toml",
        "[readings]",
        '[log]\nseparator = "semicolon"\ndecimal = ","\ntime = {column = "t", factor = 60}\nvalue = '
        '{column = "P / mW", factor = 0.001}\n[readings]',
    )
    for number in range(1, 7):
        rows = (small_trial.row(index, number).split(",") for index in range(30))
        text = "t;P / mW\n" + "".join(f"{int(t) / 100:.2f};{float(v) * 1000:.1f}\n".replace(".", ",") for t, v in rows)
        small_trial.put(folder, f"samples/r{number:02d}.csv", text)
    trial = read_trial(folder)
    write_trial(trial, tmp_path / "own")
    again = read_trial(tmp_path / "own")
    assert again.settings.log == LogKeys(value=Column("value"))
    for run, same in zip(trial.runs, again.runs, strict=True):
        assert same.time_s == pytest.approx(run.time_s, rel=1e-12)
        assert same.values == pytest.approx(run.values, rel=1e-12)


def test_an_existing_folder_is_refused(tmp_path: Path) -> None:
    trial = make_trial([noisy(seed) for seed in range(4)])
    (tmp_path / "trial").mkdir()
    with pytest.raises(FileExistsError, match="folder: found trial already; accepted: the name of a new folder"):
        write_trial(trial, tmp_path / "trial")
    assert list((tmp_path / "trial").iterdir()) == []


def test_what_could_not_be_read_back_is_not_written(tmp_path: Path) -> None:
    trial = make_trial([noisy(seed) for seed in range(3)] + [(np.arange(3.0), [7.0, np.nan, 7.0])])
    with pytest.raises(TrialError, match=r"samples/r3\.csv, line 3, column 2 \(loss_W\): found 'nan'"):
        write_trial(trial, tmp_path / "trial")
    outside = dataclasses.replace(trial, runs=(dataclasses.replace(trial.runs[0], file="../out.csv"), *trial.runs[1:]))
    with pytest.raises(TrialError, match="run r0: found a path out of the folder; accepted: a file below samples/"):
        write_trial(outside, tmp_path / "trial")
    assert list(tmp_path.iterdir()) == []


def test_a_crash_while_writing_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: Any, **__: Any) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("lossstats.trial_folder.trial.samples_text", fail)
    with pytest.raises(KeyboardInterrupt):
        write_trial(make_trial([noisy(seed) for seed in range(4)]), tmp_path / "trial")
    assert list(tmp_path.iterdir()) == []


def test_hidden_files_beside_the_samples_are_passed_over(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    (folder / "samples" / ".gitkeep").write_text("")
    assert find_faults(folder) == []


def test_equal_readings_that_stand_still_are_no_copy(tmp_path: Path) -> None:
    columns = [noisy(0), noisy(1), (np.arange(5.0), np.zeros(5)), (np.arange(5.0), np.zeros(5))]
    write_trial(make_trial(columns), tmp_path / "trial")
    columns[3] = columns[0]
    with pytest.raises(TrialError, match=r"samples/r3\.csv: found the same content as samples/r0\.csv"):
        write_trial(make_trial(columns), tmp_path / "again")
