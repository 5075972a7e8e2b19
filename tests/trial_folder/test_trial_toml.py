"""trial.toml. Evidence: what is written reads back the same; tomllib as the reference for the written text."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from lossstats.trial_folder.settings import (
    Column,
    ComparisonKeys,
    DriftKeys,
    InstrumentKeys,
    LogKeys,
    OperatingPoint,
    ReadingsKeys,
    Settings,
    SettlingKeys,
    TrialKeys,
)
from lossstats.trial_folder.trial_toml import kit_form, read_settings, settings_text, written

SHORT = '[trial]\nquestion = "Does it pay?"\n[comparison]\nbefore = "old"\nafter = "new"\ndesign = "paired"\n'


def taken(text: str) -> Settings:
    settings, faults = read_settings(text.encode())
    assert settings is not None
    assert faults == []
    return settings


def refused(text: str) -> list[str]:
    faults = read_settings(text.encode())[1]
    assert faults
    return [str(fault) for fault in faults]


def test_defaults_stand_where_nothing_is_said() -> None:
    assert taken(SHORT) == Settings(TrialKeys("Does it pay?"), ComparisonKeys("old", "new", "paired"))


def test_every_kind_of_key() -> None:
    settings = taken(
        SHORT.replace('"paired"', '"controls"\ncontrols = ["K08", "K09"]\ndifference_that_matters = 1')
        + "[readings]\ninterval_s = [0.5, 1]\n[instrument]\ngain = 5e-3\ngain_dof = 12\nzero_dof = inf\n"
        + '[log]\nseparator = "semicolon"\ndecimal = ","\nunit_row = true\nrows_before_header = 3\n'
        + 'time = {column = "t", factor = 60}\n[log.other]\npower_W = {column = "P 1"}\n'
        + "[operating_point.power_W]\nnominal = 280\ntolerance = 3\n"
        + '[drift]\nbreaks = ["2031-03-03T12:00:00+01:00"]\n'
    )
    assert settings.comparison.controls == ("K08", "K09")
    assert settings.comparison.difference_that_matters == 1.0
    assert isinstance(settings.comparison.difference_that_matters, float)
    assert settings.readings.interval_s == (0.5, 1.0)
    assert (settings.instrument.gain, settings.instrument.gain_dof, settings.instrument.zero_dof) == (
        0.005,
        12,
        math.inf,
    )
    assert (settings.log.unit_row, settings.log.rows_before_header) == (True, 3)
    assert settings.log.time == Column("t", 60.0)
    assert settings.log.other == {"power_W": Column("P 1")}
    assert settings.operating_point == {"power_W": OperatingPoint(280.0, 3.0)}
    assert settings.drift.breaks == ("2031-03-03T12:00:00+01:00",)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("[trial\n", "line 1, column 7"),
        ('[trial]\nquestion = "a\n', "line 2, column 14"),
        ("[trial]\n[trial]\n", "line 2, column 7"),
        ('[trial]\nquestion = """a\n', "line 2"),
    ],
)
def test_syntax_at_line_and_column(text: str, place: str) -> None:
    settings, faults = read_settings(text.encode())
    assert settings is None
    assert str(faults[0]).startswith(f"trial.toml, {place}: found ")
    assert "a line of TOML 1.0" in faults[0].accepted


def test_other_text_than_utf_8() -> None:
    assert refused("\ufeff" + SHORT)[0].startswith("trial.toml, line 1: found a byte-order mark")
    told = read_settings(SHORT.encode() + b'note = "\xe4"\n')[1]
    assert str(told[0]) == "trial.toml, line 7: found the byte 0xe4; accepted: text in UTF-8"


