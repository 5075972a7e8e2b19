"""Keys of TOML tables. Evidence: the ends of every range as documented; lines counted by hand."""

from __future__ import annotations

import pytest

from lossstats.trial_folder.trial_toml import read_settings

SHORT = '[trial]\nquestion = "Does it pay?"\n[comparison]\nbefore = "old"\nafter = "new"\ndesign = "paired"\nrepeatability_source = "checks of March"\n'


def taken(text: str) -> None:
    assert read_settings(text.encode())[1] == []


def refused(text: str) -> list[str]:
    return [str(fault) for fault in read_settings(text.encode())[1]]


RANGES = [
    ("[comparison]", "confidence", ["0.5", "0.999"], ["0.49", "1.0", "nan", "inf", '"0.95"']),
    ("[comparison]", "difference_that_matters", ["1e-9", "3"], ["0", "-1", "inf", "nan", "[]"]),
    ("[comparison]", "repeatability", ["0.02"], ["0.0", "-0.02"]),
    ("[readings]", "resolution", ["0", "0.5"], ["-0.1", "inf"]),
    ("[readings]", "jitter", ["0", "1"], ["-0.1", "1.1"]),
    ("[readings]", "interval_s", ["[]", "[1]"], ["[0]", "[inf]", '["1"]', "1"]),
    ("[log]", "rows_before_header", ["0", "1000"], ["-1", "1001", "1.0", "true"]),
    ("[log]", "unit_row", ["true"], ["1", '"true"']),
    ("[log]", "ignore", ["[]", '["a"]'], ['[""]', "[1]", '"a"']),
    ("[instrument]", "gain", ["0", "0.2"], ["0.21", "-0.001"]),
    ("[instrument]", "gain_dof", ["inf", "0.5"], ["0", "-inf", "nan"]),
    ("[settling]", "tolerance", ["0.001"], ["0", "-0.05"]),
    ("[settling]", "final_window", ["0.1", "0.9"], ["0.09", "0.91"]),
    ("[settling]", "still_moving", ['"use with a note"'], ['"use"', "1"]),
    ("[drift]", "breaks", ['["2031-03-03T12:00:00Z"]'], ['["2031-03-03"]', "[2031-03-03T12:00:00Z]"]),
]


@pytest.mark.parametrize(
    ("table", "key", "good", "bad"), RANGES, ids=lambda value: value if isinstance(value, str) else ""
)
def test_the_ends_of_every_range(table: str, key: str, good: list[str], bad: list[str]) -> None:
    text = SHORT if table == "[comparison]" else SHORT + table + "\n"
    line = len(text.split("\n"))
    for value in good:
        taken(text + f"{key} = {value}\n")
    for value in bad:
        told = refused(text + f"{key} = {value}\n")
        assert len(told) == 1
        assert told[0].startswith(f"trial.toml, line {line}, key {table[1:-1]}.{key}: found ")


def test_every_fault_at_its_line() -> None:
    text = (
        '[trial]\nquestion = "?"\nunits = "W"\n\n[comparison]\nbefore = "a"\nafter = "b"\ndesign = "paird"\n'
        "[log]\nvalue.column = 3\nother.p = {colum = 'P'}\n"
    )
    assert [told.partition("; accepted")[0] for told in refused(text)] == [
        "trial.toml, line 3, key trial.units: found the unknown key 'units'",
        "trial.toml, line 8, key comparison.design: found the text 'paird'",
        "trial.toml, line 10, key log.value.column: found the number 3",
        "trial.toml, line 11, key log.other.p.colum: found the unknown key 'colum'",
        "trial.toml, line 11, key log.other.p.column: found no such key",
    ]


def test_unknown_keys_come_with_the_nearest_known_ones() -> None:
    assert (
        "accepted: unit (or question, measurand, better, note)"
        in refused(SHORT.replace("[comp", 'units = "W"\n[comp'))[0]
    )
    assert "accepted: before, after, design" in refused(SHORT + "zzz = 1\n")[0]


@pytest.mark.parametrize("odd", ["\\u001b[2J", "\\u202e", "\\n", "\\t", "\u202e", "\u2066"])
@pytest.mark.parametrize(
    ("table", "key"),
    [("trial", "unit"), ("trial", "measurand"), ("trial", "note"), ("scope", "bench"), ("log", "value.column")],
)
def test_text_that_cannot_be_printed_on_one_line_is_refused(table: str, key: str, odd: str) -> None:
    head = SHORT if table == "trial" else f"{SHORT}[{table}]\n"
    text = head.replace("[comp", f'{key} = "a{odd}b"\n[comp') if table == "trial" else f'{head}{key} = "a{odd}b"\n'
    (told,) = refused(text)
    shown = odd.replace("u001b", "x1b") if odd.isascii() else repr(odd)[1:-1]
    assert f"key {table}.{key}: found the text 'a{shown}b'; accepted: text in characters that can be printed" in told
    assert told.isprintable()


def test_names_that_cannot_be_printed_are_refused() -> None:
    told = refused(SHORT.replace('"old"', '"o\\u202eld"').replace('"Does it pay?"', '"""\nDoes it\npay?"""'))
    assert [text.partition("; accepted")[0].partition("key ")[2] for text in told] == [
        r"trial.question: found the text 'Does it\npay?'",
        r"comparison.before: found the text 'o\u202eld'",
    ]
    told = refused(SHORT + 'controls = ["a", "b\\u001b"]\n')
    assert r"found the text 'b\x1b' in the list; accepted: text in characters that can be printed" in told[0]
    told = refused(SHORT + '[log.other."a\\u001b"]\ncolumn = "P"\n')
    assert len(told) == 1 and told[0].isprintable()
    assert r"found the name 'a\x1b'" in told[0]
