"""The figure of a budget shows the numbers of its table."""

import matplotlib as mpl
import pandas as pd
import pytest

from lossstats.budgets.budget import propagate
from lossstats.budgets.source import Source
from lossstats.figures.budget_figures import MOST_BARS, draw_sources

mpl.use("Agg")


@pytest.fixture(autouse=True)
def closed():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.fixture
def budget():
    inputs = {
        "zero": Source.rectangular(0.05, unit="W"),
        "gain_$x$": Source.normal(0.35, value=5.0, unit="W"),
        "speed": Source.normal(0.1, unit="W"),
    }
    return propagate(lambda **w: sum(w.values()), inputs, unit="W", output="loss")


def test_bars_are_the_contributions_largest_first(budget):
    ax = draw_sources(budget)
    sizes = [bar.get_width() for bar in ax.patches]
    assert sizes == pytest.approx(sorted(budget.table["contribution"], reverse=True))
    assert [label.get_text() for label in ax.get_yticklabels()] == [r"gain_\$x\$", "speed", "zero"]
    assert "(W)" in ax.get_xlabel()
    assert ax.get_title(loc="left") == "Where the standard uncertainty of loss, 0.37 W, comes from"


def test_shares_stand_beside_the_bars(budget):
    texts = [text.get_text() for text in draw_sources(budget).texts]
    shares = sorted(budget.table["share"], reverse=True)
    assert texts[0] == f"0.35   {100 * shares[0]:.1f} %"
    assert len(texts) == 3


def test_drawn_into_axes_given(budget):
    import matplotlib.pyplot as plt

    _, ax = plt.subplots()
    assert draw_sources(budget, ax=ax) is ax


class Bare:
    table = pd.DataFrame({"source": [f"s{i}" for i in range(20)], "contribution": [float(i) for i in range(20)],
                          "share": [float("nan")] * 20})  # fmt: skip


def test_anything_with_a_table_and_no_more_bars_than_can_be_read():
    ax = draw_sources(Bare())
    assert len(ax.patches) == MOST_BARS
    texts = [text.get_text() for text in ax.texts]
    assert "6 smaller sources not drawn" in texts
    assert texts[0] == "19"
    assert ax.get_title(loc="left") == "Where the uncertainty comes from"


def test_a_budget_of_nothing_can_be_drawn():
    empty = propagate(lambda x: x, {"x": Source.normal(0.0, value=1.0)})
    assert len(draw_sources(empty).patches) == 1
