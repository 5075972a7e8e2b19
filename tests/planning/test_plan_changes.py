"""Costs by hand, every single change of a plan, the one that helps most, bad input."""

import math

import pytest

from lossstats.planning.plan_changes import advice, changes_of, checked_costs, cost_of
from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import smallest_visible_difference

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05}
COSTS = {"article": 30, "mount": 15, "run": 20}
DEAR = {"article": 200, "mount": 10, "run": 10}


def test_costs_by_hand():
    for design, keys, cost in (
        ("paired", {}, 4 * 30 + 2 * 4 * 2 * 15 + 2 * 4 * 2 * 3 * 20),
        ("independent", {}, 8 * 30 + 2 * 4 * 2 * 15 + 2 * 4 * 2 * 3 * 20),
        ("controls", {"controls": 2}, 6 * 30 + 2 * 6 * 2 * 15 + 2 * 6 * 2 * 3 * 20),
        ("several", {"conditions": 3}, 4 * 30 + 3 * 4 * 2 * 15 + 3 * 4 * 2 * 3 * 20),
        ("paired", {"references": 3, "reference_sd": 0.1}, 4 * 30 + 16 * 15 + 48 * 20 + 6 * 35),
    ):
        assert cost_of(PlannedDesign(design, 4, SPREAD, mounts=2, runs=3, **keys), COSTS) == cost
    plan = PlannedDesign("paired", 4, SPREAD, references=3, reference_sd=0.1)
    assert cost_of(plan, COSTS | {"reference": 5}) - cost_of(PlannedDesign("paired", 4, SPREAD), COSTS) == 30


def test_changes_are_ordered_by_gain_for_their_cost():
    plan = PlannedDesign("paired", 6, SPREAD | {"readings": 0.02}, references=2, reference_sd=0.03)
    changes = changes_of(plan, COSTS)
    assert {change.words for change in changes} == {
        "one more article", "one more mount of each article", "one more run of each mount",
        "one more reference run a session", "runs of twice the length",
    }  # fmt: skip
    assert [c.gain for c in changes] == sorted((c.gain for c in changes), reverse=True)
    now = smallest_visible_difference(plan).difference
    for change in changes:
        assert change.gain == pytest.approx(math.log(now / change.difference) / change.cost)


@pytest.mark.parametrize(
    ("plan", "costs", "best"),
    [
        (PlannedDesign("paired", 4, SPREAD), COSTS, "one more article would help most: "),
        (PlannedDesign("paired", 8, {"change": 0.02, "mount": 0.2}), DEAR, "one more mount of each article"),
        (PlannedDesign("paired", 8, {"change": 0.0, "run": 0.2}), {"article": 500, "mount": 90, "run": 1}, "one more run"),
        (PlannedDesign("paired", 30, SPREAD, references=2, reference_sd=0.3), COSTS, "one more reference run a session"),
        (PlannedDesign("paired", 9, {"change": 0.0, "readings": 0.2}), DEAR | {"longer_run": 2}, "runs of twice"),
        (PlannedDesign("independent", 8, SPREAD), COSTS, "measuring every article in both conditions"),
    ],
)  # fmt: skip
def test_the_change_that_helps_most(plan, costs, best):
    assert advice(plan, costs).startswith(best)


def test_words_of_the_advice():
    words = advice(PlannedDesign("paired", 4, SPREAD), COSTS)
    assert words == (
        "one more article would help most: the difference seen in 8 of 10 such trials falls from 0.40 to 0.31 W for 100 more"
    )
    assert advice(PlannedDesign("independent", 8, SPREAD), COSTS).endswith("and 240 is saved")


def test_costs_that_follow_from_others():
    assert checked_costs(COSTS) == {**COSTS, "reference": 35, "longer_run": 20}
    assert checked_costs(COSTS | {"reference": 0})["reference"] == 0


@pytest.mark.parametrize(
    ("costs", "text"),
    [
        (COSTS | {"run": -1}, r"costs\['run'\]: found -1.0; accepted: a finite number of at least 0"),
        (COSTS | {"run": math.nan}, r"costs\['run'\]: found nan"),
        ({"article": 1, "mount": 1}, "costs: found no 'run'; accepted: article, mount, run, and reference, longer_run"),
        (COSTS | {"oil": 1}, "costs: found 'oil'"),
        (dict.fromkeys(COSTS, 0), "costs: found 0 for all of them; accepted: at least one above 0"),
    ],
)  # fmt: skip
def test_bad_costs_are_named(costs, text):
    for call in (checked_costs, lambda costs: changes_of(PlannedDesign("paired", 4, SPREAD), costs)):
        with pytest.raises(ValueError, match=text):
            call(costs)
