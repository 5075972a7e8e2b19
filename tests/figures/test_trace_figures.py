"""Figures of runs against their samples and what was found in them."""

from dataclasses import replace

import drawn_results as drawn
import numpy as np
import pytest
from matplotlib.figure import Figure

from lossstats.figures.figures import RUNS_ON_A_SHEET, draw_run, draw_run_sheet, run_sheet_size


def drawn_run(number, found=None, **keywords):
    found = found or drawn.result("paired")
    run = found.runs[number]
    time_s, values = drawn.traces(found)[run.run]
    ax = Figure(figsize=(7, 3.2), layout="constrained").add_subplot()
    assert draw_run(time_s, values, run, ax=ax, **keywords) is ax
    ax.figure.draw_without_rendering()
    return ax, run, time_s, values


def line(ax, label):
    (found,) = [x for x in ax.lines if x.get_label() == label]
    return found


def test_samples_flags_curve_window_and_level():
    ax, run, time_s, values = drawn_run(1)  # the run with a spike
    np.testing.assert_array_equal(line(ax, "sample").get_ydata(), values)
    np.testing.assert_allclose(60 * line(ax, "sample").get_xdata(), time_s)
    flagged = line(ax, "flagged sample")
    assert 25 in run.screening.flagged
    np.testing.assert_array_equal(flagged.get_ydata(), values[list(run.screening.flagged)])
    window = ax.patches[0]
    ends = 60 * np.array([window.get_x(), window.get_x() + window.get_width()])
    np.testing.assert_allclose(ends, [run.settled.window_start_s, run.settled.window_stop_s])
    bar = ax.collections[0].get_segments()[0]
    np.testing.assert_allclose(bar[:, 1], run.level.interval(), rtol=1e-12)
    assert bar[0, 0] > time_s[-1] / 60
    labels = ax.get_legend_handles_labels()[1]
    assert any(label.startswith("level ") and " W" in label for label in labels)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("time (min)", "reading (W)")


def test_curve_is_the_fitted_approach():
    found = drawn.result("paired")
    with_approach = next(n for n, r in enumerate(found.runs) if r.level.approach is not None)
    ax, run, time_s, _ = drawn_run(with_approach)
    np.testing.assert_array_equal(line(ax, "fitted approach").get_ydata(), run.level.approach.at(time_s))


def test_a_run_without_flags_or_approach_has_none():
    found = drawn.result("paired")
    zero = next(n for n, r in enumerate(found.runs) if r.role == "zero" and r.level.approach is None)
    ax, *_ = drawn_run(zero)
    assert not {"flagged sample", "fitted approach"} & {x.get_label() for x in ax.lines}


@pytest.mark.parametrize(("number", "words"), [(1, "settled"), (2, "still moving, left out"), (3, "undecided whether settled")])  # fmt: skip
def test_title_says_whether_it_has_settled(number, words):
    ax, run, *_ = drawn_run(number, drawn.with_a_run_left_out())
    assert ax.get_title(loc="left").startswith(f"{run.run}: ")
    assert ax.get_title(loc="left").endswith(f": {words}")


def test_unit_is_that_of_the_readings():
    ax, *_ = drawn_run(1, unit="N")
    assert ax.get_ylabel() == "reading (N)"


def test_own_figure_without_axes():
    plt = pytest.importorskip("matplotlib.pyplot")
    found = drawn.result("paired")
    run = found.runs[1]
    ax = draw_run(*drawn.traces(found)[run.run], run)
    assert plt.get_fignums()
    assert ax.figure.get_size_inches()[0] == 7
    plt.close("all")


@pytest.mark.parametrize("count", [1, 2, 5, RUNS_ON_A_SHEET])
def test_sheet_has_one_panel_a_run(count):
    found = drawn.result("paired")
    traces = drawn.traces(found)
    runs = [replace(found.runs[n % len(found.runs)], article="$K$ & <b>") for n in range(count)]
    figure = Figure(figsize=run_sheet_size(count), layout="constrained")
    assert draw_run_sheet(runs, traces, figure) is figure
    if count < 6:
        figure.draw_without_rendering()
    used = [ax for ax in figure.axes if ax.axison]
    assert [len(ax.lines[0].get_xdata()) for ax in used] == [len(traces[r.run][0]) for r in runs]
    assert figure.get_supylabel() == "reading (W)"
    assert run_sheet_size(count)[1] < 9  # fits a page of A4
