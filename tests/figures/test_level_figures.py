"""The figure of all levels against the table of runs."""

import itertools
from dataclasses import replace

import drawn_results as drawn
import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

from lossstats.figures.figures import SIZES, draw_levels


def drawn_axes(found):
    ax = draw_levels(found, ax=Figure(figsize=SIZES["levels"], layout="constrained").add_subplot())
    below = [other for other in ax.figure.axes if other is not ax]
    return ax, (below[0] if below else None)


def points(ax, label):
    (line,) = [line for line in ax.lines if line.get_label() == label]
    return list(zip(line.get_xdata(), line.get_ydata(), strict=True))


def expected(found, value, **wanted):
    numbered = enumerate(found.runs, start=1)
    return [(n, value(r)) for n, r in numbered if all(getattr(r, k) == v for k, v in wanted.items())]


@pytest.mark.parametrize("name", ["paired", "independent", "controls", "description", "no M", "higher"])
def test_every_level_is_one_point_in_bench_order(name):
    found = drawn.result(name)
    ax, _ = drawn_axes(found)
    for condition in ("dusty", "cleaned"):
        assert points(ax, condition) == expected(found, lambda r: r.level.value, role="test", condition=condition)
    if name != "description":
        assert points(ax, "reference") == expected(found, lambda r: r.level.value, role="reference")


def test_corrected_levels_are_open_marks_of_the_same_shape():
    found = drawn.result("paired")
    ax, _ = drawn_axes(found)
    for condition in ("dusty", "cleaned"):
        label = f"{condition},\ncorrected"
        assert points(ax, label) == expected(found, lambda r: r.corrected, role="test", condition=condition)
        (opened,), (filled,) = ([x for x in ax.lines if x.get_label() == want] for want in (label, condition))
        assert opened.get_markerfacecolor() == "none"
        assert opened.get_marker() == filled.get_marker()


def test_uncorrected_levels_have_no_open_marks():
    ax, below = drawn_axes(drawn.result("description"))
    assert [line.get_label() for line in ax.lines if line.get_label()[0] != "_"] == ["dusty", "cleaned"]
    assert below is None
    assert "as read" in ax.get_title(loc="left")


def test_drift_removed_runs_through_the_references_of_each_bench_day():
    found = drawn.result("paired")
    ax, _ = drawn_axes(found)
    curves = [x for x in ax.lines if x.get_linestyle() == ":" and len(x.get_xdata()) > 2]
    assert len(curves) == len({r.bench_day for r in found.runs}) == 2
    drawn_at = {x: y for c in curves for x, y in zip(c.get_xdata(), c.get_ydata(), strict=True)}
    for n, level in expected(found, lambda r: r.level.value, role="reference"):
        assert drawn_at[n] == pytest.approx(level, abs=1e-12)
    # Between them it is the drift removed from each run, counted from the level of the corrected references.
    origin = next(r.corrected for r in found.runs if r.role == "reference")
    for n, removed in expected(found, lambda r: r.drift_removed, role="test"):
        assert drawn_at[n] - origin == pytest.approx(removed, abs=1e-12)


def test_no_drift_is_drawn_across_a_break():
    found = drawn.result("controls")
    middle = found.runs[4].start
    settings = replace(found.settings, drift=replace(found.settings.drift, breaks=(middle,)))
    count = [
        sum(x.get_linestyle() == ":" and len(x.get_xdata()) > 2 for x in drawn_axes(f)[0].lines)
        for f in (found, replace(found, settings=settings))
    ]
    assert count[1] == count[0] + 1


def test_zero_runs_have_axes_of_their_own():
    found = drawn.result("paired")
    ax, below = drawn_axes(found)
    assert points(below, "zero") == expected(found, lambda r: r.level.value, role="zero")
    assert below.get_ylabel() == "zero\n(W)"
    assert below.get_xlim() == ax.get_xlim()
    assert min(y for line in ax.lines for y in line.get_ydata() if len(line.get_xdata()) > 2) > 1


def test_zero_runs_hang_below_axes_without_a_grid():
    ax = Figure().add_axes((0.1, 0.4, 0.6, 0.5))
    draw_levels(drawn.result("paired"), ax=ax)
    assert [child.get_ylabel() for child in ax.child_axes] == ["zero\n(W)"]


def test_a_run_left_out_is_crossed():
    found = drawn.with_a_run_left_out()
    ax, _ = drawn_axes(found)
    assert points(ax, "left out") == [(3, found.runs[2].level.value)]


def test_intervals_are_those_of_the_levels():
    found = drawn.result("description")
    ax, _ = drawn_axes(found)
    ends = [tuple(path.vertices[:, 1]) for bars in ax.collections for path in bars.get_paths()]
    np.testing.assert_allclose(ends, [r.level.interval() for r in found.runs], rtol=1e-12)


def test_runs_are_named_and_names_do_not_overlap():
    found = drawn.result("paired")
    _, below = drawn_axes(found)
    below.figure.draw_without_rendering()
    labels = below.get_xticklabels()
    assert [t.get_text().split()[0] for t in labels] == [r.run for r in found.runs]
    boxes = [t.get_window_extent() for t in labels]
    assert all(one.x1 <= two.x0 for one, two in itertools.pairwise(boxes))


def test_many_runs_are_numbered_by_whole_numbers():
    found = drawn.result("paired")
    runs = tuple(replace(r, run=f"{k}-{r.run}") for k in range(4) for r in found.runs)
    _, below = drawn_axes(replace(found, runs=runs))
    below.figure.draw_without_rendering()
    assert below.get_xlabel() == "run, in bench order"
    assert all(float(x).is_integer() for x in below.get_xticks())


def test_colour_is_never_alone():
    ax, _ = drawn_axes(drawn.with_a_run_left_out())
    marks = [(x.get_marker(), x.get_markerfacecolor() == "none") for x in ax.lines if x.get_marker() != "None"]
    assert len(set(marks)) == len(marks)
    assert {mpl.colors.to_hex(x.get_color()) for x in ax.lines} >= {"#0072b2", "#d55e00"}
