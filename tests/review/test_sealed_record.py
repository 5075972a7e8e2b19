"""result.json of somebody else: read strictly; entries that cannot be recomputed hold nothing but what they may."""

import json

import pytest

from lossstats.conclusion.result import versions
from lossstats.review.sealed_record import name_remark, odd_entries, read_sealed


@pytest.fixture
def path(tmp_path):
    return tmp_path / "result.json"


def content(**more):
    return {"format": 2, "name": "my_trial", "inputs": {}, "versions": versions(), **more}


def test_what_the_kit_writes_is_read(path):
    path.write_text(json.dumps(content(levels=[1.5, 2])), encoding="utf-8")
    assert read_sealed(path) == content(levels=[1.5, 2])
    assert odd_entries(content()) == []


@pytest.mark.parametrize("text", ['{"p": 0.04, "p": 0.4}', '{"runs": [{"level": {"value": 1, "value": 2}}]}'])
def test_a_key_that_stands_twice_is_refused(path, text):
    """A program takes the last one, somebody who reads the file the first."""
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match="found the key '(p|value)' twice; accepted: every key once"):
        read_sealed(path)


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity"])
def test_words_in_place_of_numbers_are_refused(path, word):
    path.write_text(f'{{"format": 2, "p": {word}}}', encoding="utf-8")
    with pytest.raises(ValueError, match=f"found a file that is not JSON \\({word} is no number of JSON"):
        read_sealed(path)


def test_a_number_of_a_thousand_digits_is_read_and_departs(path):
    path.write_text(json.dumps(content())[:-1] + f', "p": 1{"0" * 999}}}', encoding="utf-8")
    assert read_sealed(path)["p"] == float("inf")


@pytest.mark.parametrize(
    "more", [{"name": None}, {"inputs": []}, {"inputs": {"trial.toml": ["ab"]}}, {"versions": {"numpy": {"a": 1}}}]
)
def test_another_kind_of_entry_is_refused(path, more):
    path.write_text(json.dumps(content(**more)), encoding="utf-8")
    (key,) = more
    with pytest.raises(ValueError, match=f"{key}: found .*; accepted: as `lossstats analyse` wrote it"):
        read_sealed(path)


ESCAPED = "turned\u202e \x1b[2J"


@pytest.mark.parametrize(
    ("more", "place", "found"),
    [
        ({"inputs": {"trial.toml": ESCAPED}}, "inputs / trial.toml", r"'turned\\u202e \\x1b\[2J'"),
        ({"inputs": {"samples/\x00.csv": "ab"}}, "inputs", r"the key 'samples/\\x00\.csv'"),
        ({"versions": {"numpy": "\x1b[2J"}}, "versions / numpy", r"'\\x1b\[2J'"),
        ({"\x1b[2J": 1}, "at the top", r"the key '\\x1b\[2J'"),
        ({"settings": {"a": {"\u202e": 1}}}, "settings / a", r"the key '\\u202e'"),
    ],
)
def test_text_that_cannot_be_printed_is_refused_where_it_is_shown(path, more, place, found):
    path.write_text(json.dumps(content(**more)), encoding="utf-8")
    told = rf"result\.json, key {place}: found {found}; accepted: characters that can be printed, on one line$"
    with pytest.raises(ValueError, match=told) as caught:
        read_sealed(path)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize("more", [{"statement": {"verdict": "a\ud800"}}, {"statement": {"verdict": ["b", "a\ud800"]}}])
def test_half_a_character_is_refused_anywhere(path, more):
    """JSON can escape one (RFC 8259, 8.2), no UTF-8 holds it."""
    path.write_text(json.dumps(content(**more)), encoding="utf-8")
    told = r"key statement / verdict: found half a character in 'a\\ud800'; accepted: text in UTF-8"
    with pytest.raises(ValueError, match=told):
        read_sealed(path)


@pytest.mark.parametrize("depth", [600, 950, 10_000])
def test_brackets_too_deep_are_told(path, depth):
    path.write_text(json.dumps(content())[:-1] + f', "z": {"[" * depth}{"]" * depth}}}', encoding="utf-8")
    try:
        read_sealed(path)
    except ValueError as error:
        assert "result.json" in str(error)  # noqa: PT017 - how deep is too deep hangs on the interpreter
    else:
        assert depth < 10_000


def test_lines_in_texts_that_the_kit_writes_are_read(path):
    path.write_text(json.dumps(content(notes=["one\ntwo"])), encoding="utf-8")
    assert read_sealed(path)["notes"] == ["one\ntwo"]


@pytest.mark.parametrize("name", ["samples/" + "x" * 256, "samples/" + "x/" * 600])
def test_a_name_longer_than_a_file_can_have_is_refused(path, name):
    path.write_text(json.dumps(content(inputs={name: "ab"})), encoding="utf-8")
    with pytest.raises(ValueError, match=f"key inputs: found 'samples/x.*, of {len(name)} characters; accepted: names"):
        read_sealed(path)


def test_entries_of_versions_that_are_none():
    found = odd_entries(content(versions={**versions(), "Independent audit": "passed"}))
    assert [(d.stage, d.where, d.sealed) for d in found] == [("record", "versions / Independent audit", "'passed'")]
    found = odd_entries(content(versions={**versions(), "numpy": "2.4, audited by an independent body"}))
    assert [(d.where, d.found) for d in found] == [("versions / numpy", "no version")]
    found = odd_entries(content(versions={k: v for k, v in versions().items() if k != "scipy"}))
    assert [(d.where, d.found) for d in found] == [("versions / scipy", "a version is always stated")]


@pytest.mark.parametrize(
    "version", ["3.13.0rc1", "3.13.0+", "2.4.6", "0.1.dev3", "1.17.0.post1", "2026.1", "2.0.0b2+mkl"]
)
def test_versions_as_packages_have_them(version):
    assert odd_entries(content(versions={**versions(), "numpy": version})) == []


@pytest.mark.parametrize("name", ["a/b", "two\nlines", "x" * 256, "turned\u202eround"])
def test_a_name_that_no_folder_has(name):
    assert [(d.stage, d.where) for d in odd_entries(content(name=name))] == [("record", "name")]


def test_another_name_than_the_folder_has_is_said():
    assert name_remark("trial", "trial") == name_remark("", "trial") == ()
    (remark,) = name_remark("belt, all belts save 45 %, certified", "trial")
    assert remark == (
        "sealed under the name 'belt, all belts save 45 %, certified', found under 'trial'; a name is no finding"
    )
