"""Interval, budget and unit values on the sheet, and what stands there where there are none.

That the numbers are those of result.json is tested in test_sheet_numbers.py.
"""

from dataclasses import replace

import drawn_results as drawn
import pytest
import read_sheet

from lossstats.sheet.sheet_saving import budget_section, saving_section, values_section

PICTURES = dict.fromkeys(("saving", "budget", "pairs"), read_sheet.PIXEL)


def read(make, found):
    return read_sheet.Sheet(make(found, PICTURES))


def further(found):
    return dict(read(saving_section, found).tables["What goes with it"][1:])


@pytest.mark.parametrize(("name", "first"), [("paired", "dusty minus cleaned"), ("higher", "cleaned minus dusty")])
def test_caption_says_what_was_subtracted(name, first):
    assert f"Saving: {first}, in W; above 0" in "".join(read(saving_section, drawn.result(name)).words)


def test_both_p_values_stand_where_a_difference_that_matters_was_fixed():
    both = "p of no difference", "p of the two one-sided tests, against the difference that matters"
    assert set(both) <= set(further(drawn.result("paired")))
    lines = further(drawn.result("no M"))
    assert both[0] in lines and both[1] not in lines and "difference that matters (W)" not in lines


def test_a_period_has_a_row_of_its_own():
    found = drawn.result("paired")
    period = replace(found.comparison.difference, value=0.034, low=-0.2, high=0.26, standard_uncertainty=0.05)
    crossed = replace(found, comparison=replace(found.comparison, period=period))
    rows = read(saving_section, crossed).tables["The saving and its interval"]
    assert [row[0] for row in rows[1:]] == [
        "saving (W)",
        "in percent of the level before (%)",
        "second period lower by (W)",
    ]
    assert rows[3][1:4] == ["0.034", "−0.200 to 0.260", "0.050"]


def test_description_has_no_interval_and_says_why():
    found = drawn.result("description")
    rows = read(saving_section, found).tables["The saving and its interval"]
    assert [row[2:] for row in rows[1:]] == [["none"] * 3] * 2
    assert further(found)["no interval, because"] == found.comparison.why_no_interval
    bare = read(budget_section, found)
    assert not bare.tables and f"No budget: {found.comparison.why_no_interval}." in "".join(bare.words)


def test_budget_has_the_percentage_beside_the_saving_where_there_is_one():
    found = drawn.result("paired")
    counted = "cancels in the difference; added in percent"
    zero = replace(found.budget.sources[0], source="zero", contribution=0.0, percent_contribution=0.02, counted=counted)
    budget = replace(found.budget, sources=(*found.budget.sources, zero))
    rows = read(budget_section, replace(found, budget=budget)).tables["Uncertainty budget of the saving"]
    assert rows[0][3:7] == ["u of the saving (W)", "share (%)", "u in percent (%)", "share (%)"]
    assert rows[-2][3] == "0" and rows[-2][5] == "0.020" and rows[-2][-1] == counted
    none = [replace(s, percent_contribution=None, percent_share=None) for s in found.budget.sources]
    budget = replace(found.budget, sources=tuple(none), percent_standard_uncertainty=None)
    without = read(budget_section, replace(found, budget=budget)).tables["Uncertainty budget of the saving"]
    assert without[0][3:] == ["u of the saving (W)", "share (%)", "what it is", "how it counts"]


def test_a_repeatability_from_elsewhere_is_not_called_scatter():
    rows = read(budget_section, drawn.result("known")).tables["Uncertainty budget of the saving"]
    assert rows[1][0] == "scatter" and rows[1][-2] == "repeatability of a mount, known from elsewhere"
    rows = read(budget_section, drawn.result("mounts")).tables["Uncertainty budget of the saving"]
    assert rows[1][-2].startswith("scatter between the units")


def test_units_left_untouched_are_marked_and_a_unit_of_one_condition_has_an_empty_place():
    rows = read(values_section, drawn.result("controls")).tables["Unit values"][1:]
    assert sum("(untouched)" in row[0] for row in rows) == 3 and all(all(row) for row in rows)
    rows = read(values_section, drawn.result("independent")).tables["Unit values"][1:]
    assert all(row[1:].count("") == 2 for row in rows)


def test_every_picture_is_described_in_words():
    found = drawn.result("paired")
    images = [image for make in (saving_section, budget_section, values_section) for image in read(make, found).images]
    assert images[0]["alt"] == found.statement.sentences[0]
    assert images[1]["alt"].startswith("Shares of the variance: scatter ")
    assert len(images) == 3 and "table below" in images[2]["alt"]
