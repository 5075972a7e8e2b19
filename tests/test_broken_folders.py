"""One broken trial folder after the other: each is refused, for one stated reason, at the place where it is broken.

Evidence: the place and the reason of each fault are known because the test made it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import small_trial
from broken_cases import CASES, TIME, Case, link_folder
from small_trial import row, swap

from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.trial import find_faults, read_trial


def check(case: Case, folder: Path) -> None:
    faults = find_faults(folder)
    told = "\n".join(map(str, faults))
    found = [fault for fault in faults if (fault.file, fault.found) == (case.file, case.found)]
    assert found, told
    assert (found[0].line, found[0].column) == (case.line, case.column), told
    assert case.accepted in found[0].accepted, told
    # No cascade: one cause gives one fault, or as many as were counted by hand.
    assert len(faults) == case.count, told
    with pytest.raises(TrialError) as error:
        read_trial(folder)
    assert str(found[0]) in str(error.value)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_broken_folder_is_refused_at_the_right_place(tmp_path: Path, case: Case) -> None:
    folder = small_trial.write(tmp_path / "trial")
    case.breaks(folder)
    check(case, folder)


@pytest.mark.parametrize(
    "change",
    [{"file": "samples/r02.csv"}, {"line": 13}, {"column": TIME}, {"found": "'7'"}, {"accepted": "0"}, {"count": 2}],
)
def test_the_check_fails_when_any_part_of_the_message_is_another(tmp_path: Path, change: dict[str, object]) -> None:
    case = next(case for case in CASES if case.name == "nan")
    folder = small_trial.write(tmp_path / "trial")
    case.breaks(folder)
    check(case, folder)
    with pytest.raises(AssertionError):
        check(replace(case, **change), folder)


def test_unbroken_folder_reads(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    assert find_faults(folder) == []
    assert len(read_trial(folder).runs) == 6


def test_there_are_many_cases_and_each_has_its_own_message() -> None:
    assert len(CASES) >= 60
    assert len({case.name for case in CASES}) == len(CASES)
    assert len({(case.file, case.line, case.column, case.found, case.accepted) for case in CASES}) >= len(CASES) - 3


def test_a_linked_samples_folder_is_refused_for_every_file(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    link_folder(folder)
    faults = find_faults(folder)
    assert {fault.file for fault in faults} == {f"samples/r{number:02d}.csv" for number in range(1, 7)}
    assert all(fault.found.startswith("a symbolic link, samples to ") for fault in faults)


def test_all_faults_of_all_files_come_in_one_error(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    swap(folder, "trial.toml", "resolution = 0.001", "resolution = -1")
    swap(folder, "run_sheet.csv", "T08:30:00+01:00", "T08:30:00")
    swap(folder, "samples/r02.csv", row(3, 2), "3,nan")
    swap(folder, "samples/r03.csv", row(4, 3), "4")
    with pytest.raises(
        TrialError, match=r"^4 faults in the trial folder:\n  trial\.toml, line 11, key readings"
    ) as error:
        read_trial(folder)
    files = [fault.file for fault in error.value.faults]
    assert files == ["trial.toml", "run_sheet.csv", "samples/r02.csv", "samples/r03.csv"]


def test_no_folder() -> None:
    with pytest.raises(TrialError, match=r"no_such_trial: found no such folder; accepted: a folder with trial\.toml"):
        read_trial("no_such_trial")
