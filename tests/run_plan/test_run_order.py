"""Orders of runs. Evidence: constraints held by a plain second check over drawn plans; short orders by hand."""

from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import groupby, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from planned import planned, words

from lossstats.run_plan.order_checks import contradictions, too_early, unbracketed
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.run_sheet import read_run_sheet, run_sheet_text
from lossstats.trial_folder.trial_checks import check_rows

NAMES = [f"K{k:02d}" for k in range(1, 10)]
WEEK = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@st.composite
def plans(draw):
    """Plans of every design that contradict nothing."""
    design = draw(st.sampled_from(["paired", "crossover", "independent", "controls", "single", "several"]))
    several = design == "several"
    one_way = design == "controls" or (design != "crossover" and draw(st.booleans()))
    blocks = draw(st.sampled_from(["article", "none"])) if several else None
    groups = design == "independent" or blocks == "none"
    articles = 1 if design == "single" else draw(st.integers(6 if groups and several else 4, 9))
    controls = draw(st.integers(1, 2)) if design == "controls" else 0
    runs = draw(st.integers(1, 2))
    keys = {
        "one_way": one_way,
        "mounts": draw(st.integers(1, 3)),
        "runs_per_mount": runs,
        "blocks": draw(st.sampled_from(["alternating", "random"])),
        "reference": draw(st.sampled_from([None, "REF"])),
        "reference_every": draw(st.none() | st.integers(runs, 5)),
        "zero_first": draw(st.booleans()),
        "zero_last": draw(st.booleans()),
        "zero_every": draw(st.none() | st.integers(runs, 8)),
        "run_minutes": draw(st.sampled_from([10.0, 20.0, 22.5])),
        "fit_minutes": draw(st.sampled_from([0.0, 4.3, 6.0])),
        "wash_hours": draw(st.sampled_from([0.0, 0.4, 3.0])),
        "dry_hours": draw(st.sampled_from([0.0, 1.5, 16.0])),
        "back_hours": draw(st.sampled_from([None, 0.0, 5.0])),
        "working_from_h": 7.5,
        "working_to_h": draw(st.sampled_from([12.0, 16.0])),
        "working_days": draw(st.sampled_from([("Mon",), ("Mon", "Tue", "Wed", "Thu", "Fri"), WEEK])),
        "seed": draw(st.integers(0, 2**32)),
        "waves": None if groups or design == "single" else draw(st.sampled_from([None, 1, 2])),
    }
    conditions = "dusty cleaned oiled" if several else "dusty cleaned"
    return planned(
        design, " ".join(NAMES[:articles]), controls=" ".join(NAMES[:controls]), conditions=conditions, by=blocks,
        **keys,
    )  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(plans())
def test_every_order_keeps_every_constraint(trial):
    order = lay_out_runs(trial)
    assert order == lay_out_runs(trial)
    assert_complete(order.runs, trial)
    assert_on_the_clock(order.runs, trial.plan)
    assert_checks_in_place(order.runs, trial.plan, len(trial.comparison.all_conditions))
    assert_washed(order.runs, trial)
    assert too_early(order.runs, trial) == ()
    assert unbracketed(order.runs, trial) == ()
    assert order.confounded or trial.plan.reference is None


def assert_complete(runs, trial):
    """Every mount that the design asks for, each with its runs, one after the other; the strict reader takes it."""
    keys, comparison = trial.plan, trial.comparison
    tests = [(r.article, r.condition, r.mount) for r in runs if r.role == "test"]
    counts = Counter(tests)
    assert set(counts.values()) == {keys.runs_per_mount}
    assert len([k for k, _ in groupby(tests)]) == len(counts)
    seen = Counter((article, condition) for article, condition, _ in counts)
    assert set(seen.values()) == {keys.mounts}
    if comparison.design == "independent" or comparison.blocks == "none":
        assert sorted(article for article, _ in seen) == sorted(keys.articles)
        sizes = Counter(condition for _, condition in seen)
        assert max(sizes.values()) - min(sizes.values()) <= 1
    else:
        assert set(seen) == {(a, c) for a in keys.articles for c in comparison.all_conditions}
    rows = [
        (r.run, r.start.isoformat(), r.role, r.article, r.condition, r.mount, f"samples/{r.run}.csv", "") for r in runs
    ]
    read, faults = read_run_sheet(run_sheet_text(rows).encode(), comparison.all_conditions)
    assert faults + check_rows(read, comparison, {}) == []


