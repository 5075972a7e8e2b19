"""Runs that take no part. Evidence: folders made for it, and the same trial without the rows as the second way."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
import small_trial

from lossstats.archive.archive_folder import reduce_folder
from lossstats.conclusion.analysis import analyse
from lossstats.trial_folder.trial import find_faults, read_trial, write_trial

BEFORE = "r03,2031-03-03T08:20:00+01:00,test,K03,dusty,1,samples/r03.csv,\n"
AFTER = "r06,2031-03-03T08:50:00+01:00,test,K03,cleaned,1,samples/r06.csv,\n"
OUT_BEFORE = BEFORE.replace("test", "dropped").replace(".csv,", '.csv,"belt broke, see photo"')
OUT_AFTER = "r06,2031-03-03T08:50:00+01:00,dropped,K03,cleaned,,,never made\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """K03 measured before only; what its file holds after that is no samples."""
    folder = small_trial.write(tmp_path / "trial")
    (folder / "samples/r06.csv").unlink()
    small_trial.swap(folder, "run_sheet.csv", BEFORE, OUT_BEFORE)
    small_trial.swap(folder, "run_sheet.csv", AFTER, OUT_AFTER)
    small_trial.put(folder, "samples/r03.csv", "torn off in the mid")
    return folder


def test_a_dropped_article_takes_no_part_and_its_file_is_kept_and_hashed(folder: Path) -> None:
    trial = read_trial(folder)
    assert [run.name for run in trial.runs] == ["r01", "r02", "r04", "r05"]
    assert trial.units == ("K01", "K02")
    assert [(row.run, row.article) for row in trial.dropped] == [("r03", "K03"), ("r06", "K03")]
    assert trial.sha256["samples/r03.csv"] == hashlib.sha256(b"torn off in the mid").hexdigest()
    assert trial.dropped_in_words == ("1 article dropped: K03, belt broke, see photo, never made",)


def test_the_result_names_it_and_is_that_of_the_trial_without_it(folder: Path, tmp_path: Path) -> None:
    result = analyse(folder)
    told = "1 article dropped: K03, belt broke, see photo, never made"
    assert result.dropped == (told,)
    assert told in result.notes
    assert told in result.statement.notes
    without = small_trial.write(tmp_path / "without")
    for row in (BEFORE, AFTER):
        small_trial.swap(without, "run_sheet.csv", row, "")
    for run in ("r03", "r06"):
        (without / f"samples/{run}.csv").unlink()
    assert analyse(without).compared == result.compared


def test_a_single_run_is_dropped_beside_its_repeat(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    wrong = BEFORE.replace("r03", "r03a").replace("08:20", "08:15").replace("test", "dropped")
    small_trial.swap(folder, "run_sheet.csv", BEFORE, wrong.replace(".csv,", ".csv,motor stopped") + BEFORE)
    small_trial.put(folder, "samples/r03a.csv", small_trial.samples(9))
    assert read_trial(folder).dropped_in_words == ("1 run dropped: r03a of K03 dusty, motor stopped",)
    assert [run.run for run in reduce_folder(folder).runs] == ["r01", "r02", "r03", "r04", "r05", "r06"]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "never made",
            "",
            "line 7, column 8 (remarks): found an empty field; accepted: the reason, which a dropped run",
        ),
        ("never made", " ", "line 7, column 8 (remarks): found ' '; accepted: the reason"),
        ("K03,cleaned,,", "K03,cleaned,,samples/r06.csv", "samples/r06.csv: found no such file"),
        ("K03,cleaned,,", "K03,cleand,,", "line 7, column 5 (condition): found 'cleand'; accepted: dusty or cleaned"),
        ("K03,cleaned,,", "K03,cleaned,,samples/r01.csv", "the file 'samples/r01.csv' a second time, first in line 2"),
        ("dropped,K03,dusty", "test,K03,dusty", "for an article that went out role dropped in all its rows"),
        (
            ",dropped,K03,dusty,1,samples/r03.csv",
            ",dropped,K03,dusty,1,",
            "samples/r03.csv: found a file that run_sheet",
        ),
    ],
)
def test_what_a_dropped_run_must_keep(folder: Path, old: str, new: str, told: str) -> None:
    small_trial.swap(folder, "run_sheet.csv", old, new)
    faults = [str(fault) for fault in find_faults(folder)]
    assert any(told in fault for fault in faults), faults


def test_a_dropped_fitting_was_on_the_bench(tmp_path: Path) -> None:
    """Between two runs of one mount a dropped run of another article with samples makes the second a refit."""
    folder = small_trial.write(tmp_path / "trial")
    again = "r01b,2031-03-03T08:15:00+01:00,test,K01,dusty,1,samples/r01b.csv,\n"
    second = "r02,2031-03-03T08:10:00+01:00,test,K02,dusty,1,samples/r02.csv,\n"
    out = second.replace("r02", "r02a").replace("08:10", "08:05").replace("test", "dropped")
    small_trial.put(folder, "samples/r01b.csv", small_trial.samples(8))
    small_trial.swap(
        folder, "run_sheet.csv", second, out.replace(".csv,", ".csv,slipped") + again + second.replace(":10:", ":18:")
    )
    small_trial.put(folder, "samples/r02a.csv", small_trial.samples(9))
    assert [fault.found for fault in find_faults(folder)] == [
        "mount '1' of K01 again, after K02 (line 3) was on the bench",
        "mount '1' of K02 again, after K01 (line 4) was on the bench",
    ]


def test_what_is_written_keeps_it(folder: Path, tmp_path: Path) -> None:
    trial = read_trial(folder)
    write_trial(trial, tmp_path / "copy")
    again = read_trial(tmp_path / "copy")
    assert again.dropped == trial.dropped
    assert again.sha256["samples/r03.csv"] == trial.sha256["samples/r03.csv"]
