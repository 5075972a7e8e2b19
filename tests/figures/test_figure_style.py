"""The common look: settings restored, text kept as it was written, labels apart."""

import itertools

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

from lossstats.figures.figure_style import AFTER, BEFORE, house_style, own_axes, plain_text, spread_labels


def test_settings_of_the_user_come_back():
    with mpl.rc_context({"font.size": 31.0}):
        with house_style():
            assert mpl.rcParams["font.size"] == 9
        assert mpl.rcParams["font.size"] == 31.0


def test_own_axes_have_the_size_asked_for():
    plt = pytest.importorskip("matplotlib.pyplot")
    assert tuple(own_axes((4.0, 2.0)).figure.get_size_inches()) == (4.0, 2.0)
    plt.close("all")


@pytest.mark.parametrize("text", ["K01", "a $ b", "$x^2$", "cost $5 or $6", r"\frac $", "50 % & <b>"])
def test_text_is_shown_as_it_was_written(text):
    ax = Figure().add_subplot()
    label = ax.set_title(plain_text(text))
    cleaned, is_math = label._preprocess_math(label.get_text())
    assert cleaned == text
    assert not is_math


def test_long_text_is_cut_and_legend_takes_underscores():
    assert plain_text("x" * 50, 10) == "x" * 9 + "…"
    assert not plain_text("_dusty").startswith("_")


def test_labels_are_spread_no_more_than_needed():
    rng = np.random.default_rng(5)
    for n in (1, 2, 7, 15):
        wanted = rng.normal(size=n).tolist()
        placed = spread_labels(wanted, 0.3)
        in_order = [placed[i] for i in np.argsort(wanted)]
        assert all(b - a >= 0.3 - 1e-12 for a, b in itertools.pairwise(in_order))
        assert np.mean(placed) == pytest.approx(np.mean(wanted))  # each group stays centred on its points
    assert spread_labels([1.0, 2.0], 0.3) == [1.0, 2.0]


def test_the_two_colours_differ_in_grey_and_for_a_red_green_deficiency():
    # CIE 1976 lightness of the two colours; with the markers they must not be the only difference, but should differ.
    def lightness(colour):
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in mpl.colors.to_rgb(colour)]
        return 116 * (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]) ** (1 / 3) - 16

    assert abs(lightness(BEFORE) - lightness(AFTER)) > 5
    assert mpl.colors.to_rgb(BEFORE)[2] - mpl.colors.to_rgb(AFTER)[2] > 0.5  # blue, which such an eye keeps
