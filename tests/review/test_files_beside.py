"""What travels beside a result: the page of the run sheet and the looks made again, the rest named."""

import shutil
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from planned import planned

from lossstats.conclusion.analysis import analyse
from lossstats.planning.plan_sheet import plan_page
from lossstats.review.bundle import write_bundle
from lossstats.review.files_beside import file_differences, unchecked
from lossstats.review.reproduction import reproduce
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.trial_folder.plan_file import plan_text, seal_plan
from lossstats.trial_folder.trial import Run, Trial, read_trial, write_trial


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    """A small trial carried out as planned, with its plan and the page of its run sheet."""
    folder = tmp_path_factory.mktemp("sealed") / "trial"
    settings = planned(articles="K01 K02 K03", one_way=False)
    order = lay_out_runs(settings)
    plan = seal_plan(settings, order)
    rng = np.random.default_rng(1)
    time_s = np.arange(0.0, 1200.0, 30.0)
    runs = []
    for r in order.runs:
        values = np.round(7.0 - 0.5 * (r.condition == "cleaned") + rng.normal(0, 0.02, len(time_s)), 3)
        runs.append(
            Run(r.run, r.start, r.role, r.article, r.condition, r.mount, f"samples/{r.run}.csv", time_s, values)
        )
    write_trial(Trial(None, settings, tuple(runs)), folder)
    (folder / "plan.json").write_text(plan_text(plan), encoding="utf-8")
    (folder / "run_sheet.html").write_text(plan_page(settings, order, plan), encoding="utf-8")
    analyse(folder).save(folder)
    return folder


@pytest.fixture
def folder(sealed, tmp_path):
    return Path(shutil.copytree(sealed, tmp_path / "trial"))


def told(folder):
    result = analyse(folder, choices=False)
    return [(d.stage, d.where) for d in file_differences(folder, result)]


def test_a_whole_planned_trial_agrees_in_its_folder_and_as_a_bundle(folder, tmp_path):
    result = analyse(folder, choices=False)
    assert result.plan.departures == ()
    for path in (folder, write_bundle(folder, tmp_path / "trial.zip")):
        found = reproduce(path)
        assert found.agrees and found.remarks == (), str(found)


def test_a_run_sheet_page_that_says_something_else(folder):
    page = folder / "run_sheet.html"
    text = page.read_text(encoding="utf-8")
    page.write_text(text.replace("K02", "K09", 1), encoding="utf-8")
    assert [stage for stage, _ in told(folder)] == ["page of the run sheet"]
    page.write_text(text.replace("</style>", "h1::after { content: 'certified'; }\n</style>"), encoding="utf-8")
    assert not reproduce(folder, choices=False).agrees
    page.unlink()
    assert told(folder) == []


def test_a_run_sheet_page_without_a_plan_is_foreign(folder):
    trial = replace(read_trial(folder), plan=None)
    (found,) = file_differences(folder, analyse(trial))[-1:]
    assert (found.where, found.found) == ("run_sheet.html", "no sealed plan that it could be made from")


def test_the_page_is_made_from_the_plan_and_not_from_changed_settings(folder):
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    assert "Does a wash pay?" in text
    path.write_text(text.replace("Does a wash pay?", "Does it?"), encoding="utf-8")
    assert "page of the run sheet" not in [stage for stage, _ in told(folder)]


@pytest.mark.parametrize("change", ["add", "verdict", "delete"])
def test_looks_that_are_not_those_of_the_result(folder, change):
    path = folder / "results" / "looks.csv"
    text = path.read_text(encoding="utf-8")
    if change == "add":
        path.write_text(text + text.splitlines()[-1] + "\n", encoding="utf-8")
    elif change == "verdict":
        path.write_text(text.rsplit(",", 1)[0] + ",certified\n", encoding="utf-8")
    else:
        path.unlink()
    assert [stage for stage, _ in told(folder)] == ["record of looks"]


def test_what_was_not_checked_is_said_to_readers_and_machines(folder):
    always = unchecked(folder, choices=True)
    assert len(always) == 2 and always[0].startswith("versions") and "show nowhere" in always[1]
    (folder / "results" / "result_sheet.pdf").write_bytes(b"%PDF-1.4 all belts save 45 %")
    (folder / "results" / "certificate.html").write_text("passed", encoding="utf-8")
    (folder / "results" / "more").mkdir()
    (folder / "results" / "more" / "saving.png").write_bytes(b"x")
    found = reproduce(folder)
    assert found.agrees
    assert found.not_checked[:3] == (
        "results/result_sheet.pdf: a print cannot be compared; print the sheet again to compare by eye",
        "results/certificate.html: no file of the kit",
        "results/more/saving.png: no file of the kit",
    )
    assert "not checked" in str(found)
    assert '"results/certificate.html: no file of the kit"' in found.to_json()
    assert any("left out as asked" in text for text in unchecked(folder, choices=False))


def test_no_foreign_file_travels_in_a_bundle(folder, tmp_path):
    (folder / "results" / "certificate.html").write_text("passed", encoding="utf-8")
    (folder / "results" / "certified.png").write_bytes(b"x")
    with zipfile.ZipFile(write_bundle(folder, tmp_path / "b.zip")) as bundle:
        assert not [name for name in bundle.namelist() if "certif" in name]
        assert {"run_sheet.html", "plan.json", "results/looks.csv", "results/saving.png"} <= set(bundle.namelist())
