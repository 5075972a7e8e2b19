"""The commands as a user runs them; raw files are never written to."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lossstats.cli import main
from lossstats.examples import example_trial
from lossstats.trial import write_trial


@pytest.fixture
def folder(tmp_path):
    write_trial(example_trial("one_chain"), tmp_path / "trial")
    return tmp_path / "trial"


def digests(folder):
    files = [folder / "trial.toml", folder / "run_sheet.csv", *sorted((folder / "samples").iterdir())]
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def test_analyse_prints_the_statement_and_writes_the_sheet(folder, capsys):
    assert main(["analyse", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "May not be claimed" in out
    assert "result_sheet.html" in out
    assert (folder / "results" / "result_sheet.html").is_file()
    assert main(["reproduce", str(folder)]) == 0
    assert "agrees" in capsys.readouterr().out


def test_reproduce_exits_1_with_a_table(folder, capsys):
    main(["analyse", str(folder)])
    capsys.readouterr()
    path = folder / "results" / "result.json"
    path.write_text(
        path.read_text(encoding="utf-8").replace('"better": "lower"', '"better": "higher"'), encoding="utf-8"
    )
    assert main(["reproduce", str(folder)]) == 1
    assert "settings / trial / better: sealed 'higher', found 'lower'" in capsys.readouterr().out


def test_check_lists_all_faults(folder, capsys):
    assert main(["check", str(folder)]) == 0
    assert "no faults" in capsys.readouterr().out
    for name in ("r01.csv", "r02.csv"):
        path = folder / "samples" / name
        path.write_text(
            path.read_text(encoding="utf-8").replace("\n25.0", "\nnan", 1).replace("\n25,", "\nnan,", 1),
            encoding="utf-8",
        )
    assert main(["check", str(folder)]) == 1
    out = capsys.readouterr().out
    assert "samples/r01.csv, line 3, column 1 (time_s): found 'nan'" in out
    assert "samples/r02.csv, line 3, column 1 (time_s): found 'nan'" in out


def test_new_writes_a_skeleton_and_the_cautions(tmp_path, capsys):
    assert main(["new", str(tmp_path / "fresh")]) == 0
    assert "local rules and licensed practice come first" in capsys.readouterr().out
    assert (tmp_path / "fresh" / "trial.toml").is_file()
    assert main(["check", str(tmp_path / "fresh")]) == 1


def test_sensitivity_prints_the_planned_analysis_and_what_hangs_on_it(folder, capsys):
    assert main(["sensitivity", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "description" in out
    assert not (folder / "results").exists()


def test_errors_go_to_stderr_with_status_1(tmp_path, capsys):
    assert main(["analyse", str(tmp_path / "nowhere")]) == 1
    assert "nowhere" in capsys.readouterr().err


def test_wrong_calls_exit_2(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["analyse"])
    assert caught.value.code == 2
    assert "FOLDER" in capsys.readouterr().err


def test_raw_files_are_never_opened_for_writing(folder):
    """Read-only for the file system, and every opening watched: root may write to a read-only file."""
    raw = {str(p) for p in [folder / "trial.toml", folder / "run_sheet.csv", *(folder / "samples").iterdir()]}
    for path in raw:
        Path(path).chmod(0o444)
    before, opened = digests(folder), []

    def watch(event, arguments):
        if event == "open" and str(arguments[0]) in raw:
            opened.append((arguments[1], arguments[2]))

    sys.addaudithook(watch)
    for command in ("check", "analyse", "reproduce"):
        main([command, str(folder)])
        assert digests(folder) == before, command
    assert opened
    assert not [o for o in opened if set(o[0] or "") & set("wa+x") or o[1] & (os.O_WRONLY | os.O_RDWR)]


def test_module_and_help():
    done = subprocess.run([sys.executable, "-m", "lossstats", "--help"], capture_output=True, text=True, check=True)
    for command in ("new", "check", "analyse", "reproduce"):
        assert command in done.stdout
    assert "guards closed" in done.stdout