def assert_on_the_clock(runs, keys):
    """Working days and hours, lengths, and time to fit."""
    for run in runs:
        minutes = keys.zero_minutes if run.role == "zero" else keys.run_minutes
        assert run.end - run.start == timedelta(minutes=minutes)
        assert WEEK[run.start.weekday()] in keys.working_days
        hours = run.start.hour + run.start.minute / 60
        assert hours >= keys.working_from_h
        assert hours + minutes / 60 <= keys.working_to_h + 1e-9
        assert run.start.second == 0
    assert runs[0].start >= datetime.fromisoformat(keys.first_start)
    for one, other in pairwise(runs):
        same = (
            one.role == other.role == "test" and one[4:7] == other[4:7]
            if isinstance(one, tuple)
            else (
                one.role == other.role == "test"
                and (one.article, one.condition, one.mount) == (other.article, other.condition, other.mount)
            )
        )
        assert other.start - one.end >= timedelta(minutes=0 if same else keys.fit_minutes)


def assert_checks_in_place(runs, keys, conditions):
    """References and zero runs at the ends of each day, and as often as the plan says."""
    for _, group in groupby(runs, key=lambda run: run.bench_day):
        roles = [run.role for run in group]
        assert (roles[0] == "zero") >= keys.zero_first
        assert (roles[-1] == "zero") >= keys.zero_last
        inner = [role for role in roles if role != "zero"]
        if keys.reference:
            assert inner[0] == inner[-1] == "reference"
            limit = keys.reference_every or conditions * keys.runs_per_mount
            assert all(len(part) <= limit for part in parts(inner, "reference"))
        if keys.zero_every:
            assert all(part.count("test") <= keys.zero_every for part in parts(roles, "zero"))
    mounts = [run.mount for run in runs if run.role == "reference"]
    assert mounts == [str(k + 1) for k in range(len(mounts))]


def parts(roles, mark):
    return [list(group) for is_mark, group in groupby(roles, key=lambda role: role == mark) if not is_mark]


def assert_washed(runs, trial):
    """One way only where the plan says so; minute by minute, washing in one day's hours, then drying."""
    keys, names = trial.plan, trial.comparison.all_conditions
    for article in keys.articles:
        own = [r for r in runs if r.role == "test" and r.article == article]
        for one, other in pairwise(own):
            back = names.index(other.condition) < names.index(one.condition)
            assert not (back and keys.one_way)
            if one.condition == other.condition:
                continue
            if back and keys.back_hours is not None:
                assert other.start >= one.end + timedelta(hours=keys.back_hours)
                continue
            assert other.start >= washed(one.end, keys) + timedelta(hours=keys.dry_hours)


def washed(moment, keys):
    if not keys.wash_hours:
        return moment
    while True:
        hour = moment.hour + moment.minute / 60 + moment.second / 3600
        open_day = WEEK[moment.weekday()] in keys.working_days
        if open_day and keys.working_from_h <= hour and hour + keys.wash_hours <= keys.working_to_h + 1e-9:
            return moment + timedelta(hours=keys.wash_hours)
        moment += timedelta(seconds=30)


def test_one_way_in_two_waves_by_hand():
    order = lay_out_runs(planned(articles="K01 K02 K03 K04", one_way=True, wash_hours=2, dry_hours=14, seed=2))
    first, middle, last = words(order).split(" | ")
    early = {w[:3] for w in first.split() if w != "R"}
    late = {w[:3] for w in last.split() if w != "R"}
    assert first.count("d1") == last.count("c1") == 2
    assert early | late == {"K01", "K02", "K03", "K04"}
    assert {w for w in middle.split() if w != "R"} == {f"{a}c1" for a in early} | {f"{a}d1" for a in late}
    assert [w[3:] if w != "R" else w for w in middle.split()] in (
        "R c1 d1 R d1 c1 R".split(),
        "R d1 c1 R c1 d1 R".split(),
    )


def test_one_wave_puts_all_of_one_condition_first_and_says_so():
    order = lay_out_runs(planned(one_way=True, waves=1, wash_hours=2, dry_hours=14))
    tests = [run.condition for run in order.runs if run.role == "test"]
    assert tests == ["dusty"] * 6 + ["cleaned"] * 6
    assert order.confounded[0] == (
        "all dusty runs come before all cleaned runs: bench drift and treatment are told apart by the runs of REF alone "
        "(waves in [plan], here 1: with more, the first articles change before the last ones begin)"
    )


