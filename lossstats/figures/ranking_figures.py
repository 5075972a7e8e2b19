"""Figures of a finished ranking. They take its numbers as they are and compute nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lossstats.figures.figure_style import (
    GREY,
    INK,
    SOFT,
    condition_marks,
    house_style,
    own_axes,
    plain_text,
    spread_labels,
)
from lossstats.records.rendering import shown
from lossstats.several.ranking_statement import places_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from lossstats.conclusion.result import Result
    from lossstats.several.ranked import PairDifference, Ranking

VALUES_SIZE = (5.6, 4.0)
MOST_NAMED_UNITS = 12


def ranking_size(ranking: Ranking) -> tuple[float, float]:
    """Size of the figure of the differences.

    Parameters
    ----------
    ranking : Ranking
        The ranking.

    Returns
    -------
    tuple of float
        Width and height in inches; a row a comparison.
    """
    return 7.0, 1.25 + 0.42 * len(ranking.comparisons)


def draw_ranking(result: Result, *, ax: Axes | None = None) -> Axes:
    """Draw every difference with its simultaneous interval, against zero and the difference that matters.

    Parameters
    ----------
    result : Result
        The finished result of a trial of several conditions.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Saving on x, a row a comparison. Filled: told apart; open: cannot be told apart. Grey: differences that do
        not matter, if one was fixed.
    """
    ranking = result.ranked
    with house_style():
        ax = ax or own_axes(ranking_size(ranking))
        pairs = sorted(ranking.comparisons, key=lambda pair: -pair.difference)
        matters = pairs[0].verdict.matters
        if matters is not None:
            ax.axvspan(-matters, matters, color=SOFT, alpha=0.4, linewidth=0)
        ax.axvline(0, color=INK, linewidth=1)
        for row, pair in enumerate(pairs):
            _draw_row(ax, row, pair, result.settings.trial.unit)
        ax.set_yticks(range(len(pairs)), [_row_name(pair, ranking) for pair in pairs])
        ax.set_ylim(len(pairs) - 0.4, -0.75)
        ax.grid(visible=False, axis="y")
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        ax.margins(x=0.08)
        _name_sides(ax)
        grey = "" if matters is None else f"; grey: less than the {matters:g} {plain_text(ranking.unit)} that matters"
        against = "second against first" if ranking.control is None else f"against {plain_text(ranking.control)}"
        ax.set_xlabel(f"saving {against} ({plain_text(ranking.unit)}){grey}")
        ax.set_title(f"{ranking.confidence * 100:g} % intervals that hold together; open: cannot be told apart")
    return ax


def _row_name(pair: PairDifference, ranking: Ranking) -> str:
    if ranking.control is not None:
        return plain_text(pair.second, 20)
    return f"{plain_text(pair.first, 14)} → {plain_text(pair.second, 14)}"


def _draw_row(ax: Axes, row: int, pair: PairDifference, unit: str) -> None:
    reach = [[pair.difference - pair.low], [pair.high - pair.difference]]
    face = INK if pair.verdict.difference_shown else "white"
    ax.errorbar(
        [pair.difference], [row], xerr=reach, fmt="D", color=INK, markerfacecolor=face, markersize=6.5, capsize=5,
        linewidth=1.8, capthick=1.8,
    )  # fmt: skip
    places = places_of(pair)
    numbers = f"{shown(pair.difference, places)} ({shown(pair.low, places)} to {shown(pair.high, places)}) {unit}"
    ax.annotate(
        f"{numbers}\n{pair.verdict.words}", (1.02, row), xycoords=ax.get_yaxis_transform(), va="center", fontsize=8,
        linespacing=1.25, annotation_clip=False,
    )  # fmt: skip


def _name_sides(ax: Axes) -> None:
    look: dict[str, Any] = {"textcoords": "offset points", "va": "center", "fontsize": 8, "color": GREY}
    for text, shift, side in (("costs", -4, "right"), ("saves", 4, "left")):
        ax.annotate(text, (0, -0.58), xytext=(shift, 0), ha=side, **look)


def draw_conditions(result: Result, *, ax: Axes | None = None) -> Axes:
    """Draw the values that were compared, conditions best first, and which cannot be told apart.

    Parameters
    ----------
    result : Result
        The finished result of a trial of several conditions.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Condition on x, value on y; diamonds are the means, thin lines join the values of one article. A bar below
        spans conditions that cannot be told apart.
    """
    ranking, trial = result.ranked, result.settings.trial
    with house_style():
        ax = ax or own_axes(VALUES_SIZE)
        place = {name: x for x, name in enumerate(ranking.order)}
        if ranking.blocks:
            _join_articles(ax, result, place)
        looks = condition_marks(result.settings.comparison.all_conditions)
        for name, x in place.items():
            marker, colour, _ = looks[name]
            ys = [unit.value for unit in result.units if unit.condition == name]
            ax.plot([x] * len(ys), ys, marker, color=colour, markersize=5.5, alpha=0.9)
            ax.plot([x + 0.17], [ranking.means[name]], "D", color=INK, markersize=5.5, zorder=3)
        ax.annotate(
            "mean", (0.17, ranking.means[ranking.order[0]]), xytext=(6, 0), textcoords="offset points", va="center",
            fontsize=8,
        )  # fmt: skip
        _draw_groups(ax, ranking, place)
        ax.set_xticks(range(len(place)), [plain_text(name, 16) for name in place])
        ax.set_xlim(-0.5, len(place) - 0.25)
        ax.grid(visible=False, axis="x")
        ax.set_ylabel(f"{plain_text(trial.measurand)} ({plain_text(trial.unit)})")
        unit = result.settings.comparison.unit_of_replication
        ax.set_title(f"Each {'line' if ranking.blocks else 'mark'} is one {unit}; best mean on the left")
    return ax


def _join_articles(ax: Axes, result: Result, place: dict[str, int]) -> None:
    articles: dict[str, dict[str, float]] = {}
    for unit in result.units:
        articles.setdefault(unit.unit, {})[unit.condition] = unit.value
    for values in articles.values():
        ax.plot(list(place.values()), [values[condition] for condition in place], color=SOFT, linewidth=1, zorder=1)
    if len(articles) > MOST_NAMED_UNITS:
        return
    low, high = ax.get_ylim()
    last = list(place)[-1]
    heights = spread_labels([values[last] for values in articles.values()], 0.045 * (high - low))
    look: dict[str, Any] = {"textcoords": "offset points", "va": "center", "fontsize": 7.5, "color": GREY}
    for name, height in zip(articles, heights, strict=True):
        ax.annotate(plain_text(name, 12), (place[last] + 0.17, height), xytext=(8, 0), **look)


def _draw_groups(ax: Axes, ranking: Ranking, place: dict[str, int]) -> None:
    """Bars in a strip of their own below the values."""
    if not ranking.groups:
        return
    low, high = ax.get_ylim()
    step = 0.055 * (high - low)
    for number, group in enumerate(ranking.groups, start=1):
        y = low - number * step
        xs = [place[name] for name in group]
        ax.plot([min(xs), max(xs)], [y, y], color=INK, linewidth=1.6, solid_capstyle="butt")
        ax.plot(xs, [y] * len(xs), "|", color=INK, markersize=9, markeredgewidth=1.6)
    foot = low - (len(ranking.groups) + 1) * step
    ax.annotate("cannot be told apart", (-0.45, foot + 0.1 * step), fontsize=8, va="bottom", color=GREY)
    ax.set_ylim(foot - 0.6 * step, high)
