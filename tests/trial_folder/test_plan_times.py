"""Working hours, washing, drying. Evidence: moments reckoned by hand; 3 March 2031 is a Monday."""

from datetime import datetime, timedelta

import pytest

from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.plan_times import (
    OrderedRun,
    WorkingHours,
    change_takes_time,
    changes_of_condition,
    next_day,
    turns,
)
from lossstats.trial_folder.settings import PlanKeys


def at(text):
    return datetime.fromisoformat(f"2031-03-{text}+01:00")


def hours(**keys):
    return WorkingHours.of(PlanKeys("2031-03-03T09:30:00+01:00", working_from_h=8.5, working_to_h=16.25, **keys))


@pytest.mark.parametrize(
    ("moment", "opens"),
    [
        ("01T12:00", "03T09:30"),  # before the first start
        ("03T12:00", "03T12:00"),
        ("03T16:15", "04T08:30"),  # the end is no time to begin
        ("04T03:00", "04T08:30"),
        ("07T16:20", "10T08:30"),  # Friday evening
        ("08T10:00", "10T08:30"),
    ],
)
def test_the_bench_opens(moment, opens):
    assert hours().opening(at(moment)) == at(opens)


def test_days_of_the_week_are_kept():
    assert hours(working_days=("Sat",)).opening(at("03T10:00")) == at("08T08:30")


@pytest.mark.parametrize(
    ("end", "keys", "ready"),
    [
        ("03T11:00", {"wash_hours": 2.0, "dry_hours": 1.0}, "03T14:00"),
        ("03T14:00", {"wash_hours": 2.0, "dry_hours": 16.0}, "04T08:00"),  # washed by 16:00, dries by night
        ("03T14:30", {"wash_hours": 2.0, "dry_hours": 1.0}, "04T11:30"),  # washed the next morning
        ("07T16:00", {"wash_hours": 2.0, "dry_hours": 16.0}, "11T02:30"),  # Friday; washed on Monday
        ("07T16:00", {"dry_hours": 16.0}, "08T08:00"),  # drying needs nobody
        ("03T11:00", {}, "03T11:00"),
    ],
)
def test_washing_within_working_hours_and_drying_by_night(end, keys, ready):
    assert hours(**keys).washed(at(end)) == at(ready)
    assert hours(**keys).changed(at(end), back=False) == at(ready)


def test_the_way_back_has_hours_of_its_own():
    assert hours(wash_hours=2.0, back_hours=30.0).changed(at("03T11:00"), back=True) == at("04T17:00")
    assert hours(wash_hours=2.0, back_hours=0.0).changed(at("03T11:00"), back=True) == at("03T11:00")
    assert hours(wash_hours=2.0).changed(at("03T11:00"), back=True) == at("03T13:00")


def test_a_change_takes_time_with_any_of_the_hours():
    assert not change_takes_time(PlanKeys("", back_hours=0.0))
    for key in ("wash_hours", "dry_hours", "back_hours"):
        assert change_takes_time(PlanKeys("", **{key: 0.1}))


def test_a_day_ends_at_midnight_of_the_same_offset():
    assert next_day(at("03T23:59")) == at("04T00:00")
    assert next_day(at("31T00:00")).isoformat() == "2031-04-01T00:00:00+01:00"


def test_a_first_start_without_offset_is_refused():
    with pytest.raises(TrialError, match=r"key plan.first_start: found '2031-03-03'; accepted: an ISO 8601 date and"):
        WorkingHours.of(PlanKeys("2031-03-03"))


def run(name, start, article, condition, role="test"):
    return OrderedRun(name, at(start), at(start) + timedelta(minutes=20), role, article, condition, "1")


def test_changes_of_condition_are_found_with_their_hours():
    runs = [
        run("r1", "03T10:00", "K01", "dusty"),
        run("r2", "03T10:30", "K02", "dusty"),
        run("r3", "03T11:00", "REF", "", "reference"),
        run("r4", "03T14:00", "K01", "cleaned"),
        run("r5", "03T15:00", "K01", "cleaned"),
        run("r6", "04T09:00", "K01", "dusty"),
    ]
    keys = PlanKeys("2031-03-03T09:30:00+01:00", wash_hours=1.0, back_hours=2.0)
    changes = changes_of_condition(runs, keys, ("dusty", "cleaned"))
    assert [(c.article, c.last.run, c.following.run, c.ready) for c in changes] == [
        ("K01", "r1", "r4", at("03T11:20")),
        ("K01", "r5", "r6", at("03T17:20")),
    ]
    assert [(one.run, other.run) for one, other in turns(runs)] == [("r1", "r4"), ("r5", "r6")]
    assert runs[0].bench_day == "2031-03-03"
