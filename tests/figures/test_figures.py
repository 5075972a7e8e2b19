"""Figures against the numbers of the result they draw, for every design."""

from dataclasses import replace
from itertools import pairwise

import drawn_results as drawn
import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

from lossstats.conclusion.result import to_json
from lossstats.figures import figures
from lossstats.figures.figure_style import house_style

result = drawn.result
DRAW = {
    "levels": figures.draw_levels,
    "pairs": figures.draw_pairs,
    "saving": figures.draw_saving,
    "budget": figures.draw_budget,
}


def axes(name="saving"):
    with house_style():
        return Figure(figsize=figures.SIZES[name], layout="constrained").add_subplot()


def texts(figure):
    """Every text that is shown; ticks outside the limits are not."""
    hidden = set()
    for ax in figure.axes:
        for axis in (ax.xaxis, ax.yaxis):
            shown = set(map(id, axis.get_ticklabels())) if not ax.axison else set()
            low, high = sorted(axis.get_view_interval())
            shown |= {id(t.label1) for t in axis.get_major_ticks() if not low <= t.get_loc() <= high}
            hidden |= shown | {id(t.label2) for t in axis.get_major_ticks()}
    found = figure.findobj(mpl.text.Text)
    return [t for t in found if t.get_visible() and t.get_text().strip() and id(t) not in hidden]


@pytest.mark.parametrize("kind", DRAW)
@pytest.mark.parametrize("name", ["paired", "independent", "controls", "description", "strange"])
def test_draws_every_design_inside_its_figure_and_leaves_the_result_alone(name, kind):
    found = result(name)
    before = to_json(found)
    ax = axes(kind)
    assert DRAW[kind](found, ax=ax) is ax
    figure = ax.figure
    with house_style():
        figure.draw_without_rendering()
    page = figure.bbox.padded(1)
    for text in texts(figure):
        box = text.get_window_extent()
        inside = page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
        assert inside, f"{text.get_text()!r} is clipped"
    assert to_json(found) == before


@pytest.mark.parametrize("kind", DRAW)
def test_makes_its_own_figure_and_restores_the_settings(kind):
    plt = pytest.importorskip("matplotlib.pyplot")
    before = dict(mpl.rcParams)
    ax = DRAW[kind](result("paired"))
    assert ax.figure in map(plt.figure, plt.get_fignums())
    assert tuple(ax.figure.get_size_inches()) == figures.SIZES[kind]
    plt.close("all")
    assert dict(mpl.rcParams) == before


def test_pairs_join_the_two_values_of_each_unit():
    found = result("paired")
    ax = figures.draw_pairs(found, ax=axes())
    lines = [line.get_ydata() for line in ax.lines if len(line.get_xdata()) == 2 and line.get_marker() == "None"]
    table = found.unit_table
    assert len(lines) == found.comparison.n[0] == 3
    np.testing.assert_array_equal(sorted(map(tuple, lines)), sorted(map(tuple, table.to_numpy())))
    (mean,) = [line for line in ax.lines if line.get_label() == "mean"]
    assert list(mean.get_ydata()) == [found.comparison.before_mean, found.comparison.after_mean]
    assert ax.get_ylabel() == "power loss (W)"
    assert [t.get_text() for t in ax.get_xticklabels()] == ["dusty", "cleaned"]
    names = {t.get_text() for t in ax.texts}
    assert names == {"K01", "K02", "K03", "mean"}


def test_controls_are_drawn_apart_from_treated_articles():
    ax = figures.draw_pairs(result("controls"), ax=axes())
    joined = [line for line in ax.lines if len(line.get_xdata()) == 2 and line.get_marker() == "None"]
    assert sorted(line.get_linestyle() for line in joined) == ["-"] * 3 + ["--"] * 3
    open_marks = [line for line in ax.lines if line.get_markerfacecolor() == "none"]
    assert [len(line.get_xdata()) for line in open_marks] == [3, 3]


def test_independent_units_are_dots_by_condition():
    found = result("independent")
    ax = figures.draw_pairs(found, ax=axes())
    for x, condition in enumerate(("dusty", "cleaned")):
        (dots,) = [line for line in ax.lines if set(line.get_xdata()) == {x}]
        assert list(dots.get_ydata()) == [u.value for u in found.units if u.condition == condition]


def test_one_article_shows_the_interval_of_each_level():
    found = result("description")
    ax = figures.draw_pairs(found, ax=axes())
    ends = [tuple(path.vertices[:, 1]) for bars in ax.collections for path in bars.get_paths()]
    # No drift is removed here, so the drawn interval is that of the level itself.
    np.testing.assert_allclose(sorted(ends), sorted(run.level.interval() for run in found.runs), rtol=1e-12)
    assert "readings alone" in ax.get_title(loc="left")
    assert not [line for line in ax.lines if line.get_label() == "mean"]


def interval_of(ax):
    (bar,) = ax.collections
    return tuple(bar.get_segments()[0][:, 0])


