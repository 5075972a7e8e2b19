"""One cause is one fault, and it says where to look. Evidence: folders broken in one place."""

from __future__ import annotations

from pathlib import Path

import small_trial

from lossstats.conclusion.plausibility import plausibility_remarks
from lossstats.trial_folder.faults import Fault
from lossstats.trial_folder.trial import find_faults, read_trial


def broken(tmp_path: Path, *swaps: tuple[str, str, str]) -> list[Fault]:
    folder = small_trial.write(tmp_path / "trial")
    for swap in swaps:
        small_trial.swap(folder, *swap)
    return find_faults(folder)


def test_a_wrong_factor_of_time(tmp_path: Path) -> None:
    log = "[log]\ntime = {column = 'time_s', factor = 60}\n[readings]"
    (fault,) = broken(tmp_path, ("trial.toml", "[readings]", log))
    assert fault.found.endswith("; the like in 4 more rows (lines 4, 5, 6, 7)")
    assert "one wrong factor of time in [log] of trial.toml" in fault.accepted


def test_a_reference_run_marked_as_test(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    rows = (folder / "run_sheet.csv").read_text(encoding="utf-8")
    for number, role in ((7, "test"), (8, "reference"), (9, "reference")):
        condition = "dusty" if role == "test" else ""
        rows += f"r{number:02d},2031-03-03T09:{number}0:00+01:00,{role},REF,{condition},{number},samples/r{number:02d}.csv,\n"
        small_trial.put(folder, f"samples/r{number:02d}.csv", small_trial.samples(number))
    small_trial.put(
        folder,
        "run_sheet.csv",
        rows.replace("T09:70", "T09:10").replace("T09:80", "T09:20").replace("T09:90", "T09:30"),
    )
    (fault,) = find_faults(folder)
    assert fault.line == 8
    assert fault.found == "'REF' as test article, a reference article in lines 9, 10"


def test_a_sheet_saved_by_a_spreadsheet(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    plain = small_trial.sheet()
    small_trial.put(folder, "run_sheet.csv", plain.replace(",", ";"))
    (fault,) = find_faults(folder)
    assert "a spreadsheet seems to have saved it with semicolons" in fault.accepted
    small_trial.put(folder, "run_sheet.csv", plain.replace("2031-03-03T", "03.03.2031 ").replace(":00+01:00", ""))
    (fault,) = find_faults(folder)
    assert fault.found == "'03.03.2031 08:00', and no start of the form in any of the 6 rows"


def test_a_missing_file_and_what_a_file_manager_leaves(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    (folder / "samples/r03.csv").unlink()
    small_trial.put(folder, "samples/Thumbs.db", b"\0")
    (fault,) = find_faults(folder)
    assert fault.accepted == "a file in the trial folder by this name (run_sheet.csv, line 4)"
    (gone,) = find_faults(tmp_path / "none")
    assert gone.file == str(tmp_path / "none")


def test_one_mount_without_a_number_is_asked_about(tmp_path: Path) -> None:
    folder = small_trial.write(tmp_path / "trial")
    assert not any("mount" in remark for remark in plausibility_remarks(read_trial(folder)))
    small_trial.swap(folder, "run_sheet.csv", "K02,dusty,1", "K02,dusty,I")
    remarks = [remark for remark in plausibility_remarks(read_trial(folder)) if "mount" in remark]
    assert len(remarks) == 1
    assert remarks[0].startswith("the mount 'I' of K02 in r02 is the only one without a number for its name")
