"""The chart as a result: table, text, HTML, dict, words of a check outside."""

import json

import pytest

from lossstats.bench.bench_examples import Shift, example_check_history, simulate_check_history
from lossstats.bench.bench_health import check_standard_chart
from lossstats.bench.check_chart import ChartedCheck, Outside, check_outside, outside_words


@pytest.fixture(scope="module")
def chart():
    return check_standard_chart(example_check_history(), base_period=20)


def test_a_row_a_check_in_the_table(chart):
    table = chart.table
    assert len(table) == len(chart.checks) == 48
    assert table.role.value_counts().to_dict() == {"judged": 28, "base": 20}
    assert table.ewma.isna().sum() == 20 and table.low.notna().all()
    assert table.days.iloc[1] == 3 and table.days.isna().sum() == 1
    assert set(table.loc[table.outside != "", "date"]) == {one.date for one in chart.outside}


def test_moving_average_table_holds_the_judged_checks(chart):
    assert list(chart.ewma.columns) == ["date", "stage", "ewma", "ewma_low", "ewma_high"]
    assert len(chart.ewma) == 28


def test_text_says_state_limits_and_what_is_outside(chart):
    text = str(chart)
    assert f"state                  left control on {chart.left_control}" in text
    assert "base period            20 checks, 2025-01-06 to 2025-03-13" in text
    assert "(±3 standard deviations, from the moving range)" in text
    assert f"outside {chart.left_control}     EWMA: " in text
    assert "event 2025-04-03       belt guard refitted" in text
    assert "(known limits: " in text and "F test at 0.27 % a check" in text
    # one line an event or day outside, whatever the number of rules broken
    assert text.count(f"outside {chart.left_control}") == 1


def test_html_is_escaped():
    history = simulate_check_history(events={"2025-04-03": "<belt>"}, rng=1)
    html = check_standard_chart(history, base_period=20)._repr_html_()
    assert "&lt;belt&gt;" in html and "<belt>" not in html


def test_dict_is_plain_and_whole(chart):
    record = json.loads(json.dumps(chart.to_dict()))
    assert record["left_control"] == chart.left_control
    assert record["stages"][0]["limits"] == list(chart.limits)
    assert len(record["checks"]) == 48 and record["false_alarms"]["base"] == 20
    assert len(record["not_for"]) == 4


def test_limits_in_force_are_those_of_the_last_stage_that_has_some():
    events = {"2025-05-12": "recalibrated", "2025-06-30": "recalibrated"}
    history = simulate_check_history(shifts=(Shift("2025-05-12", 0.5),), events=events, rng=2)
    chart = check_standard_chart(history, base_period=12, restart_after=["recalibrated"])
    assert [stage.limits is None for stage in chart.stages] == [False, False, True]
    assert chart.centre == chart.stages[1].centre == pytest.approx(6.7, abs=0.06)


@pytest.mark.parametrize(
    ("outside", "words"),
    [
        (Outside("2025-01-06", "individuals", 6.42, 6.1, 6.38, "judged"), "individuals: 6.42 above 6.38 W"),
        (Outside("2025-01-06", "EWMA", 6.0, 6.1, 6.38, "judged"), "EWMA: 6.00 below 6.10 W"),
        (Outside("2025-01-06", "repeatability", 0.5, None, 0.25, "judged"), "repeatability: 0.50 above 0.25 W"),
    ],
)
def test_words_of_a_check_outside(outside, words):
    assert outside_words(outside, 2, "W") == words


def test_limits_that_a_check_breaks():
    check = ChartedCheck(
        "2025-01-06", 7.0, 0.1, 3, "", None, 0, "judged", 6.0, 6.5, 6.4, 6.1, 6.3, 0.2, ("individuals", "EWMA")
    )
    assert [(one.rule, one.found, one.high) for one in check_outside(check)] == [
        ("individuals", 7.0, 6.5),
        ("EWMA", 6.4, 6.3),
    ]
