"""Forged pictures: painted over, exchanged, moved to another place, animated."""

import io
import re
import shutil
import struct
import zlib
from base64 import b64encode
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread, imsave

from lossstats.conclusion.analysis import analyse
from lossstats.review.sheet_differences import ROUGHLY, drawn_alike, picture_difference, sheet_differences
from lossstats.sheet.sheet import PAGE, draw_pictures
from lossstats.simulator.examples import example_trial
from lossstats.trial_folder.trial import write_trial


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sealed") / "trial"
    write_trial(example_trial("one_chain"), folder)
    result = analyse(folder)
    result.save(folder)
    return folder / "results", result


@pytest.fixture
def results(sealed, tmp_path):
    return Path(shutil.copytree(sealed[0], tmp_path / "results"))


@pytest.fixture(scope="module")
def saving(sealed):
    return (sealed[0] / "saving.png").read_bytes()


def record(result, **versions):
    return {"name": result.name, "versions": {**result.versions, **versions}}


def as_png(points):
    file = io.BytesIO()
    imsave(file, points, format="png", metadata={"Software": None})
    return file.getvalue()


def points_of(png):
    return np.array(imread(io.BytesIO(png), format="png"))


def put_on_both(results, name, png):
    """The forger exchanges the file and the picture on the page alike."""
    page, path = results / PAGE, results / f"{name}.png"
    old, new = (b64encode(data).decode() for data in (path.read_bytes(), png))
    text = page.read_text(encoding="utf-8")
    assert old in text
    page.write_text(text.replace(old, new), encoding="utf-8")
    path.write_bytes(png)


def test_the_sheet_as_it_was_written(sealed, results):
    assert sheet_differences(results, sealed[1], record(sealed[1])) == (5, [])


def test_a_forged_picture_on_the_page_and_beside_it(sealed, results, saving):
    forged = points_of(saving)
    forged[100:112, 100:112, :3] = 0.0
    put_on_both(results, "saving", as_png(forged))
    _, found = sheet_differences(results, sealed[1], record(sealed[1]))
    assert [d.where for d in found] == [f"{PAGE}, picture 1", "saving.png"]
    assert all(re.fullmatch(r"drawn again, other at \d+ points", d.found) for d in found)


def test_a_picture_of_a_better_result(sealed, results):
    """Drawn by the kit itself, of a saving that is half as large again."""
    result = sealed[1]
    comparison = replace(result.comparison, observed=1.5 * result.comparison.observed, after_mean=5.0)
    forged = draw_pictures(replace(result, comparison=comparison))
    changed = [name for name in ("saving", "pairs") if forged[name] != (results / f"{name}.png").read_bytes()]
    assert changed
    for name in changed:
        put_on_both(results, name, forged[name])
    _, found = sheet_differences(results, result, record(result))
    assert {f"{name}.png" for name in changed} <= {d.where for d in found}


def test_roughly_a_saving_half_as_large_again_is_seen():
    result = analyse(example_trial("two_shafts"))
    saving = result.comparison.difference
    larger = replace(saving, value=1.5 * saving.value, low=1.5 * saving.low, high=1.5 * saving.high)
    forged = replace(result, comparison=replace(result.comparison, difference=larger))
    one, other = (draw_pictures(it)["saving"] for it in (forged, result))
    assert "squares" in picture_difference(one, other, exact=False)


def test_with_other_versions_the_same_picture_passes(sealed, results):
    result = sealed[1]
    page = results / PAGE
    text = page.read_text(encoding="utf-8")
    page.write_text(text.replace(f">{result.versions['matplotlib']}<", ">3.99.0<"), encoding="utf-8")
    assert drawn_alike(result.versions) and not drawn_alike(record(result, matplotlib="3.99.0")["versions"])
    assert sheet_differences(results, result, record(result, matplotlib="3.99.0"))[1] == []


def test_pictures_that_changed_places(sealed, results):
    page = results / PAGE
    text = page.read_text(encoding="utf-8")
    one, other = (b64encode((results / f"{name}.png").read_bytes()).decode() for name in ("saving", "levels"))
    page.write_text(text.replace(one, "\0").replace(other, one).replace("\0", other), encoding="utf-8")
    _, found = sheet_differences(results, sealed[1], record(sealed[1]))
    assert len(found) == 2 and all("picture" in d.where for d in found)


def test_a_picture_that_is_lost(sealed, results):
    (results / "saving.png").unlink()
    _, found = sheet_differences(results, sealed[1], record(sealed[1]))
    assert [(d.where, d.found) for d in found] == [("saving.png", "no such file")]


def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def test_a_picture_that_shows_more_than_its_first_frame(saving):
    """Browsers play an animation, readers of plain PNG see its first frame; a profile changes every colour."""
    for kind in (b"acTL", b"iCCP", b"tEXt"):
        assert "of another size or kind" in picture_difference(
            saving[:33] + chunk(kind, b"0" * 8) + saving[33:], saving, exact=True
        )
    assert "of another size or kind" in picture_difference(saving + b"more", saving, exact=True)


def test_what_is_no_picture(saving):
    for data in (b"", b"GIF89a", saving[:60], saving[:-1]):
        assert "of another size or kind" in picture_difference(data, saving, exact=True)
    spoilt = bytearray(saving)
    spoilt[len(saving) // 2] ^= 255
    assert picture_difference(bytes(spoilt), saving, exact=True)


def test_written_anew_with_the_same_points(saving):
    """Another compression, and a rounding by one step of 255, are no other picture."""
    points = points_of(saving)
    anew = as_png(points)
    assert anew != saving and picture_difference(anew, saving, exact=True) == ""
    rounded = np.clip(points + 1 / 255, 0, 1)
    assert picture_difference(as_png(rounded), saving, exact=True) == ""


def lettered(text, shift=0.0, bar=(0.2, 0.5)):
    figure = Figure(figsize=(6, 2))
    axes = figure.add_axes((0.1, 0.2, 0.8, 0.7))
    axes.text(0.1 + shift, 0.8, text)
    axes.plot(bar, [0.4, 0.4], lw=3)
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    file = io.BytesIO()
    figure.savefig(file, format="png", dpi=150, metadata={"Software": None})
    return file.getvalue()


def test_roughly_lettering_may_move_a_point_and_a_bar_may_not():
    kept = lettered("saving 0.45 W, 0.30 to 0.60 W")
    moved = lettered("saving 0.45 W, 0.30 to 0.60 W", shift=1 / 720)
    assert picture_difference(moved, kept, exact=True)
    assert picture_difference(moved, kept, exact=False) == ""
    assert "squares" in picture_difference(lettered("saving 0.45 W, 0.30 to 0.60 W", bar=(0.4, 0.7)), kept, exact=False)
    # Another word is not seen roughly: the remark says so.
    other_word = lettered("all belts save 45 %, certified")
    assert picture_difference(other_word, kept, exact=False) == "" != picture_difference(other_word, kept, exact=True)
    assert "another word may not be" in ROUGHLY


def test_a_page_with_a_picture_more(sealed, results):
    page = results / PAGE
    text = page.read_text(encoding="utf-8")
    figure = re.search(r"<figure.*?</figure>", text, re.S)[0]
    page.write_text(text.replace(figure, figure * 2, 1), encoding="utf-8")
    _, found = sheet_differences(results, sealed[1], record(sealed[1]))
    n = text.count("<figure")
    assert any((d.sealed, d.found) == (f"{n + 1} pictures", f"{n} pictures") for d in found)
