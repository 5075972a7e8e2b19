"""The methods page: it names what exists, says of every method the same four things, and quotes what was measured."""

from __future__ import annotations

import csv
import importlib
import re
from collections import defaultdict
from pathlib import Path

import pytest

import lossstats

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "lossstats" / "methods.md"
TEXT = PAGE.read_text(encoding="utf-8")
LABELS = ["Source", "Default", "Promise", "Not for"]
SECTIONS = dict(re.findall(r"(?ms)^## (.+?)\n(.*?)(?=^## |\Z)", TEXT))
_FOUND = re.findall(r"(?ms)^### `(.+?)`\n(.*?)(?=^##|\Z)", TEXT)
METHODS = dict(_FOUND)
# The words of the project; each has its row.
WORDS = """sample, run, mount, article, unit of replication, condition, reference article, zero run, level, drift, saving,
standard uncertainty, Type A, Type B, coverage factor, coverage interval, degrees of freedom, budget, repeatability,
reproducibility, difference that matters"""
SHAPES = (("normal", "1"), ("skewed", "1"), ("heavy", "1"), ("normal", "4"), ("skewed", "4"))


def rows(section: str) -> list[list[str]]:
    """Cells of the table of a section, without its head."""
    lines = [line for line in SECTIONS[section].splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines[2:]]


def found(name: str) -> object:
    module, _, attribute = name.rpartition(".")
    return getattr(importlib.import_module(module), attribute)


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`(lossstats(?:\.[a-z]\w*)+)`", TEXT))))
def test_what_the_page_names_exists(name: str) -> None:
    assert callable(found(name))


@pytest.mark.parametrize("name", lossstats.__all__)
def test_every_public_name_is_on_the_page(name: str) -> None:
    assert re.search(rf"`(lossstats\.)?(\w+\.)*{name}`", TEXT), f"{name} is public and not on the methods page"


@pytest.mark.parametrize("name", METHODS)
def test_every_method_has_source_default_promise_and_limit(name: str) -> None:
    assert re.findall(r"(?m)^- \*\*(.+?):\*\* \S", METHODS[name]) == LABELS


def test_there_are_methods_for_every_step() -> None:
    assert len(METHODS) >= 40
    assert len(_FOUND) == len(METHODS)


@pytest.mark.parametrize("target", re.findall(r"\]\((.+?)\)", TEXT))
def test_links_lead_somewhere(target: str) -> None:
    place, _, anchor = target.partition("#")
    assert not place.startswith("http")
    text = (PAGE.parent / place).read_text(encoding="utf-8") if place else TEXT
    headings = [re.sub(r"[^\w -]", "", line.lstrip("# ")).lower().replace(" ", "-") for line in text.splitlines()]
    assert not anchor or anchor in headings


@pytest.mark.parametrize("path", sorted(set(re.findall(r"`((?:tests|example_runs)/[\w/.]+)`", TEXT))))
def test_paths_exist(path: str) -> None:
    assert (ROOT / path).exists()


def test_coverage_is_what_was_measured() -> None:
    measured: dict[tuple[str, ...], list[float]] = defaultdict(list)
    with (ROOT / "tests" / "promises" / "measured.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["quantity"] == "coverage":
                measured[row["method"], row["design"], row["shape"], row["sd_ratio"]].append(100 * float(row["value"]))
    quoted = rows("Coverage measured")
    assert sorted({key[:2] for key in measured}) == sorted((row[0], row[1]) for row in quoted)
    for method, design, *cells in quoted:
        for cell, shape in zip(cells, SHAPES, strict=True):
            ends = [measured[method, design, *shape]] if (method, design, *shape) in measured else []
            numbers = [f"{end(values):.1f}" for values in ends for end in (min, max)]
            assert cell == (" to ".join(dict.fromkeys(numbers)) or "–"), (method, design, shape)


@pytest.mark.parametrize("word", [" ".join(word.split()) for word in WORDS.split(",")])
def test_every_word_has_a_meaning_and_a_source(word: str) -> None:
    (row,) = (row for row in rows("Words") if row[0] == word)
    assert len(row) == 3
    assert all(row)


def test_what_is_written_by_hand_names_modules_and_a_reason() -> None:
    package = {path.stem for path in PAGE.parent.rglob("*.py")}
    named = []
    for what, modules, why in rows("Written by hand"):
        assert what
        assert why
        named += re.findall(r"`(\w+)`", modules)
    assert set(named) <= package, sorted(set(named) - package)
    assert len(named) == len(set(named))
