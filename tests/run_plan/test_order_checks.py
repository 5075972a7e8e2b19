"""Contradictions by their words; what an order leaves confounded, by orders written out by hand."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from planned import planned

from lossstats.run_plan.order_checks import changes_condition, confounded, contradictions, too_early, unbracketed
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.trial_folder.plan_times import OrderedRun

ONE_WAY = {"one_way": True}

CONTRADICTIONS = [
    ("paired", {}, "plan.one_way: found no such key with design = 'paired'; accepted: true where an article is dirty"),
    ("crossover", ONE_WAY, "one_way = true, which contradicts design = 'crossover'"),
    (
        "paired",
        {"one_way": True, "reversed_articles": ("K01",)},
        "reversed_articles with K01, which contradicts one_way",
    ),
    ("independent", {"reversed_articles": ("K01",)}, "reversed_articles with K01, which contradicts design = 'indep"),
    ("crossover", {"reversed_articles": ("K01",)}, "1 reversed_articles of 6, which contradict design = 'crossover'"),
    ("paired", {**ONE_WAY, "before_articles": ("K01",)}, "before_articles with design = 'paired'"),
    ("independent", {"before_articles": ("K09",)}, "before_articles with K09, not in articles"),
    ("paired", {**ONE_WAY, "reference": "K01"}, "plan.reference: found the reference 'K01', which articles holds too"),
    (
        "paired",
        {**ONE_WAY, "runs_per_mount": 3, "reference_every": 2},
        "reference_every = 2, which contradicts runs_per_mount = 3",
    ),
    (
        "paired",
        {**ONE_WAY, "runs_per_mount": 3, "most_runs_a_day": 2},
        "plan.most_runs_a_day: found most_runs_a_day = 2, which contradicts runs_per_mount = 3",
    ),
    ("paired", {**ONE_WAY, "runs_per_mount": 2, "zero_every": 1}, "zero_every = 1, which contradicts runs_per_mount"),
    ("paired", {**ONE_WAY, "waves": 7}, "waves = 7, which contradicts 6 articles to change condition"),
    ("independent", {"waves": 2}, "waves = 2, which contradicts articles that are in one condition only"),
    ("paired", {**ONE_WAY, "working_to_h": 8.0}, "working_to_h = 8, which contradicts working_from_h = 8"),
    ("paired", {**ONE_WAY, "working_days": ()}, "plan.working_days: found no day of the week"),
    ("paired", {**ONE_WAY, "working_days": ("Tue",)}, "first_start on a Mon, which contradicts working_days"),
    ("paired", {**ONE_WAY, "working_from_h": 9.0}, "first_start at 08:00, which contradicts working_from_h = 9"),
    ("paired", {**ONE_WAY, "wash_hours": 9.0}, "wash_hours = 9, which contradicts a working day of 8 h"),
    ("paired", {**ONE_WAY, "articles": ()}, "plan.articles: found no articles"),
    ("paired", {**ONE_WAY, "articles": ("K01",)}, "1 article with design = 'paired'; accepted: 2 art"),
    ("paired", {**ONE_WAY, "articles": ("K01", "k01")}, "names that differ in capitals only"),
    ("paired", {**ONE_WAY, "articles": ("K01", " K02")}, "' K02'; accepted: names without blanks around them"),
    ("single", ONE_WAY, "6 articles with design = 'single'; accepted: one article"),
    (
        "crossover",
        {"articles": ("K01", "K02", "K03")},
        "3 articles with design = 'crossover'; accepted: 4",
    ),
]


@pytest.mark.parametrize(("design", "keys", "told"), CONTRADICTIONS)
def test_contradictions_say_which_keys(design, keys, told):
    found = [str(contradiction.fault()) for contradiction in contradictions(planned(design, **keys))]
    assert len(found) == 1, found
    assert found[0].startswith("trial.toml, key plan.")
    assert told in found[0]


def test_controls_and_their_contradictions():
    assert contradictions(planned("controls", controls="K05 K06", one_way=True)) == ()
    (strange,) = contradictions(planned("controls", controls="C01", one_way=True))
    assert strange.found == "controls in [comparison] with C01, not in articles"
    (reverse,) = contradictions(planned("controls", controls="K05", one_way=False))
    assert "contradicts design = 'controls'" in reverse.found
    (none,) = contradictions(planned("controls", "K01", controls="K01", one_way=True))
    assert none.found == "0 articles with design = 'controls'"


@pytest.mark.parametrize(
    ("trial", "units"),
    [
        (planned(one_way=True, comparison={"planned_units": 8}), 6),
        (planned("independent", comparison={"planned_units": 8}), 3),
        (planned("independent", before_articles=("K01", "K02"), comparison={"planned_units": 8}), 2),
        (planned("single", "K01", one_way=True, mounts=4, comparison={"planned_units": 8}), 4),
        (planned("controls", controls="K06", one_way=True, comparison={"planned_units": 8}), 5),
    ],
)
def test_planned_units_are_kept(trial, units):
    (found,) = contradictions(trial)
    assert found.found == f"{units} units a condition, which contradict planned_units = 8 in [comparison]"
    kept = replace(trial, comparison=replace(trial.comparison, planned_units=units))
    assert contradictions(kept) == ()


def test_several_conditions():
    names = "K01 K02 K03 K04 K05"
    assert contradictions(planned("several", names, conditions="a b c", by="article", one_way=False)) == ()
    (few,) = contradictions(planned("several", names, conditions="a b c", by="none"))
    assert few.found == "5 articles with design = 'several'"
    assert few.accepted == "6 articles or more"
    assert changes_condition(planned("several", names, conditions="a b c", by="article"))
    assert not changes_condition(planned("several", names, conditions="a b c", by="none"))


def test_without_a_plan():
    (found,) = contradictions(replace(planned(), plan=None))
    assert str(found.fault()).startswith("trial.toml: found no table [plan]; accepted: a table [plan] with first_start")
    assert confounded((), replace(planned(), plan=None)) == ()
    assert too_early((), replace(planned(), plan=None)) == unbracketed((), replace(planned(), plan=None)) == ()


def runs(text):
    """`3 08:00 K01d` a run: day, time, article (REF, zero) and first letter of the condition."""
    made = []
    for number, line in enumerate(text.split(", "), start=1):
        day, clock, what = line.split()
        start = datetime.fromisoformat(f"2031-03-{int(day):02d}T{clock}+01:00")
        role = {"REF": "reference", "zero": "zero"}.get(what, "test")
        condition = {"d": "dusty", "c": "cleaned"}[what[-1]] if role == "test" else ""
        article = what[:-1] if role == "test" else what
        made.append(OrderedRun(f"r{number}", start, start + timedelta(minutes=20), role, article, condition, "1"))
    return made


def test_all_of_one_condition_first():
    order = runs("3 08:00 REF, 3 09:00 K01d, 3 10:00 K02d, 3 11:00 REF, 3 12:00 K01c, 3 13:00 K02c, 3 14:00 REF")
    told = confounded(order, planned(one_way=True))
    assert told == (
        "all dusty runs come before all cleaned runs: bench drift and treatment are told apart by the runs of REF alone "
        "(waves in [plan], here 2: with more, the first articles change before the last ones begin)",
        "every article is dusty first: what time, handling and the first runs do to an article and the treatment are "
        "not told apart (untouched controls would show it)",
        "wear of the reference article REF and drift of the bench: nothing here sees the one without the other",
    )
    without = confounded(order, planned(one_way=True, reference=None))
    assert "bench drift and treatment are told apart by nothing in this plan (waves in [plan]" in without[0]
    as_many = confounded(order, planned(articles="K01 K02", one_way=True, waves=2))
    assert as_many[0].endswith("told apart by the runs of REF alone")
    assert len(without) == 2


def test_what_a_control_is_called_is_no_condition():
    order = runs("3 09:00 K01d, 3 10:00 C01d, 3 11:00 K02d, 3 12:00 C01c, 3 12:30 K01c, 3 13:00 K02c")
    told = confounded(order, planned("controls", "K01 K02 C01", controls="C01", one_way=True))
    assert told[0].startswith("all dusty runs come before all cleaned runs")
    assert told[0].endswith("; the untouched controls show how well")
    assert "told apart by the untouched controls" in told[1]


def test_days_that_hold_one_condition():
    order = runs("3 09:00 K01d, 4 09:00 K01c, 4 10:00 K02d, 5 09:00 K02c")
    told = confounded(order, planned(one_way=True, wash_hours=1))
    assert told[0] == (
        "2 of 3 bench days (2031-03-03, 2031-03-05) do not hold both conditions: drift from day to day and treatment "
        "are told apart there by the runs of REF alone"
    )


def test_interleaved_conditions_leave_little():
    order = runs("3 09:00 K01d, 3 10:00 K02c, 3 11:00 K03c, 3 12:00 K04d")
    assert confounded(order, planned("independent", reference=None)) == (
        "drift within a bench day and treatment are told apart by the alternating order alone: no reference runs",
    )
    assert len(confounded(order, planned("independent"))) == 1


def test_too_early_counts_the_hours():
    order = runs("3 08:00 K01d, 3 09:00 C01d, 3 11:00 C01c, 3 11:10 K01c, 3 12:00 K02d, 4 08:00 K02c")
    trial = planned("controls", "K01 K02 C01", controls="C01", one_way=True, wash_hours=1, dry_hours=2)
    assert too_early(order, trial) == ("run r4: K01 cleaned 2.8 h after run r1 (dusty); the plan gives it 3 h",)


def test_the_wrong_way_is_named():
    order = runs("3 08:00 K01c, 4 11:00 K01d")
    assert too_early(order, planned(one_way=True)) == (
        "run r2: K01 dusty after it was cleaned (run r1), which the plan says cannot be",
    )
    (told,) = too_early(order, planned(one_way=False, back_hours=30.0))
    assert told == "run r2: K01 dusty 26.7 h after run r1 (cleaned); the plan gives it 30 h"


def test_unbracketed_runs_of_a_day():
    order = runs("3 08:00 K01d, 3 09:00 REF, 3 10:00 K02d, 3 11:00 REF, 3 12:00 zero, 4 08:00 K01c, 4 09:00 REF")
    assert unbracketed(order, planned(one_way=True)) == (
        "run r1 (2031-03-03): not between two reference runs of its day",
        "run r6 (2031-03-04): not between two reference runs of its day",
    )
    assert unbracketed(order, planned(one_way=True, reference=None)) == ()


def test_a_planned_order_says_the_same_of_itself():
    trial = planned(one_way=True, wash_hours=2, dry_hours=14)
    order = lay_out_runs(trial)
    assert order.confounded == confounded(order.runs, trial)
