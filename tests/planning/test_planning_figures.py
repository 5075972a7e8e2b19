"""Figure of the power: the curve and the plan where the result has them, whole units, nothing cut off."""

import matplotlib as mpl
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning_figures import POWER_SIZE, draw_power_curve
from lossstats.planning.power_curves import power_curve

mpl.use("Agg")
PLAN = PlannedDesign("paired", 5, {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05})
CURVES = {
    "units": power_curve(PLAN, difference=0.3),
    "many units": power_curve(PLAN.of_size(60), difference=0.1),
    "difference": power_curve(PLAN, over="difference", difference=0.25),
    "far right": power_curve(PLAN, over="difference", difference=0.6),
    "within": power_curve(PLAN, over="difference", within=0.4, difference=0.0),
    "no plan": power_curve(PLAN, over="difference"),
}


def drawn(curve):
    return draw_power_curve(curve, ax=Figure(figsize=POWER_SIZE, layout="constrained").add_subplot())


@pytest.mark.parametrize("name", CURVES)
def test_marks_stand_where_the_numbers_are(name):
    curve, ax = CURVES[name], drawn(CURVES[name])
    line, wanted, *plan = ax.lines
    assert list(line.get_xdata()) == list(curve.values) and list(line.get_ydata()) == list(curve.power)
    assert list(wanted.get_ydata()) == [0.8, 0.8]
    assert [(mark.get_xdata()[0], mark.get_ydata()[0]) for mark in plan] == (
        [] if curve.planned_value is None else [(curve.planned_value, curve.planned_power)]
    )
    assert (line.get_marker() == "o") == (name == "units")
    assert ax.get_title(loc="left") == curve.claim and ax.get_xlabel() == curve.axis.replace("$", "")
    assert ax.get_ylim() == (0, 1.03)


@pytest.mark.parametrize("name", CURVES)
def test_nothing_is_cut_off(name):
    ax = drawn(CURVES[name])
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    width, height = canvas.get_width_height()
    box = ax.get_tightbbox()
    assert box.x0 >= -1 and box.y0 >= -1 and box.x1 <= width + 1 and box.y1 <= height + 1
    if CURVES[name].over == "units":
        assert all(tick == round(tick) for tick in ax.get_xticks())


def test_a_figure_of_its_own():
    ax = draw_power_curve(CURVES["units"])
    assert tuple(ax.figure.get_size_inches()) == POWER_SIZE
    assert any(text.get_text() == "plan: 0.76" for text in ax.texts)
