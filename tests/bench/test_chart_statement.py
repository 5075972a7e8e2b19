"""Words of a chart from checks and stages made by hand."""

from lossstats.bench.chart_statement import chart_notes, conclude
from lossstats.bench.check_chart import ChartedCheck, Stage
from lossstats.records.estimate import Interval

BASE = [ChartedCheck(f"2025-01-{day:02}", 6.2, None, None, "", 1, 0, "base", 6.0, 6.4) for day in range(1, 11)]


def judged(*averages, outside=None, stage=0, month=2):
    return [
        ChartedCheck(
            f"2025-{month:02}-{day:02}", 6.2, None, None, "", 1, stage, "judged", 6.0, 6.4, z, 6.1, 6.3, None,
            ("EWMA",) if day == outside else (),
        )
        for day, z in enumerate(averages, start=1)
    ]  # fmt: skip


def stage(count, first="2025-01-01", last="2025-02-09"):
    return Stage(first, last, first, "2025-01-10", 10, 6.2, 0.0667, Interval(6.0, 6.4), 0.1, count)


def test_suspect_since_the_last_check_on_the_other_side():
    charted = BASE + judged(6.21, 6.19, 6.22, 6.25, 6.31, outside=5)
    found = conclude(charted, [stage(5)], "W")
    assert (found.in_control, found.left_control, found.suspect_since) == (False, "2025-02-05", "2025-02-02")
    assert found.statement == (
        "The bench left control on 2025-02-05 (EWMA: 6.310 above 6.300 W). Results measured after 2025-02-02 are not to "
        "be used for claims until the cause is found."
    )


def test_suspect_since_the_end_of_the_base_period():
    found = conclude(BASE + judged(6.21, 6.25, 6.31, outside=3), [stage(3)], "W")
    assert found.suspect_since == "2025-01-10"


def test_one_check_within():
    found = conclude(BASE + judged(6.21), [stage(1)], "W")
    assert found.statement == (
        "The bench is in control: the one check after the base period (2025-02-01) lies within the limits."
    )


def test_two_checks_outside_are_counted():
    charted = BASE + judged(6.19, 6.31, outside=2) + judged(6.31, outside=1, month=3)
    assert (
        ", and one later check lies outside too, the last on 2025-03-01."
        in conclude(charted, [stage(3)], "W").statement
    )


def test_an_earlier_stage_out_of_control_is_not_forgotten():
    second = judged(6.2, 6.2, stage=1, month=3)
    charted = BASE + judged(6.19, 6.31, outside=2) + second
    stages = [
        stage(2),
        Stage("2025-03-01", "2025-03-02", "2025-03-01", "2025-03-01", 10, 6.2, 0.07, Interval(6, 6.4), 0, 2),
    ]
    found = conclude(charted, stages, "W")
    assert found.in_control is True
    assert (
        "Before 2025-03-01 the bench had left control on 2025-02-02: results measured after 2025-02-01"
        in found.statement
    )


def test_notes_of_a_quiet_chart():
    told = chart_notes(BASE + judged(6.21), [stage(1)], "moving range", ())
    assert told == (
        "lag-1 autocorrelation of the base period from 2025-01-01: 0.10, within the ±0.62 of independent checks",
    )
