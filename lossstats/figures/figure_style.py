"""The look that all figures share, in a notebook and on the result sheet: colours, marks, sizes, labels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Colours of Okabe and Ito (2008), told apart with every common deficiency of colour vision; each has its own marker
# and line style as well, so that the figures also read in grey.
INK, SOFT, GREY = "#222222", "#BBBBBB", "#6E6E6E"
BEFORE, AFTER = "#0072B2", "#D55E00"
MARKS = {"before": ("o", BEFORE, "-"), "after": ("s", AFTER, "--")}
# Further conditions go on from those two, each with a colour, a marker and a line style of its own.
MORE_MARKS = (("^", "#009E73", "-."), ("v", "#CC79A7", ":"), ("P", "#E69F00", "-"), ("X", "#56B4E9", "--"))
LONGEST_LABEL = 28

_RC: dict[str, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],  # comes with matplotlib: the same picture on every machine
    "font.size": 9,
    "axes.titlesize": 10,
    "axes.titlelocation": "left",
    "axes.labelsize": 9,
    "xtick.labelsize": 8,
    "ytick.labelsize": 8,
    "legend.fontsize": 8,
    "legend.title_fontsize": 8,
    "legend.frameon": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "xtick.major.width": 0.8,
    "ytick.major.width": 0.8,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": "#E8E8E8",
    "grid.linewidth": 0.7,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
}


def condition_marks(names: Sequence[str]) -> dict[str, tuple[str, str, str]]:
    """Give every condition its marker, colour and line style.

    Parameters
    ----------
    names : sequence of str
        The conditions, the reference condition first.

    Returns
    -------
    dict of str to tuple of str
        They repeat after six.

    Examples
    --------
    >>> condition_marks(["dusty", "cleaned"])["cleaned"]
    ('s', '#D55E00', '--')
    """
    looks = (MARKS["before"], MARKS["after"], *MORE_MARKS)
    return {name: looks[number % len(looks)] for number, name in enumerate(names)}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw in the look of the kit, and leave the user's own settings as they were.

    Yields
    ------
    None
        Inside the block every new artist has the look.
    """
    import matplotlib as mpl
    import seaborn as sns

    look: Any = {**sns.axes_style("ticks"), **_RC}
    with mpl.rc_context(look):
        yield


def own_axes(size: tuple[float, float]) -> Axes:
    """Make the axes of a figure that a notebook shows by itself.

    Parameters
    ----------
    size : tuple of float
        Width and height in inches.

    Returns
    -------
    Axes
        The only axes of a new figure.
    """
    import matplotlib.pyplot as plt

    return plt.figure(figsize=size, layout="constrained").add_subplot()


def plain_text(text: str, longest: int = LONGEST_LABEL) -> str:
    """Text of the user as a label: cut short, and no mathematics made of it.

    Parameters
    ----------
    text : str
        Name of an article, a condition, a run.
    longest : int
        Characters to keep.

    Returns
    -------
    str
        Shown as it was written.

    Examples
    --------
    >>> plain_text("chain of the second oven, left side", 20)
    'chain of the second…'
    """
    cut = text if len(text) <= longest else text[: longest - 1].rstrip() + "…"
    cut = cut.replace("$", r"\$").replace("\n", " ")
    return f" {cut}" if cut.startswith("_") else cut  # a legend passes over labels that begin with _


def spread_labels(positions: Sequence[float], gap: float) -> list[float]:
    """Move labels apart, as little as needed, so that none lies on another.

    Parameters
    ----------
    positions : sequence of float
        Where the labels belong.
    gap : float
        Smallest distance between two.

    Returns
    -------
    list of float
        Where to put them, in the order given.

    Examples
    --------
    >>> [round(y, 2) for y in spread_labels([1.0, 1.0, 3.0], 0.5)]
    [0.75, 1.25, 3.0]
    """
    order = sorted(range(len(positions)), key=lambda i: positions[i])
    clusters: list[list[int]] = []
    for i in order:
        clusters.append([i])
        while len(clusters) > 1 and _foot(clusters[-1], positions, gap) < _top(clusters[-2], positions, gap) + gap:
            clusters[-2:] = [clusters[-2] + clusters[-1]]
    placed = dict.fromkeys(order, 0.0)
    for cluster in clusters:
        foot = _foot(cluster, positions, gap)
        placed.update({i: foot + k * gap for k, i in enumerate(cluster)})
    return [placed[i] for i in range(len(positions))]


def _foot(cluster: list[int], positions: Sequence[float], gap: float) -> float:
    return sum(positions[i] for i in cluster) / len(cluster) - gap * (len(cluster) - 1) / 2


def _top(cluster: list[int], positions: Sequence[float], gap: float) -> float:
    return _foot(cluster, positions, gap) + gap * (len(cluster) - 1)
