"""The commands as a user runs them; raw files are never written to."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest
import small_trial

import lossstats
from lossstats.cli import main
from lossstats.simulator.examples import example_trial
from lossstats.trial_folder.trial import write_trial


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


def test_analyse_says_that_an_earlier_print_is_gone(folder, capsys):
    main(["analyse", str(folder)])
    assert "removed" not in capsys.readouterr().out
    printed = folder / "results" / "result_sheet.pdf"
    printed.write_bytes(b"%PDF-1.4\n%%EOF\n")
    main(["analyse", str(folder)])
    assert f"removed: {printed}, printed from an earlier sheet" in capsys.readouterr().out
    assert not printed.exists()


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


def test_what_many_files_share_is_told_once(tmp_path, capsys):
    """A column that [log] does not name, in every file: in full for the first, and all of it on demand."""
    folder = small_trial.write(tmp_path / "trial")
    samples = sorted((folder / "samples").iterdir())
    for path in samples:
        path.write_bytes(path.read_bytes().replace(b"loss_W", b"loss", 1))
    assert main(["check", "--all", str(folder)]) == 1
    everything = capsys.readouterr().out.splitlines()
    assert main(["check", str(folder)]) == 1
    out = capsys.readouterr().out
    assert everything[:-1] == [line for line in everything if line.startswith("samples/")]
    assert len(everything) - 1 == 2 * len(samples)
    lines = out.splitlines()
    assert lines[:2] == everything[:2]
    assert lines[-1] == everything[-1]
    told = " ".join(lines[2:-1])
    assert told.startswith(f"{2 * len(samples) - 2} more like these, at the same places of {len(samples) - 1} files: ")
    assert all(f"samples/{path.name}" in told for path in samples[1:])
    assert main(["analyse", str(folder)]) == 1
    assert told in " ".join(capsys.readouterr().err.split())


def test_faults_at_places_of_their_own_are_all_told(tmp_path, capsys):
    folder = small_trial.write(tmp_path / "trial")
    samples = sorted((folder / "samples").iterdir())
    for number, path in enumerate(samples):
        lines = path.read_bytes().splitlines(keepends=True)
        lines[number + 4] = b"nan" + lines[number + 4][lines[number + 4].index(b",") :]
        path.write_bytes(b"".join(lines))
    assert main(["check", str(folder)]) == 1
    out = capsys.readouterr().out
    for number, path in enumerate(samples):
        assert f"samples/{path.name}, line {number + 5}, column 1" in out


def test_new_writes_a_skeleton_and_the_cautions(tmp_path, capsys):
    assert main(["new", str(tmp_path / "fresh")]) == 0
    out = capsys.readouterr().out
    assert "local rules and licensed practice come first" in " ".join(out.split())
    assert f"lossstats plan {tmp_path / 'fresh'}" in out
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


def test_no_command_shows_them_all_and_exits_2(capsys):
    assert main([]) == 2
    told = capsys.readouterr().err
    assert all(name in told for name in ("new", "plan", "analyse", "audit", "Exit 0"))


def test_version(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["--version"])
    assert caught.value.code == 0
    assert capsys.readouterr().out == f"lossstats {lossstats.__version__}\n"


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


def test_a_reader_that_goes_away_is_no_fault(folder):
    reader, writer = os.pipe()
    os.close(reader)
    command = [sys.executable, "-m", "lossstats", "check", str(folder)]
    done = subprocess.run(command, stdout=writer, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writer)
    assert (done.returncode, done.stderr) == (1, "")


def test_module_and_help():
    done = subprocess.run([sys.executable, "-m", "lossstats", "--help"], capture_output=True, text=True, check=True)
    for command in ("new", "check", "analyse", "reproduce"):
        assert command in done.stdout
    assert "guards closed" in done.stdout
