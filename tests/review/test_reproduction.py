"""The reviewer's run: agrees on an untouched folder, names file or stage on a touched one."""

import hashlib
import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.review.reproduction import changed_inputs, reproduce
from lossstats.sheet.sheet import draw_pictures, make_page
from lossstats.simulator.examples import example_trial
from lossstats.trial_folder.trial import write_trial

EXAMPLES = Path(__file__).parents[2] / "example_runs"


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


def change_digit(path):
    """Last digit of one sample."""
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    digit = lines[20].rstrip()[-1]
    lines[20] = lines[20].rstrip()[:-1] + ("5" if digit == "0" else "0") + "\n"
    path.write_text("".join(lines), encoding="utf-8")


def test_untouched_agrees(folder):
    reproduction = reproduce(folder)
    assert reproduction.agrees
    assert reproduction.files == 4
    assert reproduction.numbers > 100
    assert reproduction.differences.empty
    assert "4 input files by SHA-256" in str(reproduction)


@pytest.mark.parametrize("name", sorted(p.parent.name for p in EXAMPLES.glob("*/results")))
def test_committed_results_are_found_again(name, tmp_path):
    """The stored results were made with one set of library versions; others must agree to 9 digits."""
    assert reproduce(shutil.copytree(EXAMPLES / name, tmp_path / name)).agrees


def test_one_changed_digit_in_one_sample_is_named(folder):
    path = folder / "samples" / "r01.csv"
    change_digit(path)
    departure = first(folder)
    assert (departure.stage, departure.where) == ("input bytes", "samples/r01.csv")
    assert any(d.stage == "level" for d in reproduce(folder).departures)


def test_changed_setting_is_named(folder):
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('before = "dusty"', 'before = "dusty"  # looked at again'), encoding="utf-8")
    assert first(folder).where == "trial.toml"


def test_exchanged_files_are_named(folder):
    one, other = folder / "samples" / "r01.csv", folder / "samples" / "r02.csv"
    kept = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(kept)
    found = reproduce(folder).departures
    assert [(d.stage, d.where, d.found) for d in found[:2]] == [
        ("input bytes", "samples/r01.csv", "what was sealed as samples/r02.csv"),
        ("input bytes", "samples/r02.csv", "what was sealed as samples/r01.csv"),
    ]


def test_a_dropped_run_is_named(folder):
    (folder / "samples" / "r02.csv").unlink()
    found = reproduce(folder).departures
    assert (found[0].where, found[0].found) == ("samples/r02.csv", "no such file")
    sheet = folder / "run_sheet.csv"
    sheet.write_text(
        "".join(line for line in sheet.read_text(encoding="utf-8").splitlines(keepends=True) if "r02" not in line),
        encoding="utf-8",
    )
    assert {d.where for d in reproduce(folder).departures if d.stage == "input bytes"} >= {
        "samples/r02.csv",
        "run_sheet.csv",
    }


def test_number_and_hash_edited_together_are_found(folder):
    """Whoever edits a sample, its hash and the level behind it still has every later number against him."""
    path = folder / "samples" / "r01.csv"
    change_digit(path)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    level = analyse(folder).runs[0].level.to_dict()

    def change(content):
        content["inputs"]["samples/r01.csv"] = digest
        content["runs"][0]["level"] = level

    edit_sealed(folder, change)
    found = reproduce(folder)
    assert found.first_stage not in ("", "input bytes")


