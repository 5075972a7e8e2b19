"""Plan, departures, choices and single units on the sheet, and the words where there are none.

That the numbers are those of result.json is tested in test_sheet_numbers.py.
"""

from dataclasses import replace
from functools import cache

import drawn_results as drawn
import pytest
import read_sheet

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.looks import Look
from lossstats.run_plan.plan_record import NO_PLAN, PlanRecord
from lossstats.sheet.sheet_review import plan_section, sensitivity_section

Sheet = read_sheet.Sheet
PLAN = PlanRecord("9f" * 32, 12, (), ())


@cache
def with_choices(name):
    return analyse(drawn.result(name)._trial, choices=True)


def words(html):
    return "".join(Sheet(html).words)


def test_without_a_sealed_plan_the_sheet_says_what_nothing_shows():
    html = plan_section(drawn.result("paired"))
    assert f"{NO_PLAN[1:]}." in words(html) and not Sheet(html).tables


def test_seal_and_departures_of_a_plan():
    kept = Sheet(plan_section(replace(drawn.result("paired"), plan=PLAN)))
    assert kept.tables["Sealed plan"][1:] == [["SHA-256 of the sealed plan", "9f" * 32], ["runs planned", "12"]]
    assert "None: carried out as the sealed plan says." in kept.words
    left = replace(PLAN, departures=("run r03: planned, not made",), confounded=("cleaned and the second day",))
    read = Sheet(plan_section(replace(drawn.result("paired"), plan=left)))
    assert "run r03: planned, not made" in read.words and "cleaned and the second day" in read.words
    assert "None: carried out as the sealed plan says." not in read.words
    assert read.headings[1:] == ["Departures", "What the order cannot tell apart, as said before the first run"]


def test_earlier_looks_stand_with_the_plan():
    found = replace(drawn.result("paired"), earlier_looks=(Look("ab" * 32, 7, "2, 2", "undecided"),))
    rows = Sheet(plan_section(found)).tables["Earlier looks at other states of the data"]
    assert rows[1:] == [["1", "7", "2, 2", "undecided"]]


def test_what_was_not_computed_is_said_to_be_so():
    text = words(sensitivity_section(drawn.result("paired")))
    assert text.count("Not computed: it was not asked for with this result; `lossstats sensitivity`") == 2
    one = words(sensitivity_section(replace(with_choices("description"), influence=None)))
    assert one.count("Not computed: there is one unit, and nothing is left without it.") == 1


def test_several_conditions_have_neither_table():
    found = replace(drawn.result("paired"), comparison=None)
    text = words(sensitivity_section(found))
    assert text.count("Not computed: it is computed for two conditions, and this trial compares several.") == 2


def test_a_changed_verdict_is_marked_and_a_note_stands_once():
    found = with_choices("paired")
    planned, first, *others = found.sensitivity.choices[:1] * 3
    first = replace(first, changed=True, verdict="undecided", note="by <another> way", low=None, high=None)
    choices = (first, replace(first, choice="and so"), *others)
    html = sensitivity_section(replace(found, sensitivity=replace(found.sensitivity, choices=choices)))
    rows = Sheet(html).tables["One decision changed at a time away from the plan"]
    assert [row[-1] for row in rows[2:4]] == ["changed: undecided (note 1)"] * 2
    assert rows[2][2] == "none" and rows[1][-1] == found.sensitivity.planned.verdict
    assert words(html).count("by <another> way") == 1


def test_a_unit_without_which_the_verdict_changes_is_marked():
    found = with_choices("controls")
    lost = [replace(row, changed=True, verdict="no verdict", low=None, high=None) for row in found.influence.rows[:1]]
    rows = (*lost, *found.influence.rows[1:])
    made = Sheet(sensitivity_section(replace(found, influence=replace(found.influence, rows=rows))))
    table = made.tables["The whole comparison without one unit"]
    assert table[1][0] == "none" and table[1][2] == ""
    assert table[2][3] == "none" and table[2][-1] == "changed: no verdict"
    assert sum("(untouched)" in row[0] for row in table) == 3


@pytest.mark.parametrize("name", ["paired", "description"])
def test_choices_and_units_that_were_passed_over_are_listed_with_the_reason(name):
    found = with_choices(name)
    read = Sheet(sensitivity_section(found))
    spared = read.tables["Choices that change nothing here, or cannot be tried"][1:]
    assert spared == [[item.choice, item.reason] for item in found.sensitivity.not_applied]
    assert set(found.sensitivity.sentences) <= set(read.words)
    if found.influence is not None:
        assert set(found.influence.sentences) <= set(read.words)
