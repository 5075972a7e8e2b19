"""Curves of power: each point the power of that plan, the planned point on them, bad input."""

import pytest

from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import power_of, smallest_visible_difference
from lossstats.planning.power_curves import power_curve

PLAN = PlannedDesign("paired", 5, {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05})


def test_over_the_units():
    curve = power_curve(PLAN, difference=0.3)
    assert curve.values == tuple(range(3, 11))
    assert curve.power == tuple(power_of(PLAN.of_size(n), 0.3) for n in range(3, 11))
    assert (curve.planned_value, curve.planned_power) == (5, power_of(PLAN, 0.3))
    assert (curve.axis, curve.claim) == ("articles", "chance to see a difference of 0.3 W")
    assert curve.table.power.tolist() == list(curve.power) and list(curve.table) == ["units", "power"]
    assert "planned" in str(curve) and "<table" in curve._repr_html_()


def test_over_the_difference():
    curve = power_curve(PLAN, over="difference", difference=0.25)
    assert curve.values[0] == 0 and curve.power[0] == pytest.approx(0.05, abs=1e-9)
    assert curve.values[-1] == pytest.approx(2 * smallest_visible_difference(PLAN).difference)
    assert curve.planned_power == power_of(PLAN, 0.25)
    assert power_curve(PLAN, over="difference").planned_value is None


def test_no_difference_that_matters():
    curve = power_curve(PLAN, within=0.4)
    assert curve.power[2] == power_of(PLAN, 0.0, within=0.4)
    assert curve.claim == "chance to claim no difference beyond 0.4 W"
    falling = power_curve(PLAN, over="difference", within=0.4)
    assert falling.power[0] > falling.power[-1] and falling.values[-1] == pytest.approx(0.6)


def test_single_counts_mounts_and_large_plans_are_thinned():
    single = power_curve(PlannedDesign("single", 1, {"mount": 0.1}, mounts=4), difference=0.2)
    assert single.axis == "mounts of the one article in each condition" and single.planned_value == 4
    large = power_curve(PLAN.of_size(301), difference=0.3)
    assert len(large.values) < 70 and 301 in large.values


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: power_curve(PLAN), "difference: found none; accepted: the true difference, for a curve over the units"),
        (lambda: power_curve(PLAN, over="mounts"), "over: found 'mounts'; accepted: 'units' or 'difference'"),
        (lambda: power_curve(PLAN, difference=0.3, power=1.5), "power: found 1.5; accepted: a number between 0 and 1"),
        (lambda: power_curve(PLAN, difference=0.3, values=(1, 2)), "articles: found 1"),
        (lambda: power_curve(PLAN, difference=0.3, values=(4, 4.7)), r"values\[1\]: found 4.7; accepted: a whole number"),
    ],
)  # fmt: skip
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()
