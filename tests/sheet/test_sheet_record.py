"""What the sheet records beside the numbers: every key of the settings, in words that can be read back."""

import dataclasses
from math import inf

from lossstats.sheet.sheet_record import how_to_reproduce, inputs_table, settings_tables, versions_table
from lossstats.trial_folder.settings import (
    Column,
    ComparisonKeys,
    InstrumentKeys,
    LogKeys,
    OperatingPoint,
    Settings,
    TrialKeys,
)

SETTINGS = Settings(
    TrialKeys("Does it pay?"),
    ComparisonKeys("dusty", "cleaned", "controls", controls=("C01", "C<2>")),
    log=LogKeys(value=Column("P", 0.001), other={"power_W": Column("Pin")}),
    instrument=InstrumentKeys(gain=0.005, gain_dof=inf),
    operating_point={"power_W": OperatingPoint(280.0, 2.8)},
)


def test_every_key_of_every_table_is_shown():
    made = settings_tables(SETTINGS)
    for part in dataclasses.fields(SETTINGS):
        keys = getattr(SETTINGS, part.name)
        for item in keys.values() if isinstance(keys, dict) else [keys] if keys else []:
            for key in dataclasses.fields(item):
                assert f'<th scope="row">{key.name}</th>' in made
    assert "[operating_point.power_W]" in made


def test_values_are_shown_as_declared():
    made = settings_tables(SETTINGS)
    for key, value in (
        ("controls", "C01, C&lt;2&gt;"),
        ("value", "P × 0.001"),
        ("other", "power_W: Pin"),
        ("gain", "0.005"),
        ("gain_dof", "infinite"),
        ("difference_that_matters", "not given"),
        ("unit_row", "false"),
        ("nominal", "280"),
        ("breaks", "none"),
    ):
        assert f'<th scope="row">{key}</th><td>{value}</td>' in made


def test_no_input_files_are_said_so():
    assert "there are no input files" in inputs_table({})


def test_versions_and_command():
    assert '<th scope="row">numpy</th><td>2.4.6</td>' in versions_table({"numpy": "2.4.6"})
    assert "lossstats reproduce &#x27;a b&#x27;" in how_to_reproduce("a b")
    assert "lossstats reproduce FOLDER" in how_to_reproduce("")
