"""Runs on the clock. Evidence: short bench days written out by hand."""

from datetime import datetime

import pytest

from lossstats.run_plan.bench_clock import BenchClock
from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.plan_times import Fitting
from lossstats.trial_folder.settings import PlanKeys

FIRST = "2031-03-03T08:00:00+01:00"


def laid(blocks, **keys):
    clock = BenchClock(PlanKeys(FIRST, **{"reference": "REF", **keys}), ("dusty", "cleaned"))
    for number, block in enumerate(blocks, start=1):
        clock.place(block, number)
    return clock, [
        f"{run.start:%d %H:%M} {run.article or run.role}{run.condition[:1]}{run.mount}" for run in clock.finished()
    ]


def mount(article, condition="dusty", number=1, runs=1):
    return Fitting("test", article, condition, str(number), runs)


def test_a_day_with_references_zeros_and_fitting():
    _, runs = laid([[mount("K1"), mount("K2")], [mount("K3", runs=2)]], zero_first=True, zero_last=True)
    assert runs == [
        "03 08:00 zero",  # a bare bench: nothing to take off
        "03 08:10 REF1",
        "03 08:35 K1d1",
        "03 09:00 K2d1",
        "03 09:25 REF2",
        "03 09:50 K3d1",
        "03 10:10 K3d1",  # nothing touched between the runs of a mount
        "03 10:35 REF3",
        "03 11:00 zero",
    ]


def test_starts_are_on_whole_minutes_and_never_early():
    _, runs = laid([[mount("K1")], [mount("K2")]], reference=None, run_minutes=7.5, fit_minutes=1.3)
    assert runs == ["03 08:02 K1d1", "03 08:11 K2d1"]  # 08:01.3; 08:09.5 + 1.3 = 08:10.8


def test_zero_runs_every_so_often():
    _, runs = laid([[mount(f"K{k}")] for k in range(5)], reference=None, zero_every=2)
    assert [line.split()[-1][:4] for line in runs] == ["K0d1", "K1d1", "zero", "K2d1", "K3d1", "zero", "K4d1"]


def test_what_does_not_fit_before_closing_waits_for_the_next_bench_day():
    blocks = [[mount(f"K{k}"), mount(f"K{k}x")] for k in range(3)]
    _, runs = laid(blocks, working_to_h=10.0, working_days=("Mon", "Wed"))
    assert runs == [
        "03 08:05 REF1",
        "03 08:30 K0d1",
        "03 08:55 K0xd1",
        "03 09:20 REF2",
        "05 08:05 REF3",
        "05 08:30 K1d1",
        "05 08:55 K1xd1",
        "05 09:20 REF4",
        "10 08:05 REF5",
        "10 08:30 K2d1",
        "10 08:55 K2xd1",
        "10 09:20 REF6",
    ]


def test_a_wait_for_washing_is_bracketed_by_references():
    clock, runs = laid([[mount("K1")], [mount("K1", "cleaned")]], wash_hours=1.0, dry_hours=2.0)
    assert runs == [
        "03 08:05 REF1",
        "03 08:30 K1d1",
        "03 08:55 REF2",  # before the wait
        "03 11:55 REF3",  # dry at 08:50 + 3 h
        "03 12:20 K1c1",
        "03 12:45 REF4",
    ]
    assert clock.split == 0


def test_an_article_is_ready_by_its_last_run_in_the_other_condition():
    clock, _ = laid([[mount("K1")]], wash_hours=1.0, dry_hours=2.0)
    assert clock.ready(mount("K1", "cleaned")) == datetime.fromisoformat("2031-03-03T11:50:00+01:00")
    assert clock.ready(mount("K1")) == clock.ready(mount("K2", "cleaned")) == datetime.fromisoformat(FIRST)


def test_free_for_is_within_working_hours():
    clock = BenchClock(PlanKeys(FIRST, dry_hours=12.0), ("dusty", "cleaned"))
    clock.place([mount("K1")], 1)
    assert clock.free_for([mount("K1", "cleaned")]) == datetime.fromisoformat("2031-03-04T08:00:00+01:00")
    assert clock.free_for([mount("K2")]) == datetime.fromisoformat("2031-03-03T08:25:00+01:00")


@pytest.mark.parametrize("keys", [{"reference_every": 2}, {"working_to_h": 10.0, "reference_every": 9}])
def test_a_block_that_does_not_fit_is_parted(keys):
    clock, runs = laid([[mount("K1"), mount("K2"), mount("K3")]], **keys)
    names = [line.split()[-1] for line in runs]
    assert clock.split == 1
    assert names[:4] == ["REF1", "K1d1", "K2d1", "REF2"]
    assert "K3d1" in names[4:]
    assert len({line[:2] for line in runs}) == (1 if "working_to_h" not in keys else 2)


def test_a_mount_longer_than_a_bench_day_is_refused_with_what_contradicts():
    with pytest.raises(
        TrialError,
        match=r"(?s)key plan.working_to_h: found working_from_h = 8 and working_to_h = 9, which contradict "
        r"runs_per_mount = 1, run_minutes = 20, fit_minutes = 5 and 3 reference and zero runs a day",
    ):
        laid([[mount("K1")]], working_to_h=9.0, zero_last=True)


def test_most_runs_a_day_begin_further_bench_days_and_keep_blocks_whole():
    blocks = [[mount(f"K{k}"), mount(f"L{k}", "cleaned")] for k in range(1, 6)]
    clock, runs = laid(blocks, most_runs_a_day=5, reference_every=2)
    days = {day: [line.split()[-1] for line in runs if line.startswith(day)] for day in ("03", "04", "05")}
    assert days["03"] == ["REF1", "K1d1", "L1c1", "REF2", "K2d1", "L2c1", "REF3"]
    assert days["04"] == ["REF4", "K3d1", "L3c1", "REF5", "K4d1", "L4c1", "REF6"]
    assert days["05"] == ["REF7", "K5d1", "L5c1", "REF8"]
    assert clock.split == 0


def test_a_block_of_more_runs_than_a_day_may_have_is_parted():
    clock, runs = laid([[mount("K1"), mount("K2")]], most_runs_a_day=1)
    assert clock.split == 1
    assert [line.split()[0] for line in runs] == ["03", "03", "03", "04", "04", "04"]
