"""Departures from a plan, each made on purpose on a trial that was carried out as planned."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from planned import planned

from lossstats.run_plan.plan_departures import departures
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.trial_folder.plan_file import plan_text, read_plan, seal_plan
from lossstats.trial_folder.run_sheet import SheetRow
from lossstats.trial_folder.settings import Column, LogKeys, OperatingPoint, ScopeKeys
from lossstats.trial_folder.trial import Run, Trial

TIME_S = np.arange(0.0, 1201.0, 60.0)


@pytest.fixture(scope="module")
def plan():
    settings = planned(articles="K01 K02 K03 K04", one_way=True, wash_hours=2, dry_hours=14)
    return settings, seal_plan(settings, lay_out_runs(settings))


@pytest.fixture
def done(plan):
    """The trial as planned, every run seven minutes late, with other file names and remarks."""
    settings, sealed = plan
    runs = tuple(
        Run(
            r.run, r.start + timedelta(minutes=7), r.role, r.article, r.condition, r.mount,
            f"samples/log_{r.run}.csv", TIME_S, np.sin(TIME_S), remarks="as it should be",
        )
        for r in sealed.runs
    )  # fmt: skip
    return Trial(None, settings, runs)


def told(plan, trial):
    return departures(plan[1], trial)


def with_runs(trial, change):
    return replace(trial, runs=tuple(change(list(trial.runs))))


def test_a_trial_as_planned_has_none(plan, done):
    assert told(plan, done) == ()


def test_other_words_of_the_scope_are_named(plan, done):
    elsewhere = replace(done.settings, scope=ScopeKeys("all chains"))
    assert told(plan, replace(done, settings=elsewhere)) == (
        "trial.toml, key scope.articles: planned '', found 'all chains'",
    )


def with_log(trial, **keys):
    return replace(trial, settings=replace(trial.settings, log=LogKeys(**keys)))


def test_a_log_declared_before_and_changed_after_is_named_by_its_key(done):
    settings = with_log(done, value=Column("P_loss")).settings
    before = (settings, seal_plan(settings, lay_out_runs(settings)))
    assert told(before, with_log(done, value=Column("P_loss"))) == ()
    assert told(before, with_log(done, value=Column("P_loss", 1.5))) == (
        "trial.toml, key log.value.factor: planned 1, found 1.5",
    )
    assert told(before, with_log(done, value=Column("P_other"))) == (
        "trial.toml, key log.value.column: planned 'P_loss', found 'P_other'",
    )


def test_a_log_filled_in_later_is_named_as_that(plan, done):
    """Its form may not be known before the first run: not forbidden, but told."""
    assert told(plan, with_log(done, separator="semicolon", value=Column("P", 1.5))) == (
        "trial.toml: table [log], at its defaults when the plan was sealed, was filled in later: "
        "separator 'semicolon'; value.column 'P'; value.factor 1.5",
    )


def test_a_plan_sealed_without_log_and_scope_says_so(plan, done):
    settings = {table: keys for table, keys in plan[1].settings.items() if table not in ("log", "scope")}
    assert departures(replace(plan[1], settings=settings), done) == tuple(
        f"trial.toml: this plan was sealed without [{table}]; a change there shows nowhere"
        for table in ("scope", "log")
    )


def lasting(run, minutes):
    time_s = np.linspace(0.0, minutes * 60, 21)[:-1]
    return replace(run, time_s=time_s, values=np.sin(time_s))


def test_a_run_much_shorter_or_longer_than_planned_is_named(plan, done):
    """Planned for 20 min each; a tenth of it either way passes."""
    names = [run.name for run in done.runs]
    for minutes in (18.1, 20.0, 21.9):
        assert told(plan, with_runs(done, lambda runs, m=minutes: [lasting(r, m) for r in runs])) == ()
    assert told(plan, with_runs(done, lambda runs: [lasting(runs[0], 65 / 60), *runs[1:]])) == (
        f"run {names[0]}: planned 20 min long, lasted 1.08 min",
    )
    found = told(plan, with_runs(done, lambda runs: [lasting(runs[0], 17.9), lasting(runs[1], 22.1), *runs[2:]]))
    assert found == (f"2 runs ({names[0]}, {names[1]}): planned 20 min long, lasted 17.9 to 22.1 min",)


def test_zero_runs_have_their_own_length():
    settings = planned(articles="K01 K02", one_way=False, zero_first=True, zero_minutes=5, run_minutes=15)
    sealed = seal_plan(settings, lay_out_runs(settings))
    runs = [Run(r.run, r.start, r.role, r.article, r.condition, r.mount, "", TIME_S, TIME_S) for r in sealed.runs]
    as_planned = tuple(lasting(r, 5 if r.role == "zero" else 15) for r in runs)
    assert departures(sealed, Trial(None, settings, as_planned)) == ()
    (found,) = departures(sealed, Trial(None, settings, tuple(lasting(r, 15) for r in runs)))
    assert found.endswith("planned 5 min long, lasted 15 min")


def test_none_after_writing_and_reading(plan, done, tmp_path):
    (tmp_path / "plan.json").write_text(plan_text(plan[1]), encoding="utf-8")
    assert departures(read_plan(tmp_path), done) == ()


def test_settings_changed_are_named_with_both_values(plan, done):
    settings = done.settings
    changed = replace(
        settings,
        trial=replace(settings.trial, question="Does it?"),
        comparison=replace(settings.comparison, difference_that_matters=0.2, confidence=0.9),
        instrument=replace(settings.instrument, gain_dof=12.0),
        drift=replace(settings.drift, breaks=("2031-03-03T12:00:00+01:00",)),
        operating_point={"input_power_W": OperatingPoint(280.0, 5.6)},
        plan=replace(settings.plan, zero_first=True),
    )
    found = told(plan, replace(done, settings=changed))
    assert found[:4] == (
        "trial.toml, key trial.question: planned 'Does a wash pay?', found 'Does it?'",
        "trial.toml, key comparison.confidence: planned 0.95, found 0.9",
        "trial.toml, key comparison.difference_that_matters: planned nothing, found 0.2",
        "trial.toml, key instrument.gain_dof: planned 'inf', found 12",
    )
    assert "trial.toml, key drift.breaks: planned [], found ['2031-03-03T12:00:00+01:00']" in found
    assert "trial.toml, key operating_point.input_power_W.nominal: planned nothing, found 280" in found
    assert "trial.toml, key plan.zero_first: planned false, found true" in found


def test_a_plan_without_table_left_in_trial_toml(plan, done):
    found = told(plan, replace(done, settings=replace(done.settings, plan=None)))
    assert found == ("trial.toml: the table [plan] is there no longer",)


def test_a_key_that_a_later_version_brings_is_no_departure(plan, done):
    settings = {table: dict(keys) if keys else keys for table, keys in plan[1].settings.items()}
    del settings["readings"]["jitter"]
    earlier = replace(plan[1], settings=settings)
    assert departures(earlier, done) == ()
    loose = replace(done, settings=replace(done.settings, readings=replace(done.settings.readings, jitter=1.0)))
    assert departures(earlier, loose) == ("trial.toml, key readings.jitter: planned 0.2, found 1",)


def test_runs_missing_and_added(plan, done):
    lost = next(run for run in done.runs if run.role == "test")
    extra = replace(done.runs[-1], name="r99", start=done.runs[-1].start + timedelta(minutes=30), mount="9")
    found = told(plan, with_runs(done, lambda runs: [r for r in runs if r is not lost] + [extra]))
    assert found == (
        f"run {lost.name} (test {lost.article} dusty mount 1): planned, not made",
        "run r99 (reference REF mount 9): made, not planned",
    )


def test_what_was_on_the_bench_changed(plan, done):
    place = next(k for k, run in enumerate(done.runs) if run.role == "test")
    run = done.runs[place]

    def change(runs):
        runs[place] = replace(run, article="K09", mount="3")
        return runs

    found = told(plan, with_runs(done, change))
    assert found[:2] == (
        f"run {run.name}: article planned '{run.article}', found 'K09'",
        f"run {run.name}: mount planned '1', found '3'",
    )


def test_condition_changed(plan, done):
    place = next(k for k, run in enumerate(done.runs) if run.condition == "dusty")

    def change(runs):
        runs[place] = replace(runs[place], condition="cleaned")
        return runs

    found = told(plan, with_runs(done, change))
    assert found[0] == f"run {done.runs[place].name}: condition planned 'dusty', found 'cleaned'"


def test_order_swapped(plan, done):
    place = next(k for k, run in enumerate(done.runs) if run.role == done.runs[k + 1].role == "test")
    one, other = done.runs[place : place + 2]

    def swap(runs):
        runs[place : place + 2] = replace(other, start=one.start), replace(one, start=other.start)
        return runs

    assert told(plan, with_runs(done, swap)) == (f"run {one.name}: made after run {other.name}, planned before it",)


def test_another_day_is_told_once_for_all_its_runs(plan, done):
    last = done.runs[-1].bench_day
    late = with_runs(done, lambda runs: [replace(r, start=r.start + timedelta(days=r.bench_day == last)) for r in runs])
    (found,) = told(plan, late)
    names = [run.name for run in done.runs if run.bench_day == last]
    assert found == f"{len(names)} runs ({', '.join(names)}): planned for {last}, made on 2031-03-06"


def test_a_trial_begun_earlier_or_later_departs_by_its_days_alone(plan, done):
    for days in (-14, 7):
        moved = with_runs(done, lambda runs, d=days: [replace(r, start=r.start + timedelta(days=d)) for r in runs])
        assert all("planned for" in line for line in told(plan, moved))


def test_washed_for_too_short_a_time(plan, done):
    after = next(k for k, run in enumerate(done.runs) if run.condition == "cleaned")
    article = done.runs[after].article
    before = next(run for run in done.runs if run.article == article)

    def hurry(runs):
        runs[after] = replace(runs[after], start=before.start + timedelta(seconds=1200, hours=15.5))
        return runs

    assert told(plan, with_runs(done, hurry)) == (
        f"run {done.runs[after].name}: {article} cleaned 15.5 h after run {before.name} (dusty); "
        "the plan gives it 16 h",
    )


def test_a_test_run_outside_the_references(plan, done):
    found = told(plan, with_runs(done, lambda runs: runs[:-1]))
    assert found[0].endswith("planned, not made")
    assert "not between two reference runs of its day" in found[-1]


def test_a_dropped_run_is_told_with_its_reason(plan, done):
    gone = next(run for run in done.runs if run.role == "test")
    row = SheetRow(2, gone.name, gone.start, "dropped", gone.article, gone.condition, gone.mount, "", "belt broke")
    trial = replace(done, runs=tuple(run for run in done.runs if run is not gone), dropped=(row,))
    sentence = f"run {gone.name} (test {gone.article} {gone.condition} mount 1): planned, dropped (belt broke)"
    assert sentence in told(plan, trial)
    assert not any("not made" in line for line in told(plan, trial))
