"""Figures of a finished result. They take its numbers as they are and compute nothing.

Each function draws into the axes it is given, or makes its own, and returns the axes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from lossstats.comparison.statement import printed_places
from lossstats.figures.figure_style import (
    BEFORE,
    GREY,
    INK,
    MARKS,
    SOFT,
    house_style,
    own_axes,
    plain_text,
    spread_labels,
)
from lossstats.figures.level_figures import SIZE as LEVELS_SIZE
from lossstats.figures.level_figures import draw_levels
from lossstats.figures.trace_figures import RUNS_ON_A_SHEET, draw_run, draw_run_sheet, run_sheet_size
from lossstats.records.rendering import decimals_for, shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from lossstats.conclusion.result import Result
    from lossstats.conclusion.saving_budget import SavingSource
    from lossstats.corrections.unit_table import UnitValue
    from lossstats.records.estimate import Estimate

__all__ = [
    "RUNS_ON_A_SHEET",
    "SIZES",
    "budget_size",
    "draw_budget",
    "draw_levels",
    "draw_pairs",
    "draw_run",
    "draw_run_sheet",
    "draw_saving",
    "run_sheet_size",
]

SIZES = {"levels": LEVELS_SIZE, "pairs": (5.2, 3.8), "saving": (5.8, 2.2), "budget": (5.8, 2.1)}
MOST_NAMED_UNITS = 16


def draw_pairs(result: Result, *, ax: Axes | None = None) -> Axes:
    """Draw the values that were compared: lines for pairs, dots for independent units, both values of one article.

    Parameters
    ----------
    result : Result
        The finished result.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Condition on x, value on y; diamonds are the means. For one article every run has the interval of its
        level, which holds the readings alone.
    """
    with house_style():
        ax = ax or own_axes(SIZES["pairs"])
        draw, title = _pairs_by_design(result)
        draw(ax, result)
        if result.compared.design != "single":
            _draw_means(ax, result)
        keys, trial = result.settings.comparison, result.settings.trial
        ax.set_xticks([0, 1], [plain_text(keys.before), plain_text(keys.after)])
        ax.set_xlim(-0.4, 1.5)
        ax.grid(visible=False, axis="x")
        ax.set(ylabel=f"{plain_text(trial.measurand)} ({plain_text(trial.unit)})", title=title)
    return ax


def _pairs_by_design(result: Result) -> tuple[Callable[[Axes, Result], None], str]:
    unit = result.settings.comparison.unit_of_replication
    return {
        "paired": (_draw_lines, f"Each line is one {unit}"),
        "crossover": (_draw_lines, f"Each line is one {unit}, in either order"),
        "controls": (_draw_lines, "Each line is one article; grey: left untouched"),
        "independent": (_draw_dots, f"Each mark is one {unit}"),
        "single": (_draw_one_article, "One article: bars are the readings alone"),
    }[result.compared.design]


def _draw_lines(ax: Axes, result: Result) -> None:
    keys = result.settings.comparison
    cells = {(u.unit, u.condition): u for u in result.units}
    units = list(dict.fromkeys(u.unit for u in result.units if u.condition == keys.after))
    ends = [(cells[name, keys.before], cells[name, keys.after]) for name in units]
    for before, after in ends:
        control = after.group == "control"
        ax.plot([0, 1], [before.value, after.value], "--" if control else "-", color=SOFT, linewidth=1, zorder=1)
    for x, which in ((0, "before"), (1, "after")):
        marker, colour, _ = MARKS[which]
        for group, face in (("treated", colour), ("control", "none")):
            ys = [pair[x].value for pair in ends if pair[x].group == group]
            if ys:
                edge = colour if group == "treated" else GREY
                ax.plot([x] * len(ys), ys, marker, color=edge, markerfacecolor=face, markersize=5.5)
    _name_units(ax, [after for _, after in ends], 1.0)


def _draw_dots(ax: Axes, result: Result) -> None:
    keys = result.settings.comparison
    for x, name, which in ((0, keys.before, "before"), (1, keys.after, "after")):
        marker, colour, _ = MARKS[which]
        members = [u for u in result.units if u.condition == name]
        ax.plot([x] * len(members), [u.value for u in members], marker, color=colour, markersize=5.5, alpha=0.85)
        _name_units(ax, members, float(x))


def _draw_one_article(ax: Axes, result: Result) -> None:
    keys = result.settings.comparison
    for x, name, which in ((0, keys.before, "before"), (1, keys.after, "after")):
        marker, colour, _ = MARKS[which]
        runs = [run for run in result.runs if run.condition == name and run.used and run.corrected is not None]
        for number, run in enumerate(runs):
            at = x + 0.06 * (number - (len(runs) - 1) / 2)
            low, high = run.level.interval(keys.confidence)
            reach = [[run.level.value - low], [high - run.level.value]]
            ax.errorbar(at, run.corrected or 0.0, yerr=reach, fmt=marker, color=colour, markersize=5.5, capsize=4)


def _name_units(ax: Axes, members: Sequence[UnitValue], x: float) -> None:
    if len(members) > MOST_NAMED_UNITS:
        return
    low, high = ax.get_ylim()
    heights = spread_labels([u.value for u in members], (high - low) * 0.048)
    for member, height in zip(members, heights, strict=True):
        ax.annotate(
            plain_text(member.unit, 14), (x, height), xytext=(9, 0), textcoords="offset points", va="center", fontsize=8
        )  # fmt: skip


def _draw_means(ax: Axes, result: Result) -> None:
    c = result.compared
    ax.plot([0, 1], [c.before_mean, c.after_mean], "D-", color=INK, linewidth=2, markersize=5, zorder=3, label="mean")
    look: dict[str, Any] = {"textcoords": "offset points", "ha": "right", "va": "center", "fontsize": 8}
    ax.annotate("mean", (0, c.before_mean), xytext=(-8, 0), **look)


def draw_saving(result: Result, *, ax: Axes | None = None) -> Axes:
    """Draw the saving with its interval, against zero and the difference that matters.

    Parameters
    ----------
    result : Result
        The finished result.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Saving on x. Grey: differences that do not matter, if one was fixed. Without an interval the change as
        read stands alone as an open mark.
    """
    with house_style():
        ax = ax or own_axes(SIZES["saving"])
        unit, c = plain_text(result.settings.trial.unit), result.compared
        matters, grey = c.verdict.matters, ""
        if matters is not None:
            ax.axvspan(-matters, matters, color=SOFT, alpha=0.4, linewidth=0)
            grey = f"; grey: less than the {matters:g} {unit} that matters"
        ax.axvline(0, color=INK, linewidth=1)
        if c.difference is None:
            ax.plot([c.observed], [0], "D", color=INK, markerfacecolor="white", markersize=7)
            _write(ax, c.observed, 0.5, f"change as read {shown(c.observed, 2)} {unit}: no interval, no claim")
        else:
            _draw_interval(ax, c.difference, unit, printed_places(c.difference, matters))
            if c.percent is not None:
                text = f"{_ends(c.percent, '%', decimals_for(c.percent.standard_uncertainty))} of the level before"
                _write(ax, c.difference.value, -0.5, text)
        ax.margins(x=0.2)
        ax.set(ylim=(-1, 1.35), yticks=[], xlabel=f"saving ({unit}){grey}")
        ax.spines["left"].set_visible(False)
        _name_sides(ax)
        ax.set_title(_verdict_title(result))
    return ax


def _verdict_title(result: Result) -> str:
    from textwrap import fill

    keys, words = result.settings.comparison, plain_text(result.compared.verdict.words, 100)
    join = ": " if words.startswith("no verdict") else " "
    title = f"{plain_text(keys.after, 20)} against {plain_text(keys.before, 20)}{join}{words}"
    return fill(title[:1].upper() + title[1:], 66)


def _draw_interval(ax: Axes, d: Estimate, unit: str, places: int) -> None:
    reach = [[d.value - d.low], [d.high - d.value]]
    ax.errorbar([d.value], [0], xerr=reach, fmt="D", color=INK, markersize=7, capsize=6, linewidth=2, capthick=2)
    _write(ax, d.value, 0.5, f"{_ends(d, unit, places)}, {d.confidence * 100:g} % interval")


def _ends(d: Estimate, unit: str, places: int) -> str:
    return f"{shown(d.value, places)} {unit} ({shown(d.low, places)} {unit} to {shown(d.high, places)} {unit})"


def _write(ax: Axes, x: float, y: float, text: str) -> None:
    paper = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1.5}
    ax.text(x, y, text, ha="center", va="center", fontsize=8.5, bbox=paper)


def _name_sides(ax: Axes) -> None:
    for text, shift, side in (("costs  ", -4, "right"), ("saves  ", 4, "left")):
        ax.annotate(
            text.strip(), (0, 1.24), xytext=(shift, 0), textcoords="offset points", ha=side, va="center", fontsize=8,
            color=GREY,
        )  # fmt: skip


def budget_size(result: Result) -> tuple[float, float]:
    """Size of the figure of the budget: a bar stays as thick whatever their number.

    Parameters
    ----------
    result : Result
        The finished result.

    Returns
    -------
    tuple of float
        Width and height in inches.
    """
    width, height = SIZES["budget"]
    return width, max(height, 0.9 + 0.34 * len(result.budget.added))


def draw_budget(result: Result, *, ax: Axes | None = None) -> Axes:
    """Draw what the uncertainty of the saving is made of.

    Parameters
    ----------
    result : Result
        The finished result.
    ax : Axes, optional
        Where to draw; a new figure of `budget_size` if left out.

    Returns
    -------
    Axes
        One bar a source that adds something, the largest on top: its share of the variance in percent, its standard
        uncertainty beside it. Empty, with the reason, where the result has no interval.
    """
    with house_style():
        ax = ax or own_axes(budget_size(result))
        difference, unit = result.headline, plain_text(result.settings.trial.unit)
        if difference is None:
            _say_why_empty(ax, result.budget.why_none)
            return ax
        rows = sorted(result.budget.added, key=lambda source: source.share)
        _draw_bars(ax, rows, unit)
        total = shown(difference.standard_uncertainty, decimals_for(difference.standard_uncertainty))
        ax.set_title(f"Standard uncertainty of the saving: {total} {unit}")
    return ax


def _draw_bars(ax: Axes, rows: Sequence[SavingSource], unit: str) -> None:
    from textwrap import fill

    # By position, not by name: two long names may look alike once they are cut.
    ax.barh(range(len(rows)), [100 * s.share for s in rows], color=BEFORE, height=0.6)
    ax.set_yticks(range(len(rows)), [fill(plain_text(s.source, 56), 28) for s in rows])
    ax.set_ylim(len(rows) - 0.5 - max(3, len(rows)), len(rows) - 0.5)  # a lone bar is as thin as one of three
    for number, s in enumerate(rows):
        part = f"{100 * s.share:.0f} %" if s.share >= 0.005 else "below 1 %"
        text = f"{part}, u = {shown(s.contribution, decimals_for(s.contribution))} {unit}"
        # Where the bar leaves no room behind it, the words stand on it.
        inside = s.share > 0.75
        ax.annotate(
            text, (100 * s.share, number), xytext=(-5 if inside else 4, 0), textcoords="offset points", va="center",
            ha="right" if inside else "left", color="white" if inside else INK, fontsize=8,
        )  # fmt: skip
    ax.tick_params(axis="y", length=0)
    ax.grid(visible=False, axis="y")
    ax.set(xlim=(0, 100), xlabel="share of the variance of the saving (%)")


def _say_why_empty(ax: Axes, why: str) -> None:
    from textwrap import fill

    ax.set_axis_off()
    ax.text(0.5, 0.5, fill(f"No budget: {plain_text(why, 300)}", 60), ha="center", va="center", transform=ax.transAxes)
    ax.set_title("What the uncertainty of the saving is made of")