def test_blocks_alternate_and_articles_differ_by_seed():
    orders = [lay_out_runs(planned("independent", seed=seed)) for seed in range(40)]
    for order in orders:
        tests = [run for run in order.runs if run.role == "test"]
        turns = [tests[k].condition + tests[k + 1].condition for k in range(0, 6, 2)]
        assert turns in (
            ["dustycleaned", "cleaneddusty", "dustycleaned"],
            ["cleaneddusty", "dustycleaned", "cleaneddusty"],
        )
        assert [run.block for run in tests] == [1, 1, 2, 2, 3, 3]
    assert len({words(order) for order in orders}) > 30
    first = Counter(next(r.condition for r in order.runs if r.role == "test") for order in orders)
    assert min(first.values()) >= 8  # binomial(40, 1/2): less in 3e-5 of all choices of seeds


def test_linear_drift_cancels_in_turned_blocks_and_not_in_one_wave():
    """Closed form: the mean difference under a drift of 1 per hour is the difference of the mean times."""

    def shift(trial):
        runs = [run for run in lay_out_runs(trial).runs if run.role == "test"]
        mean = {
            c: np.mean([r.start.timestamp() / 3600 for r in runs if r.condition == c]) for c in ("dusty", "cleaned")
        }
        return mean["cleaned"] - mean["dusty"]

    even = [planned("independent", " ".join(NAMES[:8]), seed=seed) for seed in range(5)]
    assert [shift(trial) for trial in even] == pytest.approx([0.0] * 5, abs=1e-6)
    assert shift(planned("crossover", " ".join(NAMES[:8]), dry_hours=14, seed=3)) == pytest.approx(0.0, abs=1e-6)
    assert shift(planned(one_way=True, waves=1, dry_hours=14)) > 20


def test_waiting_within_a_day_is_told():
    order = lay_out_runs(planned(articles="K01 K02", one_way=True, waves=1, dry_hours=4))
    (told,) = [note for note in order.notes if "the bench waits" in note]
    # 08:05 REF, 08:30 and 08:55 dusty, REF until 09:40; the first, done by 08:50, is dry at 12:50: 3 h 10 min
    assert told == "the bench waits 3.2 h within its days for articles that are washed and dried"


def test_random_blocks_are_drawn_each():
    trial = planned("independent", " ".join(f"K{k}" for k in range(40)))
    order = lay_out_runs(replace(trial, plan=replace(trial.plan, blocks="random")))
    tests = [run for run in order.runs if run.role == "test"]
    turns = [tests[k].condition == tests[k - 2].condition for k in range(2, 40, 2)]
    assert 1 < sum(turns) < len(turns) - 1


def test_half_of_the_articles_go_in_the_reverse_order():
    order = lay_out_runs(planned("crossover", wash_hours=1, dry_hours=14))
    first = {}
    for run in order.runs:
        if run.role == "test":
            first.setdefault(run.article, run.condition)
    assert Counter(first.values()) == {"dusty": 3, "cleaned": 3}
    for day in order.bench_days:
        conditions = Counter(r.condition for r in order.runs if r.bench_day == day and r.role == "test")
        assert conditions == {"dusty": 3, "cleaned": 3}


def test_named_articles_go_in_the_reverse_order():
    trial = planned("crossover", wash_hours=1, dry_hours=14, reversed_articles=("K01", "K02"))
    order = lay_out_runs(trial)
    assert "order cleaned then dusty: K01, K02" in order.notes
    assert "order dusty then cleaned: K03, K04, K05, K06" in order.notes


def test_articles_that_come_in_a_condition_stay_in_it():
    order = lay_out_runs(planned("independent", before_articles=("K02", "K03", "K06")))
    assert {r.article for r in order.runs if r.condition == "dusty"} == {"K02", "K03", "K06"}
    assert any("were not dealt by chance" in sentence for sentence in order.confounded)


def test_where_a_change_takes_no_time_a_block_is_one_article():
    order = lay_out_runs(planned(articles="K01 K02 K03 K04", one_way=False))
    tests = [run for run in order.runs if run.role == "test"]
    assert all(tests[k].article == tests[k + 1].article for k in range(0, 8, 2))
    turns = [tests[k].condition for k in range(0, 8, 2)]
    assert turns in (["dusty", "cleaned"] * 2, ["cleaned", "dusty"] * 2)