def test_every_flipped_byte_of_the_inputs_is_found(sealed):
    """200 random places over all input files, one bit of each."""
    files = json.loads((sealed / "results" / "result.json").read_text(encoding="utf-8"))["inputs"]
    sizes = {name: (sealed / name).stat().st_size for name in files}
    rng = np.random.default_rng(1)
    ends = np.cumsum(list(sizes.values()))
    for position in rng.choice(int(ends[-1]), 200, replace=False).tolist():
        which = int(np.searchsorted(ends, position, side="right"))
        name = list(sizes)[which]
        place = position - int(ends[which]) + sizes[name]
        path = sealed / name
        kept = path.read_bytes()
        flipped = bytearray(kept)
        flipped[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(flipped)
        try:
            assert [d.where for d in changed_inputs(sealed, files)] == [name]
        finally:
            path.write_bytes(kept)
    assert not changed_inputs(sealed, files)


def test_a_byte_that_breaks_a_file_is_a_departure_and_no_crash(folder):
    path = folder / "trial.toml"
    path.write_bytes(path.read_bytes().replace(b"[trial]", b"(trial]"))
    found = reproduce(folder)
    assert [d.stage for d in found.departures] == ["input bytes", "input bytes"]
    assert "trial.toml, line" in found.departures[1].found


def test_names_that_lead_elsewhere_are_not_read(folder):
    edit_sealed(folder, lambda c: c["inputs"].update({"../secret.csv": "0" * 64}))
    (folder.parent / "secret.csv").write_text("x", encoding="utf-8")
    departure = first(folder)
    assert (departure.where, departure.found) == ("../secret.csv", "no such file")


@pytest.mark.parametrize(
    ("old", "new"), [(" W", " kW"), ("</h1>", "!</h1>"), ("May not", "May"), ("data:image/png;base64,iVBOR", "data:image/png;base64,iVBOS")]
)  # fmt: skip
def test_a_sheet_that_does_not_match_its_result_is_found(folder, old, new):
    path = folder / "results" / "result_sheet.html"
    page = path.read_text(encoding="utf-8")
    path.write_text(page.replace(old, new, 1) if old in page else page.replace("<h2>", "<h2>x", 1), encoding="utf-8")
    departure = first(folder)
    assert departure.stage == "result sheet" and departure.where.startswith("result_sheet.html, ")


def test_machine_readable(folder):
    edit_sealed(folder, lambda c: c["comparison"].update(observed=c["comparison"]["observed"] * 1.5))
    told = json.loads(reproduce(folder).to_json())
    assert (told["agrees"], told["first_stage"]) == (False, "comparison")
    assert told["departures"][0]["by"] == pytest.approx(1 / 3)
    assert set(told["versions"]) >= {"python", "numpy", "scipy", "lossstats"}


def test_other_versions_are_named_and_no_departure(folder):
    page = folder / "results" / "result_sheet.html"
    page.write_text(
        page.read_text(encoding="utf-8").replace(f"<td>{np.__version__}</td>", "<td>1.0</td>"), encoding="utf-8"
    )
    edit_sealed(folder, lambda c: c["versions"].update(numpy="1.0"))
    found = reproduce(folder)
    assert found.agrees and "(sealed with 1.0)" in str(found)


@pytest.mark.parametrize(
    ("change", "stage", "where"),
    [
        (lambda c: c["runs"][0]["level"].update(value=c["runs"][0]["level"]["value"] * (1 + 2e-8)), "level", "runs / r01 / level / value"),
        (lambda c: c["units"][1].update(value=6.0), "unit table", "units / K07/1 cleaned / value"),
        (lambda c: c["comparison"].update(observed=0.1), "comparison", "comparison / observed"),
        (lambda c: c["comparison"]["verdict"].update(kind="saves"), "verdict", "comparison / verdict / kind"),
        (lambda c: c["statement"]["sentences"].__setitem__(1, "It saves."), "verdict", "statement / sentences / 2"),
        (lambda c: c["runs"][0]["settled"].update(status="undecided"), "window", "runs / r01 / settled / status"),
        (lambda c: c["runs"][0]["screening"].update(spikes=[3]), "screening", "runs / r01 / screening / spikes / 1"),
        (lambda c: c["drift"].update(origin_uncertainty=1.0), "drift", "drift / origin_uncertainty"),
        (lambda c: c["settings"]["settling"].update(tolerance=0.5), "settings", "settings / settling / tolerance"),
        (lambda c: c["inputs"].pop("samples/r02.csv"), "input bytes", "samples/r02.csv"),
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
    with pytest.raises(ValueError, match="found format 99; accepted: format 2. An older record"):
        reproduce(folder)
    path.write_text("{", encoding="utf-8")
    with pytest.raises(ValueError, match="found a file that is not JSON"):
        reproduce(folder)
    path.unlink()
    with pytest.raises(
        FileNotFoundError, match="found no sealed result; accepted: a folder that `lossstats analyse` has worked on"
    ):
        reproduce(folder)


def test_without_the_choices_the_rest_is_held_all_the_same(folder):
    assert reproduce(folder, choices=False).agrees
    edit_sealed(folder, lambda c: c["comparison"].update(observed=0.1))
    found = reproduce(folder, choices=False)
    assert found.first_stage == "comparison" and found.first_number.where == "comparison / observed"


def test_words_alone_move_no_number(folder):
    edit_sealed(folder, lambda c: c["statement"]["sentences"].__setitem__(0, "It saves."))
    assert reproduce(folder).first_number is None


FORGERIES = {
    "a second unit before the true one": lambda c: c["units"].insert(0, {**c["units"][0], "value": 99.0}),
    "a second run": lambda c: c["runs"].insert(0, {**c["runs"][0], "used": False}),
    "runs in another order": lambda c: c["runs"].reverse(),
    "a headline of its own": lambda c: c.update(headline={"saving_percent": 38, "claim": "all belts"}),
    "an empty entry": lambda c: c.update(claims={}),
    "an empty list": lambda c: c["statement"].update(certified=[]),
    "settings not sealed": lambda c: c["inputs"].pop("trial.toml"),
    "run sheet not sealed": lambda c: c["inputs"].pop("run_sheet.csv"),
    "words as a version": lambda c: c["versions"].update(numpy="2.4 audited"),
    "an audit among the versions": lambda c: c["versions"].update({"Independent audit": "passed"}),
    "a name of two lines": lambda c: c.update(name="trial\ncertified"),
}


@pytest.mark.parametrize("forgery", FORGERIES)
@pytest.mark.parametrize("choices", [True, False])
def test_everything_in_the_record_is_accounted_for(folder, forgery, choices):
    """Name and versions are put on the sheet alike, so that it gives nothing away."""
    edit_sealed(folder, FORGERIES[forgery])
    page, record = (folder / "results" / name for name in ("result_sheet.html", "result.json"))
    content = json.loads(record.read_text(encoding="utf-8"))
    like = replace(analyse(folder), name=content["name"], versions=content["versions"])
    page.write_text(make_page(like, draw_pictures(like, traces(like))), encoding="utf-8")
    found = reproduce(folder, choices=choices)
    assert not found.agrees
    assert all(d.stage != "result sheet" for d in found.departures)


def traces(result):
    return {run.name: (run.time_s, run.values) for run in result._trial.runs}


def test_a_plan_taken_out_of_the_inputs_is_found(folder):
    (folder / "plan.json").write_text("{}", encoding="utf-8")
    departure = first(folder)
    assert (departure.stage, departure.where, departure.found) == ("input bytes", "plan.json", "a file")


def test_a_number_that_stands_twice_in_the_record_is_refused(folder):
    path = folder / "results" / "result.json"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"observed": ', '"observed": 2.5, "observed": ', 1), encoding="utf-8")
    with pytest.raises(ValueError, match="found the key 'observed' twice; accepted: every key once"):
        reproduce(folder)


def test_another_name_of_the_trial_is_said(folder):
    """A folder may be renamed: no departure, but the name stands on the sheet."""
    name = "belt, all belts save 45 %, certified"
    edit_sealed(folder, lambda c: c.update(name=name))
    result = replace(analyse(folder), name=name)
    page = folder / "results" / "result_sheet.html"
    page.write_text(make_page(result, draw_pictures(result, traces(result))), encoding="utf-8")
    found = reproduce(folder)
    told = f"sealed under the name '{name}', found under 'trial'; a name is no finding"
    assert found.agrees and told in " ".join(str(found).split())
    assert name in json.loads(found.to_json())["remarks"][0]


def test_with_another_matplotlib_the_rough_comparison_of_pictures_is_said(folder):
    page = folder / "results" / "result_sheet.html"
    here = json.loads((folder / "results" / "result.json").read_text(encoding="utf-8"))["versions"]["matplotlib"]
    page.write_text(page.read_text(encoding="utf-8").replace(f"<td>{here}</td>", "<td>3.99</td>"), encoding="utf-8")
    edit_sealed(folder, lambda c: c["versions"].update(matplotlib="3.99"))
    found = reproduce(folder)
    assert found.agrees and [r[:43] for r in found.remarks] == ["pictures could only be compared roughly, by"]


def test_what_was_not_checked_stands_in_the_outcome(folder):
    (folder / "results" / "result_sheet.pdf").write_bytes(b"%PDF-1.4 all belts save 45 %")
    found = reproduce(folder)
    assert found.agrees and found.pictures == 5
    assert "result_sheet.pdf: a print cannot be compared" in str(found)
    assert json.loads(found.to_json())["not_checked"] == list(found.not_checked)
    assert "left out as asked" in str(reproduce(folder, choices=False))
