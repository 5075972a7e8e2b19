"""Figure of a rehearsal: bars and lines stand where the shares are, nothing cut off."""

import matplotlib as mpl
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from planned import planned

from lossstats.rehearsal.rehearsal import rehearse
from lossstats.rehearsal.rehearsal_figures import REHEARSAL_SIZE, draw_rehearsal

mpl.use("Agg")


@pytest.fixture(scope="module")
def rehearsal():
    settings = planned(one_way=True, comparison={"difference_that_matters": 0.25})
    return rehearse(settings, 30, components={"article": 0.3, "change": 0.1, "mount": 0.08, "run": 0.04})


@pytest.fixture
def ax(rehearsal):
    return draw_rehearsal(rehearsal, ax=Figure(figsize=REHEARSAL_SIZE, layout="constrained").add_subplot())


def test_bars_and_intervals_stand_where_the_shares_are(rehearsal, ax):
    kinds = [label.get_text() for label in ax.get_yticklabels()]
    parts = (rehearsal.none, rehearsal.some)
    assert kinds == [k for k in rehearsal.none.verdicts if any(part.verdicts[k].count for part in parts)]
    assert "saves" in kinds and "refused" not in kinds
    for part, bars, lines in zip(parts, ax.containers, ax.collections, strict=True):
        shares = [part.verdicts[kind] for kind in kinds]
        assert [bar.get_width() for bar in bars] == [share.value for share in shares]
        ends = [[point[0] for point in segment] for segment in lines.get_segments()]
        assert ends == [[share.low, share.high] for share in shares]
        for bar, segment in zip(bars, lines.get_segments(), strict=True):
            assert bar.get_y() < segment[0][1] < bar.get_y() + bar.get_height()


def test_the_two_savings_are_told_apart_without_colour(ax):
    first, second = ax.containers
    assert first[0].get_hatch() != second[0].get_hatch()
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["none", "0.25 W"]
    assert ax.get_legend().get_title().get_text() == "true saving"


def test_nothing_is_cut_off(ax):
    figure = ax.figure
    FigureCanvasAgg(figure).draw()
    box = figure.get_tightbbox()
    assert box.x0 >= 0 and box.y0 >= 0
    assert box.x1 <= figure.get_figwidth() and box.y1 <= figure.get_figheight()
    assert ax.get_xlim() == (0, 1)


def test_a_figure_of_its_own(rehearsal):
    import matplotlib.pyplot as plt

    ax = draw_rehearsal(rehearsal)
    assert tuple(ax.figure.get_size_inches()) == REHEARSAL_SIZE
    plt.close(ax.figure)
