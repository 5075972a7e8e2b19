"""The chart of a check standard: limits, rules, stages, words, and what it refuses."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from lossstats.bench.bench_examples import Shift, check_history_text, simulate_check_history
from lossstats.bench.bench_health import check_standard_chart
from lossstats.bench.chart_limits import c4
from lossstats.bench.check_history import make_check_history


def days(n, step=7, first="2025-01-06"):
    return [str(day.date()) for day in pd.date_range(first, periods=n, freq=f"{step}D")]


def quiet(count=30, **columns):
    values = 6.2 + 0.05 * np.random.default_rng(2).standard_normal(count)  # no false alarm
    return {"date": days(count), "value": values, **columns}


def test_limits_by_hand():
    history = quiet()
    base = history["value"][:20]
    chart = check_standard_chart(history, base_period=20)
    sd = np.abs(np.diff(base)).mean() * math.sqrt(math.pi) / 2
    assert chart.centre == pytest.approx(base.mean(), rel=1e-12)
    assert chart.limits == pytest.approx((base.mean() - 3 * sd, base.mean() + 3 * sd), rel=1e-12)
    by_sd = check_standard_chart(history, base_period=20, spread_from="standard deviation", width=2)
    assert by_sd.limits.high - by_sd.centre == pytest.approx(2 * base.std(ddof=1) / c4(20), rel=1e-12)
    assert chart.stages[0].lag_one == pytest.approx(
        np.sum((base[1:] - base.mean()) * (base[:-1] - base.mean())) / np.sum((base - base.mean()) ** 2)
    )


def test_moving_average_and_its_limits_by_hand():
    history = quiet()
    chart = check_standard_chart(history, base_period=20, ewma_weight=0.3, ewma_width=2.5)
    z, sd = chart.centre, chart.stages[0].sd
    for i, (value, row) in enumerate(zip(history["value"][20:], chart.ewma.itertuples(), strict=True), start=1):
        z = 0.3 * value + 0.7 * z
        half = 2.5 * sd * math.sqrt(0.3 / 1.7 * (1 - 0.7 ** (2 * i)))
        assert (row.ewma, row.ewma_high) == pytest.approx((z, chart.centre + half), rel=1e-12)
        assert row.ewma_low == pytest.approx(chart.centre - half, rel=1e-12)


def test_base_period_by_dates():
    history = quiet()
    by_count = check_standard_chart(history, base_period=12)
    assert check_standard_chart(history, base_period=("2025-01-01", days(12)[-1])).limits == by_count.limits
    later = check_standard_chart(history, base_period=(days(30)[5], days(30)[16]))
    assert [check.role for check in later.checks][:6] == ["before the base period"] * 5 + ["base"]
    assert later.centre == pytest.approx(history["value"][5:17].mean())
    assert later.stages[0].judged == 13


def test_a_bench_in_control():
    chart = check_standard_chart(quiet(), base_period=20)
    assert (chart.in_control, chart.left_control, chart.outside) == (True, None, ())
    assert chart.statement == (
        "The bench is in control: all 10 checks after the base period (2025-05-26 to 2025-07-28) lie within the limits."
    )


def test_a_step_is_found_dated_and_named():
    history = quiet()
    history["value"][24:] += 0.25
    chart = check_standard_chart(history, base_period=20)
    first = chart.outside[0]
    assert (first.date, first.rule) == (days(30)[24], "individuals")
    assert first.found == history["value"][24] and first.found > first.high
    assert chart.in_control is False and chart.left_control == days(30)[24]
    assert chart.suspect_since <= days(30)[23]
    assert f"The bench left control on {days(30)[24]} (individuals: " in chart.statement
    assert f"Results measured after {chart.suspect_since} are not to be used for claims" in chart.statement


def test_a_small_step_is_found_by_the_average_and_dated_back():
    values = np.tile([6.19, 6.21], 20)
    values[22:] += 0.02  # two of the standard deviations of the moving range
    chart = check_standard_chart({"date": days(40), "value": values}, base_period=20)
    assert {one.rule for one in chart.outside} == {"EWMA"}
    assert chart.left_control > days(40)[22]
    assert days(40)[20] <= chart.suspect_since <= days(40)[22]


def test_repeatability_by_the_f_quantile():
    history = quiet(sd=[0.05] * 30, n=[3] * 30)
    limit = 0.05 * math.sqrt(stats.f.isf(0.0027, 2, 40))
    history["sd"][25] = 1.001 * limit
    chart = check_standard_chart(history, base_period=20)
    assert (chart.pooled_sd, chart.pooled_dof) == (pytest.approx(0.05), 40)
    (one,) = chart.outside
    assert (one.date, one.rule, one.low) == (days(30)[25], "repeatability", None)
    assert one.high == pytest.approx(limit, rel=1e-9)
    assert chart.suspect_since == days(30)[24]
    history["sd"][25] = 0.999 * limit
    assert check_standard_chart(history, base_period=20).outside == ()


def test_without_sd_repeatability_is_said_not_to_be_tested():
    assert "not tested: the base period records no sd with n" in str(check_standard_chart(quiet(), base_period=20))


def recalibrated(n=40, at=24):
    history = quiet(n, event=[""] * n)
    history["value"][22:at] += 0.3
    history["value"][at:] += 0.5
    history["event"][at] = "recalibrated"
    return history


def test_limits_set_anew_after_a_recalibration():
    history = recalibrated()
    kept = check_standard_chart(history, base_period=12)
    assert kept.in_control is False
    assert "recalibrated on 2025-06-23: the limits go on as before" in kept.notes
    anew = check_standard_chart(history, base_period=12, restart_after=["recalibrated"])
    assert anew.in_control is True
    assert anew.centre == pytest.approx(history["value"][24:36].mean(), rel=1e-12)
    assert [stage.judged for stage in anew.stages] == [12, 4]
    assert "Before 2025-06-23 the bench had left control on 2025-06-09: results measured after" in anew.statement


def test_too_few_checks_after_a_recalibration_are_not_judged():
    chart = check_standard_chart(recalibrated(30), base_period=12, restart_after=["recalibrated"])
    assert chart.in_control is None
    assert [check.role for check in chart.checks][-6:] == ["limits not set"] * 6
    assert "Not judged: limits are set anew since 2025-06-23, and there are 6 checks since" in chart.statement
    assert chart.table["low"].isna().sum() == 6


def test_nothing_after_the_base_period():
    chart = check_standard_chart(quiet(12), base_period=12)
    assert chart.in_control is None
    assert chart.statement.startswith("Not judged: there is no check after the base period.")


def test_a_base_period_that_is_not_in_control_is_said():
    history = quiet()
    history["value"][5] += 1.0
    chart = check_standard_chart(history, base_period=20)
    assert chart.outside[0].role == "base"
    assert f"The base period itself is not in control ({days(30)[5]})" in chart.statement


def test_dependent_checks_are_noted_with_what_they_do():
    rng, z, values = np.random.default_rng(7), 0.0, []
    for _ in range(60):
        z = 0.9 * z + rng.standard_normal()
        values.append(z)
    chart = check_standard_chart({"date": days(60), "value": values}, base_period=40)
    r = chart.stages[0].lag_one
    assert r > 1.96 / math.sqrt(40)
    assert f"the moving range sees only {100 * math.sqrt(1 - r):.0f} % of the spread" in chart.notes[0]
    swinging = check_standard_chart({"date": days(30), "value": np.tile([1.0, 2.0], 15)}, base_period=20)
    assert "neighbours swing; limits are too wide" in swinging.notes[0]


def test_a_gap_and_coarse_values_are_noted():
    history = quiet()
    history["date"] = days(15) + days(15, first="2025-06-02")
    history["value"] = history["value"].round(1)
    chart = check_standard_chart(history, base_period=20)
    assert "no check in the 49 days before 2025-06-02 (usually 7 days apart); nothing is known" in " ".join(chart.notes)
    assert "different values, 0.1 apart: record the checks finer" in " ".join(chart.notes)


def test_false_alarms_stand_in_the_chart():
    chart = check_standard_chart(quiet(), base_period=20)
    assert (chart.false_alarms.base, chart.false_alarms.further) == (20, 10)
    assert chart.false_alarms.any_rule > 1.5 * chart.nominal_alarms.any_rule


def test_the_chart_keeps_its_promise_of_false_alarms():
    """The share of quiet benches called out of control, by the chart itself, against the figure it prints."""
    rng = np.random.default_rng(11)
    charts = [
        check_standard_chart({"date": days(40), "value": rng.normal(6.2, 0.05, 40)}, base_period=20) for _ in range(150)
    ]
    found = np.mean([chart.in_control is False for chart in charts])
    told = charts[0].false_alarms.any_rule
    assert found == pytest.approx(told, abs=3 * math.sqrt(told * (1 - told) / 150))


def test_too_short_a_base_period_says_how_many_are_needed():
    message = "base_period: found 9 checks; accepted: at least 10, better 20 to 30. .*from 10 checks 3[67] %.*known ex"
    with pytest.raises(ValueError, match=message):
        check_standard_chart(quiet(), base_period=9)


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"base_period": 31}, "base_period: found 31 checks; accepted: at most the 30 of the history"),
        (
            {"base_period": ("2024-01-01", "2024-02-01")},
            "found no check from 2024-01-01 to 2024-02-01; accepted: two ISO",
        ),
        ({"base_period": ("2025-06-01", "2025-01-01")}, "found no check from 2025-06-01 to 2025-01-01"),
        ({"base_period": ("6.1.2025", "2025-06-01")}, "base_period: found '6.1.2025'; accepted: an ISO 8601 date"),
        ({"base_period": 20, "width": 0}, "width: found 0.0; accepted: a finite number above 0"),
        ({"base_period": 20, "ewma_width": math.nan}, "ewma_width: found nan"),
        ({"base_period": 20, "ewma_weight": 1.2}, "ewma_weight: found 1.2; accepted: above 0, at most 1"),
        (
            {"base_period": 20, "repeatability_alpha": 1},
            "repeatability_alpha: found 1.0; accepted: a number between 0 and 1",
        ),
        ({"base_period": 20, "spread_from": "mad"}, "spread_from: found 'mad'; accepted: 'moving range' or"),
        (
            {"base_period": 20, "restart_after": ["oiled"]},
            "restart_after: found 'oiled'; accepted: a list of events of",
        ),
        ({"base_period": 20, "bench": "B9"}, "bench: found 'B9'; accepted: a name in the history, ''"),
    ],
)
def test_arguments_that_cannot_be(keys, message):
    with pytest.raises(ValueError, match=message):
        check_standard_chart(quiet(), **keys)


def test_two_benches_are_not_mixed():
    history = quiet(bench=["A", "B"] * 15)
    with pytest.raises(
        ValueError, match="found checks of 2 benches, 'A', 'B'; accepted: one bench a chart, chosen by bench="
    ):
        check_standard_chart(history, base_period=10)
    assert check_standard_chart(history, base_period=10, bench="A").bench == "A"


def test_a_recalibration_inside_the_base_period_is_refused():
    with pytest.raises(
        ValueError, match="found 'recalibrated' on 2025-06-23 inside it; accepted: a base period without"
    ):
        check_standard_chart(recalibrated(), base_period=30, restart_after=["recalibrated"])
    assert "recalibrated on 2025-06-23, inside the base period" in " ".join(
        check_standard_chart(recalibrated(), base_period=30).notes
    )


def test_an_event_to_restart_after_is_one_of_the_history():
    for name in ("recalibrated", ["Recalibrated"]):
        with pytest.raises(
            ValueError, match="^restart_after: found .*ecalibrated'; accepted: a list .*: 'recalibrated'$"
        ):
            check_standard_chart(recalibrated(), base_period=12, restart_after=name)


def test_equal_values_have_no_limits():
    with pytest.raises(ValueError, match="base_period: found 20 equal values, 6.2; accepted: checks recorded to finer"):
        check_standard_chart({"date": days(30), "value": [6.2] * 30}, base_period=20)


def test_from_a_file_and_from_columns_alike(tmp_path):
    history = simulate_check_history(shifts=(Shift("2025-05-12", 0.3),), rng=1)
    path = tmp_path / "checks.csv"
    path.write_text(check_history_text(history), encoding="utf-8")
    from_file = check_standard_chart(path, base_period=20)
    assert from_file.checks == check_standard_chart(make_check_history(history.table), base_period=20).checks
