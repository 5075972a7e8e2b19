"""Figures of components and laboratories: marks where the result has its numbers, nothing cut off."""

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from lossstats.components.components import variance_components
from lossstats.components.components_figures import MANDEL_SIZE, components_size, draw_components, draw_mandel
from lossstats.components.interlaboratory import repeatability

mpl.use("Agg")


def axes(size):
    return Figure(figsize=size, layout="constrained").add_subplot()


def laboratories(names, n=3):
    rng = np.random.default_rng(2)
    values = 6.5 + 0.05 * rng.normal(size=(len(names), n)) + 0.1 * rng.normal(size=(len(names), 1))
    values[1] += 0.9
    return {"laboratory": np.repeat(names, n), "value": values.ravel()}


def components(names=("article", "mount"), offsets=(0, 0.6, 0.1, 0.9)):
    rng = np.random.default_rng(3)
    value = (
        np.repeat(offsets, 4) + np.tile([0.0, 0.0, 0.3, 0.3], len(offsets)) + 0.05 * rng.normal(size=4 * len(offsets))
    )
    table = {
        names[0]: np.repeat(np.arange(len(offsets)), 4),
        names[1]: np.tile([1, 1, 2, 2], len(offsets)),
        "value": value,
    }
    return variance_components(table, list(names), unit="W")


def inside(ax):
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    width, height = canvas.get_width_height()
    box = ax.get_tightbbox()  # of everything that is drawn, labels included
    return box.x0 >= -1 and box.y0 >= -1 and box.x1 <= width + 1 and box.y1 <= height + 1


def test_a_row_a_level_with_its_interval():
    found = components()
    ax = draw_components(found, ax=axes(components_size(found)))
    assert [t.get_text() for t in ax.get_yticklabels()] == ["article (4)", "mount (8)", "residual (16)"]
    bars = [line for line in ax.lines if line.get_linestyle() == "-"]
    assert [list(bar.get_xdata()) for bar in bars] == [list(found.interval(level)) for level in found.levels]
    marks = [line for line in ax.lines if line.get_marker() == "D"]
    assert [mark.get_xdata()[0] for mark in marks] == [found.sd[level] for level in found.levels]
    assert [t.get_text().replace("\n", " ") for t in ax.texts] == [found.statement(level) for level in found.levels]
    assert ax.get_xlabel().startswith("standard deviation (W);") and inside(ax)


def test_open_where_not_distinguishable_from_zero():
    found = components(offsets=(0.0, 0.0, 0.0, 0.01))
    ax = draw_components(found)
    faces = {level: line.get_markerfacecolor() for level, line in zip(found.levels, [line for line in ax.lines if line.get_marker() == "D"], strict=True)}  # fmt: skip
    assert found.interval("article").low == 0 and faces["article"] == "white" and faces["residual"] != "white"


def test_h_and_k_where_they_are():
    found = repeatability(laboratories([f"L{k}" for k in range(1, 8)]))
    ax = draw_mandel(found, ax=axes(MANDEL_SIZE))
    h, k = ([line.get_ydata()[0] for line in ax.lines if line.get_marker() == m] for m in "os")
    assert h == [lab.h for lab in found.laboratories] and k == [lab.k for lab in found.laboratories]
    levels = {round(line.get_ydata()[0], 9) for line in ax.lines}
    assert {round(sign * limit, 9) for limit in found.h_limits for sign in (1, -1)} <= levels
    assert {round(limit, 9) for lab in found.laboratories for limit in lab.k_limits} <= levels
    stars = [lab.h_mark for lab in found.laboratories if lab.h_mark] + [
        lab.k_mark for lab in found.laboratories if lab.k_mark
    ]
    assert stars and sorted(t.get_text() for t in ax.texts) == sorted(stars)
    assert inside(ax)


def test_few_laboratories_have_no_h():
    ax = draw_mandel(repeatability(laboratories(["A", "B"])))
    assert not [line for line in ax.lines if line.get_marker() == "o"]


@pytest.mark.parametrize("number", [3, 20])
def test_long_names_stay_inside(number):
    names = [f"_${k} laboratory of the second oven_" for k in range(number)]
    assert inside(draw_mandel(repeatability(laboratories(names)), ax=axes(MANDEL_SIZE)))
    found = components(names=("chain of the second oven, $left$ & dark", "_mount"))
    assert inside(draw_components(found, ax=axes(components_size(found))))