@pytest.mark.parametrize("name", ["paired", "independent", "controls", "mounts", "known", "no M", "higher"])
def test_saving_ends_are_those_of_the_difference(name):
    found = result(name)
    ax = figures.draw_saving(found, ax=axes())
    d = found.comparison.difference
    np.testing.assert_allclose(interval_of(ax), (d.low, d.high), rtol=1e-12)
    assert ax.get_xlabel().startswith("saving (W)")
    assert found.comparison.verdict.words in ax.get_title(loc="left").replace("\n", " ")
    assert any(line.get_xdata()[0] == 0 == line.get_xdata()[1] for line in ax.lines if len(line.get_xdata()) == 2)
    low, high = ax.get_xlim()
    assert low < min(0, d.low) and high > max(0, d.high)


def test_saving_shows_the_difference_that_matters_if_there_is_one():
    band = figures.draw_saving(result("paired"), ax=axes()).patches[0]
    assert (band.get_x(), band.get_x() + band.get_width()) == (-0.25, 0.25)
    ax = figures.draw_saving(result("no M"), ax=axes())
    assert not ax.patches and ax.get_xlabel() == "saving (W)"


def test_saving_without_interval_is_an_open_mark_without_claim():
    found = result("description")
    ax = figures.draw_saving(found, ax=axes())
    assert not ax.collections
    (mark,) = [line for line in ax.lines if line.get_marker() == "D"]
    assert mark.get_xdata() == [found.comparison.observed]
    assert mark.get_markerfacecolor() == "white"
    assert any("no interval, no claim" in text.get_text() for text in ax.texts)


def test_saving_prints_an_end_on_its_own_side_of_zero():
    found = result("no M")
    d = replace(found.comparison.difference, low=0.0012)
    close = replace(found, comparison=replace(found.comparison, difference=d))
    ax = figures.draw_saving(close, ax=axes())
    assert any("(0.001 W to" in text.get_text() for text in ax.texts)


def test_longest_title_stays_inside():
    found = result("strange")
    words = "makes no difference that matters (0.25 W), though a smaller one is shown"
    verdict = replace(found.comparison.verdict, words=words)
    ax = figures.draw_saving(replace(found, comparison=replace(found.comparison, verdict=verdict)), ax=axes())
    ax.figure.draw_without_rendering()
    title = next(text for text in texts(ax.figure) if "though" in text.get_text())
    assert title.get_text().replace("\n", " ").endswith(words)
    assert title.get_window_extent().x1 <= ax.figure.bbox.x1


def test_budget_bars_are_the_shares():
    found = result("paired")
    ax = figures.draw_budget(found, ax=axes("budget"))
    widths = [bar.get_width() for bar in ax.patches]
    rows = sorted(found.budget.added, key=lambda s: s.share)
    np.testing.assert_allclose(widths, [100 * s.share for s in rows], rtol=1e-12)
    assert sum(widths) == pytest.approx(100)
    assert [t.get_text() for t in ax.get_yticklabels()] == [s.source for s in rows]
    assert all(" W" in text.get_text() for text in ax.texts) and "%" in ax.get_xlabel()


EIGHT = (
    ("scatter", 0.8), ("gain", 0.1), ("drift", 0.04), ("operating point: input power", 0.03),
    ("operating point: input temperature of the oil", 0.015), ("zero", 0.01), ("rezero", 0.004), ("$d$ <origin>", 0.001),
)  # fmt: skip


def with_eight_sources():
    found = result("paired")
    one, u = found.budget.sources[0], found.comparison.difference.standard_uncertainty
    sources = [replace(one, source=name, share=share, contribution=u * share**0.5) for name, share in EIGHT]
    idle = replace(one, source="readings", share=0.0, contribution=0.0)
    return replace(found, budget=replace(found.budget, sources=(idle, *sources)))


def test_eight_sources_are_read_one_by_one():
    found = with_eight_sources()
    with house_style():
        figure = Figure(figsize=figures.budget_size(found), layout="constrained")
        ax = figures.draw_budget(found, ax=figure.add_subplot())
        figure.draw_without_rendering()
    page = figure.bbox.padded(1)
    boxes = [text.get_window_extent() for text in texts(figure)]
    assert all(page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1 for box in boxes)
    labels = [text.get_window_extent() for text in ax.get_yticklabels()]
    words = [text.get_window_extent() for text in ax.texts]
    for several in (labels, words):
        assert all(low.y1 <= high.y0 for low, high in pairwise(several))
    names = [text.get_text().replace("\n", " ") for text in ax.get_yticklabels()]
    assert names[3:] == [
        "operating point: input temperature of the oil",
        "operating point: input power",
        "drift",
        "gain",
        "scatter",
    ]
    assert ax.texts[0].get_text().startswith("below 1 %") and ax.texts[-1].get_text().startswith("80 %")
    bars = [bar.get_window_extent() for bar in ax.patches]
    assert words[-1].x1 < bars[-1].x1 and all(word.x0 > bar.x1 for word, bar in zip(words[:-1], bars, strict=False))


def test_the_figure_of_the_budget_grows_with_its_sources():
    assert figures.budget_size(result("paired")) == figures.SIZES["budget"]
    assert figures.budget_size(result("description")) == figures.SIZES["budget"]
    assert figures.budget_size(with_eight_sources())[1] > 1.5 * figures.SIZES["budget"][1]


def test_budget_without_interval_says_why():
    ax = figures.draw_budget(result("description"), ax=axes("budget"))
    assert not ax.patches
    assert "No budget: one article without a known repeatability" in ax.texts[0].get_text().replace("\n", " ")
