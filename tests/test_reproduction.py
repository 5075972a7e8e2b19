"""The reviewer's run: agrees on an untouched folder, names file or stage on a touched one."""

import json
import shutil
from pathlib import Path

import pytest

from lossstats.analysis import analyse
from lossstats.examples import example_trial
from lossstats.reproduction import reproduce
from lossstats.trial import write_trial

EXAMPLES = Path(__file__).parents[1] / "example_runs"


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sealed") / "trial"
    write_trial(example_trial("one_chain"), folder)
    analyse(folder).save(folder)
    return folder


@pytest.fixture
def folder(sealed, tmp_path):
    return Path(shutil.copytree(sealed, tmp_path / "trial"))


def first(folder):
    reproduction = reproduce(folder)
    assert not reproduction.agrees
    return reproduction.departures[0]


def edit_sealed(folder, change):
    path = folder / "results" / "result.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    change(content)
    path.write_text(json.dumps(content), encoding="utf-8")


def test_untouched_agrees(folder):
    reproduction = reproduce(folder)
    assert reproduction.agrees
    assert reproduction.files == 4
    assert reproduction.numbers > 100
    assert reproduction.differences.empty
    assert "4 input files by SHA-256" in str(reproduction)


@pytest.mark.parametrize("name", ["flour_dust", "one_chain"])
def test_committed_results_are_found_again(name, tmp_path):
    """The stored results were made with one set of library versions; others must agree to 9 digits."""
    assert reproduce(shutil.copytree(EXAMPLES / name, tmp_path / name)).agrees


def test_one_changed_digit_in_one_sample_is_named(folder):
    path = folder / "samples" / "r01.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    digit = lines[20].rstrip()[-1]
    lines[20] = lines[20].rstrip()[:-1] + ("5" if digit == "0" else "0") + "\n"
    path.write_text("".join(lines), encoding="utf-8")
    departure = first(folder)
    assert (departure.stage, departure.where) == ("input files", "inputs / samples/r01.csv")
    assert any(d.stage == "levels of the runs" for d in reproduce(folder).departures)


def test_changed_setting_is_named(folder):
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('before = "dusty"', 'before = "dusty"  # looked at again'), encoding="utf-8")
    assert first(folder).where == "inputs / trial.toml"


@pytest.mark.parametrize(
    ("change", "stage", "where"),
    [
        (lambda c: c["runs"][0]["level"].update(value=c["runs"][0]["level"]["value"] * (1 + 2e-8)), "levels of the runs", "runs / r01 / level / value"),
        (lambda c: c["units"][1].update(value=6.0), "unit table", "units / K07/1 cleaned / value"),
        (lambda c: c["comparison"].update(observed=0.1), "comparison", "comparison / observed"),
        (lambda c: c["comparison"]["verdict"].update(kind="saves"), "comparison", "comparison / verdict / kind"),
        (lambda c: c["statement"]["sentences"].__setitem__(1, "It saves."), "statement", "statement / sentences / 2"),
        (lambda c: c["settings"]["settling"].update(tolerance=0.5), "settings", "settings / settling / tolerance"),
        (lambda c: c["inputs"].pop("samples/r02.csv"), "input files", "inputs / samples/r02.csv"),
    ],
)  # fmt: skip
def test_an_edited_result_is_named_by_its_stage(folder, change, stage, where):
    edit_sealed(folder, change)
    departure = first(folder)
    assert (departure.stage, departure.where) == (stage, where)


def test_nine_digits_are_the_limit(folder):
    edit_sealed(folder, lambda c: c["runs"][0]["level"].update(value=c["runs"][0]["level"]["value"] * (1 + 1e-10)))
    assert reproduce(folder).agrees


def test_bad_records_are_named(folder):
    path = folder / "results" / "result.json"
    edit_sealed(folder, lambda c: c.update(format=99))
    with pytest.raises(ValueError, match="found format 99; accepted: format 1"):
        reproduce(folder)
    path.write_text("{", encoding="utf-8")
    with pytest.raises(ValueError, match="found a file that is not JSON"):
        reproduce(folder)
    path.unlink()
    with pytest.raises(
        FileNotFoundError, match="found no sealed result; accepted: a folder that `lossstats analyse` has worked on"
    ):
        reproduce(folder)
