"""The result sheet read back: its numbers against the result, nothing from outside, text stays text."""

import re
import struct
from base64 import b64decode
from dataclasses import replace
from functools import cache
from pathlib import Path

import drawn_results as drawn
import pytest
import read_sheet

from lossstats.sheet.sheet import make_page, write_sheet

Sheet, agrees, PIXEL = read_sheet.Sheet, read_sheet.agrees, read_sheet.PIXEL


@cache
def page(name):
    pictures = dict.fromkeys(("saving", "budget", "pairs", "levels", "runs"), PIXEL)
    return make_page(drawn.result(name), pictures)


@cache
def sheet(name):
    return Sheet(page(name))


def test_order_is_a_reviewers_reading():
    assert sheet("paired").headings == [
        "Does a <b>wash</b> pay?",
        "Statement",
        "Scope",
        "What may not be claimed",
        *(["Notes"] if "Notes" in sheet("paired").headings else []),
        "The saving and its interval",
        "What the uncertainty is made of",
        "The values compared",
        "Levels in bench order",
        "Runs",
        "Plan and departures",
        "How much hangs on choices and on single units",
        "Other reasonable choices",
        "Without each unit in turn",
        "How to reproduce this",
        "Settings as declared",
        "Input files",
        "Versions",
        "Cautions for work at the bench",
    ]


def test_claim_comes_first_with_its_interval_and_the_note_above_it():
    found, text = drawn.result("paired"), "".join(sheet("paired").words)
    for sentence in found.statement.sentences:
        assert sentence in text
    assert text.index(found.settings.trial.note) < text.index(found.statement.sentences[0])
    for line in (*found.statement.scope, *found.statement.not_claimed, *found.statement.notes):
        assert line in text


@pytest.mark.parametrize("name", drawn.LAYOUTS)
def test_loads_nothing_and_runs_nothing(name):
    read = sheet(name)
    assert not re.search(r"https?://|//\w|@import|url\(", page(name).split("data:image")[0])
    assert not {"script", "link", "iframe", "object", "base", "form", "a"} & set(read.tags)
    assert all(value.startswith("data:image/png;base64,") for _, key, value in read.attributes if key == "src")
    assert not [key for _, key, _ in read.attributes if key in ("href", "srcset") or key.startswith("on")]


def test_markup_in_names_stays_text():
    found, read = drawn.result("strange"), sheet("strange")
    assert not {"b", "i"} & set(read.tags)
    assert "<i>K01</i> $x$ & $" in "".join(read.words)
    assert f"<h1>{'Does a &lt;b&gt;wash&lt;/b&gt; pay?'}</h1>" in page("strange")
    odd = replace(found, name='x"><img src=y>', inputs={'samples/"><script>.csv': "00"})
    again = Sheet(make_page(odd, dict.fromkeys(("saving", "budget", "pairs", "levels"), PIXEL)))
    assert "script" not in again.tags
    assert {image["src"][:5] for image in again.images} == {"data:"}
    assert 'samples/"><script>.csv' in "".join(again.words)


def test_settings_inputs_and_versions_are_recorded():
    found = replace(
        drawn.result("paired"), inputs={"trial.toml": "ab" * 32, "samples/r01.csv": "cd" * 32}, name="my trial"
    )
    read = Sheet(make_page(found, dict.fromkeys(("saving", "budget", "pairs", "levels"), PIXEL)))
    assert dict(read.tables["SHA-256 of every input file"][1:]) == found.inputs
    assert dict(read.tables["Computed with"][1:]) == found.versions
    assert dict(read.tables["[comparison]"][1:])["difference_that_matters"] == "0.25"
    assert "lossstats reproduce 'my trial'" in "".join(read.words)


def test_every_image_is_described():
    images = sheet("paired").images
    assert len(images) == 5
    assert all(len(image["alt"]) > 20 for image in images)


def test_writes_the_figures_and_the_page_and_nothing_else(tmp_path):
    found = drawn.result("paired")
    inside = tmp_path / "results"
    inside.mkdir()
    where = Path.cwd()
    written = write_sheet(found, inside, traces=drawn.traces(found))
    assert written == inside / "result_sheet.html"
    names = ["budget.png", "levels.png", "pairs.png", "result_sheet.html", "runs.png", "saving.png"]
    assert sorted(p.name for p in inside.iterdir()) == names
    assert list(tmp_path.iterdir()) == [inside] and Path.cwd() == where
    images = Sheet(written.read_text(encoding="utf-8")).images
    embedded = {b64decode(image["src"].partition(",")[2]) for image in images}
    assert embedded == {(inside / name).read_bytes() for name in names if name.endswith(".png")}
    for png in embedded:
        width, height = struct.unpack(">II", png[16:24])
        assert width >= 750 and height >= 300


def test_same_bytes_for_the_same_result(tmp_path):
    found = drawn.result("description")
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        write_sheet(found, tmp_path / name, traces=drawn.traces(found))
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()


def test_many_runs_go_on_in_further_pictures_and_no_traces_mean_no_picture(tmp_path, monkeypatch):
    found = drawn.result("description")
    monkeypatch.setattr("lossstats.figures.figures.RUNS_ON_A_SHEET", 1)
    write_sheet(found, tmp_path, traces=drawn.traces(found))
    assert (tmp_path / "runs_2.png").is_file()
    page = (tmp_path / "result_sheet.html").read_text(encoding="utf-8")
    assert page.count("<figure") == 5  # saving, pairs, levels, and two of runs: a description has no budget
    (tmp_path / "bare").mkdir()
    write_sheet(found, tmp_path / "bare")
    assert not list((tmp_path / "bare").glob("runs*.png"))


def test_missing_folder_is_named(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"nowhere: found no such folder; accepted: an existing folder"):
        write_sheet(drawn.result("description"), tmp_path / "nowhere")


def test_no_state_of_pyplot_is_touched(tmp_path):
    plt = pytest.importorskip("matplotlib.pyplot")
    plt.close("all")
    write_sheet(drawn.result("description"), tmp_path)
    assert not plt.get_fignums()


def test_saving_a_result_writes_the_traces_of_its_own_trial(tmp_path):
    where = drawn.result("description").save(tmp_path)
    assert (where / "runs.png").is_file() and (where / "result_sheet.html").is_file()
    assert "_trial" not in drawn.result("description").to_dict()
