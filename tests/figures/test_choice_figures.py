"""Figures against the numbers of the results they draw."""

from dataclasses import replace
from functools import cache

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

from lossstats.conclusion.choices import sensitivity
from lossstats.conclusion.leave_out import leave_one_out
from lossstats.figures.choice_figures import choices_size, draw_influence, draw_sensitivity
from lossstats.figures.figure_style import AFTER, INK, house_style
from lossstats.simulator.examples import example_trial
from lossstats.simulator.simulate import Display, Noise, Readings, lay_out, simulate_trial

READINGS = Readings(samples=40, noise=Noise(0.002), display=Display(0.001))
LONG = "<i>second oven</i> $x$ & $ left side"


@cache
def trial(name):
    if name in {"flour_dust", "one_chain"}:
        return example_trial(name)
    design = "controls" if name == "controls" else "paired"
    plan = lay_out(design, articles=4, controls=3 if name == "controls" else 0, references_every=4)
    made, _ = simulate_trial(replace(plan, readings=READINGS), rng=3)
    if name == "strange":
        made = replace(made, runs=tuple(replace(r, article=f"{r.article} {LONG}") for r in made.runs))
    return made


@cache
def choices(name):
    return sensitivity(trial(name), combine=name == "flour_dust")


@cache
def influence(name):
    return leave_one_out(trial(name))


def axes(rows=10):
    with house_style():
        return Figure(figsize=choices_size(rows), layout="constrained").add_subplot()


def intervals(ax):
    return [tuple(bar.get_segments()[0][:, 0]) for bar in ax.collections]


def marks(ax):
    return [line for line in ax.lines if line.get_marker() == "D"]


@pytest.mark.parametrize("name", ["flour_dust", "one_chain", "controls", "strange"])
@pytest.mark.parametrize("draw", [draw_sensitivity, draw_influence])
def test_everything_lies_inside_the_figure(draw, name):
    found = choices(name) if draw is draw_sensitivity else influence(name)
    before = str(found.to_dict())
    plt = pytest.importorskip("matplotlib.pyplot")
    settings = dict(mpl.rcParams)
    ax = draw(found)
    assert dict(mpl.rcParams) == settings
    with house_style():
        ax.figure.draw_without_rendering()
    page = ax.figure.bbox.padded(1)
    shown = [*ax.texts, ax.title, ax._left_title, ax.xaxis.label, *(ax.get_yticklabels() if ax.axison else [])]
    for text in shown:
        box = text.get_window_extent()
        inside = page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
        assert not text.get_text() or inside, f"{text.get_text()!r} is clipped"
    assert str(found.to_dict()) == before
    plt.close("all")


def test_each_choice_has_its_interval_and_its_verdict():
    found = choices("flour_dust")
    ax = draw_sensitivity(found, ax=axes())
    rows = [found.planned, *(row for row in found.choices if not row.percent_only)]
    np.testing.assert_allclose(intervals(ax)[: len(rows)], [(row.low, row.high) for row in rows], rtol=1e-12)
    assert [line.get_xdata()[0] for line in marks(ax)] == [row.saving for row in rows]
    words = [text.get_text().replace("\n", " ") for text in ax.texts]
    assert words[: len(rows)] == [row.verdict for row in rows]
    labels = ax.get_yticklabels()
    assert [text.get_text() for text in labels][: len(rows)] == ["as planned", *(row.choice for row in rows[1:])]
    assert [text.get_fontweight() for text in labels] == ["bold", *["normal"] * (len(labels) - 1)]
    assert ax.get_xlabel() == "saving (W); grey: less than the 0.25 W that matters"
    assert ax.get_title(loc="left") == "One choice changed at a time: 7 of 8 keep the verdict; open: another"
    assert 0 in {line.get_xdata()[0] for line in ax.lines if len(set(line.get_xdata())) == 1}


def test_another_verdict_is_open_and_coloured():
    found = choices("flour_dust")
    ax = draw_sensitivity(found, ax=axes())
    rows = [found.planned, *(row for row in found.choices if not row.percent_only)]
    assert any(row.changed for row in rows)
    for row, mark in zip(rows, marks(ax), strict=True):
        assert (mark.get_markerfacecolor() == "white") == row.changed
        assert mark.get_color() == (AFTER if row.changed else INK)


def test_the_combinations_are_their_range():
    found = choices("flour_dust")
    ax = draw_sensitivity(found, ax=axes())
    (line,) = [line for line in ax.lines if line.get_marker() == "|" and len(line.get_xdata()) == 2 and line.get_linewidth() == 4]  # fmt: skip
    assert tuple(line.get_xdata()) == found.combined_range
    assert ax.get_yticklabels()[-1].get_text() == f"savings, all {len(found.combinations)} combinations"
    words = {text.get_text() for text in ax.texts}
    assert f"{found.combined_kept} of {len(found.combinations)} keep the verdict" in words


def test_one_article_is_drawn_without_intervals():
    ax = draw_sensitivity(choices("one_chain"), ax=axes())
    assert not ax.collections and all(mark.get_markerfacecolor() == "white" for mark in marks(ax))
    assert ax.get_title(loc="left") == "One choice changed at a time"
    assert ax.get_xlabel().startswith("change as read (W)")


def test_each_unit_left_out_has_its_interval():
    found = influence("flour_dust")
    ax = draw_influence(found, ax=axes())
    rows = [found.planned, *found.rows]
    np.testing.assert_allclose(intervals(ax), [(row.low, row.high) for row in rows], rtol=1e-12)
    assert [t.get_text() for t in ax.get_yticklabels()] == ["all units", *(f"without {r.left_out}" for r in found.rows)]
    assert ax.get_title(loc="left") == "Without each unit in turn; open: another verdict"


def test_untouched_articles_are_marked_and_nothing_to_leave_out_is_said():
    labels = [t.get_text() for t in draw_influence(influence("controls"), ax=axes()).get_yticklabels()]
    assert "without C01 (untouched)" in labels and "without K01" in labels
    ax = draw_influence(influence("one_chain"), ax=axes())
    assert not ax.lines and ax.texts[0].get_text().replace("\n", " ") == influence("one_chain").why_none


def test_a_row_more_is_a_taller_figure():
    assert choices_size(9)[1] > choices_size(8)[1] and choices_size(0) == choices_size(2)
