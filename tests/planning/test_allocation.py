"""The cheapest plan against a full search and an independent prototype; bad input."""

import itertools
import math

import pytest

from lossstats.planning.allocation import cheapest_plan
from lossstats.planning.planning import power_of
from lossstats.planning.power import power_paired

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05}
COSTS = {"article": 30, "mount": 15, "run": 20}
DEAR = {"article": 200, "mount": 10, "run": 10}


@pytest.mark.parametrize(
    ("design", "difference", "costs", "numbers", "cost"),
    [
        ("paired", 0.5, COSTS, (4, 1, 1), 400), ("independent", 0.5, COSTS, (8, 1, 1), 1040),
        ("paired", 0.3, COSTS, (6, 1, 1), 600), ("independent", 0.3, COSTS, (20, 1, 1), 2600),
        ("paired", 0.3, DEAR, (4, 3, 1), 4 * (200 + 6 * 20)),
    ],
)  # fmt: skip
def test_measured_with_an_independent_prototype(design, difference, costs, numbers, cost):
    found = cheapest_plan(design, difference, SPREAD, costs)
    assert (found.plan.articles, found.plan.mounts, found.plan.runs, found.cost) == (*numbers, cost)
    assert found.power == power_of(found.plan, difference) >= 0.8


def test_nothing_is_cheaper():
    """Every plan of up to 12 articles, 5 mounts and 5 runs, by the power of the paired t."""
    found = cheapest_plan("paired", 0.3, SPREAD, DEAR)

    def cost(n, m, r):
        return n * (DEAR["article"] + 2 * m * (DEAR["mount"] + r * DEAR["run"]))

    def enough(n, m, r):
        return power_paired(0.3, math.sqrt(0.1**2 + 2 * 0.1**2 / m + 2 * 0.05**2 / (m * r)), n) >= 0.8

    every = itertools.product(range(3, 13), range(1, 6), range(1, 6))
    assert found.cost == min(cost(*plan) for plan in every if enough(*plan))


def test_table_of_runners_up():
    found = cheapest_plan("paired", 0.3, SPREAD, DEAR, most_mounts=3, most_runs=2)
    assert list(found.table.columns) == ["articles", "mounts", "runs", "power", "cost"]
    assert found.table.cost.is_monotonic_increasing and len(found.table) == 6
    assert (found.table.power >= 0.8).all() and found.table.cost[0] == found.cost
    assert any("the most mounts searched (3)" in note for note in found.notes)
    assert "runner-up" in str(found) and "<table" in found._repr_html_()


def test_start_is_the_continuous_optimum():
    mounts, runs = cheapest_plan("paired", 0.5, SPREAD, COSTS).start
    assert runs == pytest.approx(math.sqrt(15 * 0.05**2 / (20 * 0.1**2)))
    assert mounts == pytest.approx(math.sqrt(30 * 0.1**2 / (15 * 0.1**2)))
    mounts, _ = cheapest_plan("independent", 0.5, SPREAD, COSTS).start
    assert mounts == pytest.approx(math.sqrt(30 * 0.1**2 / (15 * (0.3**2 + 0.1**2 / 2))))


def test_one_article_and_no_difference():
    single = cheapest_plan("single", 0.2, SPREAD, COSTS)
    assert single.plan.articles == 1 and single.cost == 30 + 2 * single.plan.mounts * (15 + single.plan.runs * 20)
    none = cheapest_plan("paired", 0.0, SPREAD, COSTS, within=0.3)
    assert none.power == power_of(none.plan, 0.0, within=0.3) >= 0.8


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: cheapest_plan("paired", 0.3, SPREAD, COSTS | {"run": -1}), r"costs\['run'\]: found -1.0; accepted: a finite number of at least 0"),
        (lambda: cheapest_plan("paired", 0.3, SPREAD, {"run": 1}), "costs: found no 'article'; accepted: article, mount, run"),
        (lambda: cheapest_plan("paired", 0.3, SPREAD, COSTS | {"oil": 1}), "costs: found 'oil'"),
        (lambda: cheapest_plan("paired", 0.3, SPREAD, dict.fromkeys(COSTS, 0)), "costs: found 0 for all of them"),
        (lambda: cheapest_plan("paired", 0.3, SPREAD, COSTS, most_runs=0), "most_runs: found 0"),
        (lambda: cheapest_plan("paired", 0.3, SPREAD, COSTS, power=0.01), "power: found 0.01"),
        (lambda: cheapest_plan("paired", 0.3, {"change": -0.1}, COSTS), r"components\['change'\]: found -0.1"),
        (lambda: cheapest_plan("paired", 0.01, SPREAD, COSTS, most_articles=5), "with 5 articles, 6 mounts, 6 runs, the most asked for"),
        (lambda: cheapest_plan("paired", 0.2, SPREAD, COSTS, shared={"drift": 0.1}), "with any number of articles"),
        (lambda: cheapest_plan("paired", 0.3, SPREAD, COSTS, mounts=2), "mounts: found 2; accepted: none, as it is searched"),
        (lambda: cheapest_plan("paired", 0.3, SPREAD, COSTS, articles=2), "articles: found 2; accepted: none"),
        (lambda: cheapest_plan("single", 0.01, SPREAD, COSTS, most_articles=5), "with 5 mounts, 6 runs, the most asked for"),
    ],
)  # fmt: skip
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()
