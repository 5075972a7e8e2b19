"""Standard orders of runs, written out by hand."""

import pytest

from lossstats.simulator.simulated_order import lay_out, lay_out_blocks


def _words(plan):
    short = {"reference": "R", "zero": "Z"}
    return " ".join(short.get(run.role, f"{run.article}{run.condition[:1]}{run.mount}") for run in plan.runs)


def test_paired_in_two_bench_days_with_references_and_zeros():
    plan = lay_out("paired", articles=2, mounts=2, references_every=2, zeros=True)
    assert _words(plan) == "Z R K01b1 K02b1 R K01b2 K02b2 R Z Z R K01a1 K02a1 R K01a2 K02a2 R Z"
    assert [run.start.date().isoformat() for run in plan.runs] == ["2025-03-03"] * 9 + ["2025-03-04"] * 9
    assert plan.runs[1].start.isoformat() == "2025-03-03T08:20:00+01:00"
    assert plan.runs[9].start.isoformat() == "2025-03-04T08:00:00+01:00"


def test_every_reference_run_is_a_mount_of_its_own():
    plan = lay_out("paired", articles=3)
    assert [run.mount for run in plan.runs if run.role == "reference"] == ["1", "2", "3", "4", "5", "6"]


def test_independent_in_blocks_turned_round():
    plan = lay_out("independent", articles=3, references_every=2)
    assert _words(plan) == "R K01b1 K04a1 R K05a1 K02b1 R K03b1 K06a1 R"
    assert len({run.start.date() for run in plan.runs}) == 1


def test_independent_before_then_after_in_one_day():
    plan = lay_out("independent", articles=2, order="before then after", days=1, references_every=None)
    assert _words(plan) == "K01b1 K02b1 K03a1 K04a1"
    assert len({run.start.date() for run in plan.runs}) == 1


def test_single_article():
    plan = lay_out("single", mounts=2, order="blocks", references_every=None)
    assert _words(plan) == "K01b1 K01a1 K01a2 K01b2"


def test_controls_are_run_in_both_sessions():
    plan = lay_out("controls", articles=1, controls=1, references_every=None)
    assert _words(plan) == "K01b1 C01b1 K01a1 C01a1"
    assert plan.controls == ("C01",)


def test_names_are_in_bench_order_and_unique():
    names = [run.name for run in lay_out("paired", articles=6, mounts=2).runs]
    assert names == sorted(names)
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("options", "text"),
    [
        ({"design": "paired", "order": "blocks", "days": 2}, "days: found 2; accepted: 1$"),
        ({"design": "paired", "days": 3}, "days: found 3; accepted: 1 or 2 with order 'before then after'"),
        ({"design": "paired", "days": 0}, "days: found 0; accepted: 1 or 2"),
        ({"design": "several"}, "design: found 'several'; accepted: one of two conditions, paired"),
    ],
)
def test_what_no_order_has_is_refused(options, text):
    with pytest.raises(ValueError, match=f"^{text}"):
        lay_out(**options)


@pytest.mark.parametrize(("articles", "days"), [(4, 3), (5, 5), (7, 3)])
def test_blocks_are_spread_over_all_days(articles, days):
    plan = lay_out_blocks("ABC", articles=articles, days=days, rng=1)
    on = [{run.article for run in plan.runs if run.start.day == 3 + day} - {"REF"} for day in range(days)]
    assert sum(map(len, on)) == articles and max(map(len, on)) - min(map(len, on)) <= 1
    with pytest.raises(ValueError, match=f"^days: found {articles + 1}; accepted: 1 to {articles}"):
        lay_out_blocks("ABC", articles=articles, days=articles + 1, rng=1)


def test_randomised_blocks_with_references_around_each():
    plan = lay_out_blocks("ABCD", articles=5, days=2, rng=7)
    days = [[run for run in plan.runs if run.start.day == day] for day in (3, 4)]
    assert ["".join(run.role[0] for run in day) for day in days] == ["r" + 3 * "ttttr", "r" + 2 * "ttttr"]
    tests = [run for run in plan.runs if run.role == "test"]
    orders = ["".join(run.condition for run in tests[k : k + 4]) for k in range(0, 20, 4)]
    assert all(sorted(order) == list("ABCD") for order in orders) and len(set(orders)) > 1
    assert [run.article for run in tests[::4]] == ["K01", "K02", "K03", "K04", "K05"]
    assert lay_out_blocks("ABCD", articles=5, days=2, rng=7) == plan
    with pytest.raises(ValueError, match="conditions: found 2; accepted: three or more"):
        lay_out_blocks("AB", rng=1)
