"""The command plan, as it is used: whole or not at all, never over anything."""

import csv
import hashlib
import json
from datetime import timedelta
from pathlib import Path

import pytest
from planned import planned

from lossstats.cli import main
from lossstats.planning import plan_folder
from lossstats.planning.plan_folder import write_plan
from lossstats.run_plan.plan_departures import departures
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.simulator.simulate import Display, Plan, PlannedRun, Readings, simulate_trial
from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.plan_file import read_plan
from lossstats.trial_folder.run_sheet import COLUMNS, run_sheet_text
from lossstats.trial_folder.skeleton import write_skeleton
from lossstats.trial_folder.trial import read_trial, write_trial
from lossstats.trial_folder.trial_toml import settings_text

WRITTEN = {"run_sheet.csv", "run_sheet.html", "plan.json"}


@pytest.fixture
def settings():
    return planned(one_way=True, wash_hours=2, dry_hours=14, zero_first=True, seed=5)


@pytest.fixture
def folder(tmp_path, settings):
    (tmp_path / "trial").mkdir()
    (tmp_path / "trial" / "trial.toml").write_text(settings_text(settings), encoding="utf-8")
    return tmp_path / "trial"


def names(folder):
    return {path.name for path in folder.iterdir()}


def test_three_files_from_trial_toml(folder, settings):
    before = (folder / "trial.toml").read_bytes()
    done = write_plan(folder)
    assert names(folder) == WRITTEN | {"trial.toml", "samples"}
    assert set(done.files) == WRITTEN
    assert (folder / "trial.toml").read_bytes() == before
    assert done.order == lay_out_runs(settings)
    assert read_plan(folder) == done.plan
    with (folder / "run_sheet.csv").open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    assert tuple(header) == COLUMNS
    assert [row[0] for row in rows] == [run.run for run in done.order.runs]
    assert [row[1] for row in rows] == [run.start.isoformat() for run in done.order.runs]
    assert [row[6] for row in rows] == [f"samples/{run.run}.csv" for run in done.order.runs]
    assert done.plan.sha256 in (folder / "run_sheet.html").read_text(encoding="utf-8")


def test_the_same_folder_twice_gives_the_same_bytes(tmp_path, settings):
    digests = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "trial.toml").write_text(settings_text(settings), encoding="utf-8")
        write_plan(tmp_path / name)
        digests.append([hashlib.sha256((tmp_path / name / file).read_bytes()).hexdigest() for file in sorted(WRITTEN)])
    assert digests[0] == digests[1]