def test_controls_are_spread_through_both_sessions():
    names = " ".join(f"K{k:02d}" for k in range(1, 13))
    for seed in range(20):
        keys = {"one_way": True, "dry_hours": 10, "working_to_h": 18.0, "waves": 1, "seed": seed}
        trial = planned("controls", names, controls="K01 K02 K03 K04", **keys)
        order = lay_out_runs(trial)
        for condition in ("dusty", "cleaned"):
            own = [r.article for r in order.runs if r.condition == condition]
            for part in range(0, 12, 3):  # one control in every three
                assert sum(name in trial.comparison.controls for name in own[part : part + 3]) == 1, own


def test_controls_wait_as_long_as_the_others():
    trial = planned("controls", controls="K05 K06", one_way=True, dry_hours=14)
    for name in trial.comparison.controls:
        one, other = (r for r in lay_out_runs(trial).runs if r.article == name)
        assert other.start - one.end >= timedelta(hours=14)


@pytest.mark.parametrize(("conditions", "articles"), [("a b c", 6), ("a b c d", 4), ("a b c d e", 10)])
def test_square_is_balanced_for_place_and_neighbour(conditions, articles):
    """Counted out: each condition in each place, and each ordered pair of neighbours, equally often."""
    names = " ".join(f"K{k:02d}" for k in range(articles))
    order = lay_out_runs(
        planned("several", names, conditions=conditions, by="article", one_way=False, working_to_h=24.0)
    )
    paths = {name: [r.condition for r in order.runs if r.article == name] for name in names.split()}
    size = len(conditions.split())
    places = Counter((k, condition) for path in paths.values() for k, condition in enumerate(path))
    pairs = Counter(pair for path in paths.values() for pair in pairwise(path))
    assert len(places) == size**2
    assert len(set(places.values())) == 1
    assert len(pairs) == size * (size - 1)
    assert len(set(pairs.values())) == 1


def test_single_article_in_turned_blocks():
    order = lay_out_runs(planned("single", "K01", one_way=False, mounts=4, seed=1))
    assert words(order) in (
        "R K01d1 K01c1 R K01c2 K01d2 R K01d3 K01c3 R K01c4 K01d4 R",
        "R K01c1 K01d1 R K01d2 K01c2 R K01c3 K01d3 R K01d4 K01c4 R",
    )
    assert order.confounded[0] == "one article: what holds for K01 and what holds for such articles in general"


def test_seed_of_the_plan_or_given():
    trial = planned("independent", seed=7)
    order = lay_out_runs(trial)
    assert order.seed == 7
    assert lay_out_runs(trial, rng=7) == order
    other = lay_out_runs(trial, rng=np.random.default_rng(7))
    assert (other.seed, other.runs) == (None, order.runs)


def test_three_renderings_and_the_table():
    order = lay_out_runs(planned(one_way=True, zero_first=True, zero_last=True, wash_hours=1, dry_hours=2))
    table = order.table
    assert list(table.columns) == ["run", "start", "end", "role", "article", "condition", "mount", "block"]
    assert table["block"].max() == 9
    assert table["block"].isna().sum() == (table["role"] != "test").sum()
    assert "12 test" in str(order)
    assert "<table>" in order._repr_html_()
    assert order.to_dict()["runs"][0]["role"] == "zero"
    hours = table.groupby(table["start"].dt.date).agg({"start": "min", "end": "max"})
    assert order.bench_time_h == pytest.approx((hours["end"] - hours["start"]).sum().total_seconds() / 3600)


def test_contradictions_are_refused_all_at_once():
    trial = planned("crossover", one_way=True, reference="K01")
    assert len(contradictions(trial)) == 2
    with pytest.raises(TrialError, match="(?s)2 faults.*reference 'K01'.*contradicts design = 'crossover'"):
        lay_out_runs(trial)
    with pytest.raises(TrialError, match=r"trial.toml: found no table \[plan\]"):
        lay_out_runs(replace(trial, plan=None))


def test_a_trial_is_spread_over_bench_days_on_request():
    order = lay_out_runs(planned(articles="K01 K02 K03 K04 K05", one_way=True, most_runs_a_day=6))
    per_day = {
        day: [run.condition for run in order.runs if run.bench_day == day and run.role == "test"]
        for day in order.bench_days
    }
    assert [len(conditions) for conditions in per_day.values()] == [6, 4]
    assert all(conditions.count("dusty") == conditions.count("cleaned") for conditions in per_day.values())


def test_groups_between_references_that_are_no_whole_blocks_are_named():
    told = [
        note
        for every in (2, 3, 4)
        for note in lay_out_runs(planned(one_way=True, reference_every=every)).notes
        if "no multiple" in note
    ]
    assert len(told) == 1
    assert told[0].startswith("reference_every = 3 is no multiple of 2 runs, a mount in each condition")
