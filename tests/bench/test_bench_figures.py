"""Figures of the bench: marks where the result has its numbers, nothing cut off."""

from datetime import date

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.dates import date2num
from matplotlib.figure import Figure

from lossstats.bench.bench_examples import Shift, example_check_history, simulate_check_history
from lossstats.bench.bench_figures import CHART_SIZE, LINE_SIZE, draw_calibration, draw_check_chart
from lossstats.bench.bench_health import check_standard_chart
from lossstats.bench.calibration_line import calibrate_line

mpl.use("Agg")
LOADS = np.repeat([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], 3)


def axes(size):
    return Figure(figsize=size, layout="constrained").add_subplot()


@pytest.fixture(scope="module")
def chart():
    return check_standard_chart(example_check_history(), base_period=20)


@pytest.fixture(scope="module")
def line():
    return calibrate_line(LOADS, LOADS + np.random.default_rng(1).normal(0, 0.01, 18), tolerance=0.04)


def named(ax, label):
    (found,) = [one for one in ax.lines if one.get_label() == label]
    return found


def test_checks_limits_and_average_where_the_chart_has_them(chart):
    ax = draw_check_chart(chart, ax=axes(CHART_SIZE))
    marks = {name: named(ax, name) for name in ("check", "check outside", "EWMA", "limits", "limits of the EWMA")}
    outside = [check for check in chart.checks if check.outside]
    assert list(marks["check outside"].get_ydata()) == [check.value for check in outside]
    assert list(marks["check outside"].get_xdata()) == [date.fromisoformat(check.date) for check in outside]
    assert len(marks["check"].get_ydata()) == len(chart.checks) - len(outside)
    assert list(marks["limits"].get_ydata()) == [chart.limits.high] * 2
    assert list(marks["EWMA"].get_ydata()) == list(chart.ewma.ewma)
    assert list(marks["limits of the EWMA"].get_ydata()) == list(chart.ewma.ewma_high)
    texts = [text.get_text() for text in ax.texts]
    assert texts.count("E") == len(outside) and "belt guard refitted" in texts
    assert ax.get_title(loc="left") == f"loss bench: left control on {chart.left_control}"
    (ground,) = ax.patches
    assert ground.get_x() == date2num(date.fromisoformat("2025-01-06"))


def test_every_stage_has_its_limits():
    history = simulate_check_history(events={"2025-05-12": "recalibrated"}, shifts=(Shift("2025-05-12", 0.5),), rng=3)
    chart = check_standard_chart(history, base_period=12, restart_after=["recalibrated"])
    ax = draw_check_chart(chart, ax=axes(CHART_SIZE))
    assert len(ax.patches) == 2
    assert [text.get_text() for text in ax.get_legend().get_texts()].count("limits") == 1
    short = check_standard_chart(history, base_period=18, restart_after=["recalibrated"])
    assert len(draw_check_chart(short, ax=axes(CHART_SIZE)).patches) == 1


def test_residuals_and_departures_where_the_line_has_them(line):
    ax = draw_calibration(line, ax=axes(LINE_SIZE))
    assert list(named(ax, "reading").get_ydata()) == line.residuals.tolist()
    (container,) = ax.containers
    assert list(container[0].get_ydata()) == [one.departure for one in line.departures]
    assert named(ax, "tolerance").get_ydata()[0] == 0.04
    assert ax.get_title(loc="left") == "Zero within, linearity within, against ±0.04 W"


def test_a_line_without_repeats_and_tolerance(line):
    ax = draw_calibration(calibrate_line(LOADS[::3], line.observed[::3]), ax=axes(LINE_SIZE))
    assert not ax.containers
    assert ax.get_title(loc="left") == "Residuals of 6 readings at 6 loads"


def test_nothing_is_cut_off(line):
    events = {"2025-03-03": "a very long $event$ that somebody wrote & another"}
    chart = check_standard_chart(simulate_check_history(events=events, rng=1), base_period=20)
    for draw, result, size in ((draw_check_chart, chart, CHART_SIZE), (draw_calibration, line, LINE_SIZE)):
        ax = draw(result, ax=axes(size))
        canvas = FigureCanvasAgg(ax.figure)
        canvas.draw()
        width, height = canvas.get_width_height()
        box = ax.get_tightbbox()
        assert box.x0 >= -1 and box.y0 >= -1 and box.x1 <= width + 1 and box.y1 <= height + 1


def test_own_axes(chart, line):
    import matplotlib.pyplot as plt

    for draw, result, size in ((draw_check_chart, chart, CHART_SIZE), (draw_calibration, line, LINE_SIZE)):
        ax = draw(result)
        assert tuple(ax.figure.get_size_inches()) == size
        plt.close(ax.figure)