FULL = Settings(
    TrialKeys('Does „it“ pay? \\ "yes"', note="made up"),
    ComparisonKeys("old", "new", "controls", controls=("K08",), difference_that_matters=0.25, confidence=0.9),
    readings=ReadingsKeys(0.005, (0.5, 1.0), 0.1),
    log=LogKeys(
        separator="semicolon",
        decimal=",",
        encoding="latin-1",
        blanks="strip",
        decimals="free",
        rows_before_header=2,
        unit_row=True,
        time=Column("Zeit", 60.0),
        value=Column("Verlust (mW)", 1e-3),
        other={"power_W": Column("P 1")},
        ignore=("x", "y"),
    ),
    instrument=InstrumentKeys(gain=1e-05, gain_dof=8.0),
    settling=SettlingKeys(0.02, 0.5, "leave out"),
    drift=DriftKeys("ignore", breaks=("2031-03-03T12:00:00+01:00",)),
    operating_point={"power_W": OperatingPoint(280.0, 3.0)},
)


@pytest.mark.parametrize("settings", [FULL, Settings(TrialKeys("?"), ComparisonKeys("a", "b", "single", "mount"))])
def test_written_settings_read_back_the_same(settings: Settings) -> None:
    assert taken(settings_text(settings)) == settings


def test_written_settings_hold_every_value_defaults_too() -> None:
    tables = tomllib.loads(settings_text(FULL))
    for field in dataclasses.fields(Settings):
        table = getattr(FULL, field.name)
        if field.name == "operating_point" or table is None:
            assert (field.name in tables) == bool(table)
            continue
        given_keys = {f.name for f in dataclasses.fields(table) if getattr(table, f.name) is not None}
        assert set(tables[field.name]) == given_keys


@given(st.one_of(st.text(st.characters(exclude_categories=["Cs"])), st.floats(allow_nan=False), st.booleans()))
@hypothesis_settings(max_examples=200, deadline=None)
def test_written_values_read_back_by_tomllib(value: Any) -> None:
    assert tomllib.loads(f"a = {written(value)}\n")["a"] == value


def test_kit_form_keeps_names_that_need_no_quotation_marks() -> None:
    assert kit_form(FULL.log) == LogKeys(value=Column("value"), other={"power_W": Column("power_W")})
    assert kit_form(LogKeys(time=Column("t"), value=Column("torque_Nm", 2.0))) == LogKeys(value=Column("torque_Nm"))


SEVERAL = '[trial]\nquestion = "Which oil?"\n[comparison]\ndesign = "several"\nconditions = ["A", "B", "C"]\nblocks = "article"\n'


def test_several_conditions_take_the_place_of_before_and_after() -> None:
    keys = ComparisonKeys("", "", "several", conditions=("A", "B", "C"), blocks="article")
    assert taken(SEVERAL).comparison == keys
    assert keys.all_conditions == ("A", "B", "C")
    assert ComparisonKeys("old", "new", "paired").all_conditions == ("old", "new")
    assert taken(SEVERAL + 'control = "B"\nbefore = ""\n').comparison.control == "B"
    text = settings_text(taken(SEVERAL))
    assert "\nbefore" not in text and "control = " not in text and read_settings(text.encode())[0] == taken(SEVERAL)
    assert "blocks" not in settings_text(taken(SHORT)) and "conditions" not in settings_text(taken(SHORT))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (SEVERAL.replace('"C"', ""), ["key comparison.conditions: found 2 conditions; accepted: a list of three names or more"]),
        (SEVERAL.replace('blocks = "article"\n', ""), ["key comparison.blocks: found no such key; accepted: \"article\": every article"]),
        (SEVERAL + 'control = "X"\n', ["key comparison.control: found 'X'; accepted: one of the conditions (A, B, C), or no"]),
        (SEVERAL + 'before = "A"\n', ["key comparison.before: found 'A' with design = 'several'; accepted: nothing, or design = \"paired\""]),
        (SEVERAL.replace('["A", "B", "C"]', '["A", "B", "B"]'), ["a list without repeats"]),
        (SHORT + 'blocks = "none"\n', ["key comparison.blocks: found 'none' with design = 'paired'; accepted: nothing, or design = \"several\""]),
        (SHORT + 'conditions = ["a", "b", "c"]\n', ["key comparison.conditions: found the list a, b, c with design = 'paired'"]),
    ],
)  # fmt: skip
def test_keys_of_several_conditions_are_held_against_the_design(text: str, told: list[str]) -> None:
    faults = refused(text)
    assert len(faults) == len(told)
    for fault, words in zip(faults, told, strict=True):
        assert words in fault
