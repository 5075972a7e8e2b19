"""Figures of a ranking: marks where the result has its numbers, words of the result, nothing cut off."""

from dataclasses import replace

import matplotlib as mpl
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from lossstats.conclusion.analysis import analyse
from lossstats.figures.ranking_figures import draw_conditions, draw_ranking, ranking_size
from lossstats.simulator.simulate import Noise, Readings, lay_out_blocks, simulate_trial

mpl.use("Agg")
LONG = "chain oil of the second drum, $thick$ & dark"


def result_of(names=("oil A", "oil B", "oil C", "oil D"), articles=4, **keys):
    plan = lay_out_blocks(names, articles=articles, rng=1, savings=(0.5, 0.0, -0.2, 0.0, 0.3)[: len(names) - 1])
    plan = replace(
        plan, readings=Readings(samples=30, noise=Noise(0.01)), articles=replace(plan.articles, mount_sd=0.03)
    )
    trial, _ = simulate_trial(plan, rng=2)
    settings = trial.settings
    comparison = replace(settings.comparison, difference_that_matters=0.25, **keys)
    settling = replace(settings.settling, still_moving="use with a note")
    return analyse(replace(trial, settings=replace(settings, comparison=comparison, settling=settling)))


@pytest.fixture(scope="module")
def result():
    return result_of()


def axes(size):
    return Figure(figsize=size, layout="constrained").add_subplot()


def texts(ax):
    return [text.get_text() for text in ax.texts]


def test_a_row_a_comparison_with_its_interval(result):
    ax = draw_ranking(result, ax=axes(ranking_size(result.ranking)))
    pairs = sorted(result.ranking.comparisons, key=lambda pair: -pair.difference)
    assert [label.get_text() for label in ax.get_yticklabels()] == [pair.second for pair in pairs]
    for container, pair in zip(ax.containers, pairs, strict=True):
        mark, _, (bar,) = container
        assert list(mark.get_xdata()) == [pair.difference]
        assert bar.get_segments()[0][:, 0].tolist() == pytest.approx([pair.low, pair.high])
        assert (mark.get_markerfacecolor() == "white") == (pair.low <= 0 <= pair.high)
    assert sum(pair.verdict.words in text for text, pair in zip(texts(ax), pairs, strict=False)) == 3
    assert "against oil A (W); grey: less than the 0.25 W" in ax.get_xlabel()


def test_all_pairs_are_named_by_both():
    ax = draw_ranking(result_of(control=None))
    assert len(ax.get_yticklabels()) == 6 and all(" → " in label.get_text() for label in ax.get_yticklabels())
    assert "second against first" in ax.get_xlabel()


def test_conditions_in_order_with_their_values_and_groups(result):
    ax = draw_conditions(result, ax=axes((5.6, 4.0)))
    order = result.ranking.order
    assert tuple(label.get_text() for label in ax.get_xticklabels()) == order
    means = [line for line in ax.lines if line.get_marker() == "D"]
    assert [line.get_ydata()[0] for line in means] == [result.ranking.means[name] for name in order]
    values = [line for line in ax.lines if line.get_marker() in "osv^"]
    assert sorted(y for line in values for y in line.get_ydata()) == sorted(unit.value for unit in result.units)
    members = [line for line in ax.lines if line.get_marker() == "|"]
    assert [list(line.get_xdata()) for line in members] == [[order.index(n) for n in g] for g in result.ranking.groups]
    assert "cannot be told apart" in texts(ax)


def test_long_names_and_many_conditions_stay_inside():
    names = (f"_{LONG}", LONG, "a", "b", "c", "d")
    found = result_of(names, articles=3)
    for draw, size in ((draw_ranking, ranking_size(found.ranking)), (draw_conditions, (5.6, 4.0))):
        ax = axes(size)
        draw(found, ax=ax)
        canvas = FigureCanvasAgg(ax.figure)
        canvas.draw()
        width, height = canvas.get_width_height()
        box = ax.get_tightbbox()  # of everything that is drawn, labels included
        assert box.x0 >= -1 and box.y0 >= -1 and box.x1 <= width + 1 and box.y1 <= height + 1


def test_a_result_of_two_conditions_is_refused(result):
    with pytest.raises(ValueError, match="result: found two conditions; accepted: a result of several"):
        draw_ranking(replace(result, ranking=None))
