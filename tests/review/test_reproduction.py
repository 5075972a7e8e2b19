"""The reviewer's run: agrees on an untouched folder, names file or stage on a touched one."""

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.review.reproduction import changed_inputs, reproduce
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
