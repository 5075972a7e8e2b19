"""Levels, runs, remarks and samples on the sheet. The numbers are held against result.json in test_sheet_numbers.py."""

import re
from dataclasses import replace

import drawn_results as drawn
import read_sheet

from lossstats.sheet.sheet_runs import levels_section, runs_section

PICTURES = dict.fromkeys(("levels", "runs", "runs_2"), read_sheet.PIXEL)


def rows_of(found):
    tables = read_sheet.Sheet(runs_section(found, {})).tables
    return next(rows for caption, rows in tables.items() if caption.startswith("Runs in bench order"))[1:]


def test_every_run_has_a_row_in_bench_order():
    found = drawn.result("paired")
    assert [row[0] for row in rows_of(found)] == [run.run for run in found.runs]
    assert {row[9] for row in rows_of(found)} == {"yes"}


def test_flags_and_runs_left_out_are_told():
    found = drawn.with_a_run_left_out()
    rows = rows_of(found)
    assert rows[2][9] == "no: still moving at its end"
    assert rows[1][6].startswith("1 spike; level without flagged ")
    assert read_sheet.agrees(re.search(r"flagged (\S+)", rows[1][6])[1], found.runs[1].level_without_flagged)
    zero = next(n for n, r in enumerate(found.runs) if r.role == "zero")
    assert rows[zero][7:9] == ["", ""]


def test_samples_off_the_operating_point_are_counted_by_column():
    found = drawn.result("paired")
    off = replace(found.runs[0].screening, off_point={"input_power_W": (3, 4, 5)})
    rows = rows_of(replace(found, runs=(replace(found.runs[0], screening=off), *found.runs[1:])))
    assert rows[0][6] == "3 × sample off input_power_W"


def test_remarks_of_the_run_sheet_stand_below_the_runs():
    found = drawn.result("paired")
    runs = list(found.runs)
    runs[3] = replace(runs[3], remarks='hall door <slammed> & "left" open')
    runs[5] = replace(runs[5], remarks="cold")
    runs[7] = replace(runs[7], remarks=runs[3].remarks)
    told = replace(found, runs=tuple(runs))
    tables = read_sheet.Sheet(runs_section(told, {})).tables
    both = f"{runs[3].run}, {runs[7].run}"
    rows = [[both, 'hall door <slammed> & "left" open'], [runs[5].run, "cold"]]
    assert tables["Remarks of the run sheet"][1:] == rows
    assert "Remarks" not in runs_section(found, {})


def test_pictures_of_the_samples_follow_each_other():
    read = read_sheet.Sheet(runs_section(drawn.result("paired"), PICTURES))
    assert len(read.images) == 2 and "Samples of the runs, continued." in read.words
    assert len(read_sheet.Sheet(levels_section(drawn.result("paired"), PICTURES)).images) == 1


def test_drift_of_the_bench_is_told_below_the_levels():
    found = drawn.result("paired")
    rows = read_sheet.Sheet(levels_section(found, PICTURES)).tables["Drift of the bench"]
    assert [tuple(row) for row in rows[1:]] == found.drift._rows()