def test_the_command_prints_the_order_what_is_confounded_and_the_cautions(folder, capsys):
    assert main(["plan", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "12 test" in out
    assert "every article is dusty first" in out
    assert "guards closed" in out
    assert "run_sheet.html, run_sheet.csv, plan.json" in out
    assert read_plan(folder).sha256 in out


def test_a_second_plan_is_refused_and_the_way_to_start_again_named(folder, capsys):
    write_plan(folder)
    kept = {name: (folder / name).read_bytes() for name in WRITTEN}
    assert main(["plan", str(folder)]) == 1
    told = capsys.readouterr().err
    assert "plan.json: found one already" in told
    assert "to plan anew before the first run, delete plan.json, run_sheet.csv and run_sheet.html" in told
    assert kept == {name: (folder / name).read_bytes() for name in WRITTEN}
    for name in WRITTEN:
        (folder / name).unlink()
    write_plan(folder)
    assert kept == {name: (folder / name).read_bytes() for name in WRITTEN}


@pytest.mark.parametrize("name", ["run_sheet.csv", "run_sheet.html", "samples/r01.csv", "samples/day 1/r01.csv"])
def test_nothing_that_is_there_is_written_over(folder, name):
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(run_sheet_text([["r01"] * 8]), encoding="utf-8")
    before = names(folder)
    with pytest.raises(FileExistsError, match=rf"{name}: found (one|rows|samples)"):
        write_plan(folder)
    assert names(folder) == before


def test_the_empty_run_sheet_of_a_new_folder_is_filled(tmp_path, settings):
    write_skeleton(tmp_path / "trial")
    (tmp_path / "trial" / "trial.toml").write_text(settings_text(settings), encoding="utf-8")
    write_plan(tmp_path / "trial")
    assert (tmp_path / "trial" / "run_sheet.csv").read_text(encoding="utf-8").count("\n") > 12


def test_a_folder_straight_from_new_says_what_is_to_be_filled(tmp_path, capsys):
    write_skeleton(tmp_path / "trial")
    before = names(tmp_path / "trial")
    assert main(["plan", str(tmp_path / "trial")]) == 1
    told = capsys.readouterr().err
    assert "key trial.question: found the text ''; accepted: text that is not empty" in told
    assert "trial.toml: found no table [plan]; accepted: a table such as\n[plan]\nfirst_start = " in told
    assert names(tmp_path / "trial") == before


def test_without_a_table_the_message_shows_one(folder, settings):
    text = settings_text(settings).partition("[plan]")[0]
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    with pytest.raises(
        TrialError, match=r"(?s)found no table \[plan\]; accepted: a table such as\n\[plan\]\nfirst_start"
    ):
        write_plan(folder)


def test_the_table_shown_is_one_that_works(folder, settings):
    text = settings_text(settings).partition("[plan]")[0] + plan_folder._EXAMPLE
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    assert sum(run.role == "test" for run in write_plan(folder).order.runs) == 8


def test_contradictions_come_with_their_lines(folder, settings):
    text = settings_text(settings).replace("runs_per_mount = 1", "runs_per_mount = 3\nreference_every = 2")
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    line = text.split("\n").index("reference_every = 2") + 1
    with pytest.raises(
        TrialError, match=rf"trial.toml, line {line}, key plan.reference_every: found reference_every = 2"
    ):
        write_plan(folder)
    assert names(folder) == {"trial.toml"}


def test_a_name_that_the_run_sheet_would_not_take_is_refused(folder, settings):
    text = settings_text(settings).replace('after = "cleaned"', 'after = "cleaned "')
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    with pytest.raises(TrialError, match="run_sheet.csv.*column 5 .condition.: found 'cleaned '"):
        write_plan(folder)
    assert names(folder) == {"trial.toml"}


def test_no_folder_and_no_file(tmp_path):
    with pytest.raises(TrialError, match="nowhere: found no such folder; accepted: a folder with trial.toml"):
        write_plan(tmp_path / "nowhere")
    with pytest.raises(TrialError, match="trial.toml: found no such file"):
        write_plan(tmp_path)


@pytest.mark.parametrize("fails_at", [1, 2, 3])
@pytest.mark.parametrize("new", [False, True])
def test_a_failure_half_way_leaves_nothing(folder, monkeypatch, fails_at, new):
    if new:
        (folder / "run_sheet.csv").write_text(run_sheet_text(), encoding="utf-8")
    before, calls, real = names(folder), [], Path.replace

    def failing(self, target):
        calls.append(target)
        if len(calls) == fails_at:
            raise OSError("no space left on device")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises(OSError, match="no space left"):
        write_plan(folder)
    assert names(folder) - {"samples"} == before
    if new:
        assert (folder / "run_sheet.csv").read_text(encoding="utf-8") == run_sheet_text()


def test_links_are_not_followed(folder, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (folder / "samples").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(FileExistsError, match="samples: found a symbolic link"):
        write_plan(folder)


def test_from_the_plan_to_a_trial_without_departures(folder, settings):
    """Measured by the simulator in the planned order, half an hour late; then one article is taken for another."""
    done = write_plan(folder)
    runs = tuple(
        PlannedRun(r.run, r.start + timedelta(minutes=30), r.role, r.article, r.condition, r.mount)
        for r in done.order.runs
    )
    readings = Readings(samples=60, zero_samples=15, interval_s=20.0, display=Display(step=0.001))
    plan = Plan("paired", runs, "dusty", "cleaned", readings=readings, settings=settings)
    trial, _ = simulate_trial(plan, rng=1)
    write_trial(trial, folder.parent / "measured")
    for path in (folder.parent / "measured" / "samples").iterdir():
        path.rename(folder / "samples" / path.name)
    sheet = (folder.parent / "measured" / "run_sheet.csv").read_text(encoding="utf-8")
    (folder / "run_sheet.csv").write_text(sheet, encoding="utf-8")
    assert departures(read_plan(folder), read_trial(folder)) == ()
    one = next(r for r in done.order.runs if r.condition == "dusty")
    changed = sheet.replace(f"test,{one.article},", "test,K09,")
    (folder / "run_sheet.csv").write_text(changed, encoding="utf-8")
    names = [r.run for r in done.order.runs if r.article == one.article]
    told = tuple(f"run {name}: article planned '{one.article}', found 'K09'" for name in names)
    assert departures(read_plan(folder), read_trial(folder)) == told
    with pytest.raises(FileExistsError, match="found samples and"):
        write_plan(folder)


def test_three_renderings(folder):
    done = write_plan(folder)
    assert str(done).startswith("Planned trial\n")
    assert done.plan.sha256 in done._repr_html_()
    assert json.dumps(done.to_dict()["files"]) == '["run_sheet.html", "run_sheet.csv", "plan.json"]'
