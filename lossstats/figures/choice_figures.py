"""Figures of what hangs on choices and on single units. They take finished results as they are and compute nothing."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import fill
from typing import TYPE_CHECKING

from lossstats.figures.figure_style import AFTER, GREY, INK, SOFT, house_style, own_axes, plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from lossstats.conclusion.choices import Sensitivity
    from lossstats.conclusion.leave_out import Influence, InfluenceRow
    from lossstats.conclusion.reanalysis import ChoiceRow

LONGEST_NAME = 52
WIDTH_OF_VERDICT = 30


def choices_size(rows: int) -> tuple[float, float]:
    """Size of a figure with so many rows.

    Parameters
    ----------
    rows : int
        Rows.

    Returns
    -------
    tuple of float
        Width and height in inches.
    """
    return 7.6, 1.15 + 0.34 * max(rows, 2)


def draw_sensitivity(sensitivity: Sensitivity, *, ax: Axes | None = None) -> Axes:
    """Draw the interval under each choice, against zero and the difference that matters.

    Parameters
    ----------
    sensitivity : Sensitivity
        What hangs on the choices.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Saving on x, a row a choice, the planned one at the top in bold; open marks: another verdict than planned. The
        verdict stands at the right. How the percentage is formed has no row. Below, if they were asked for, the range
        of the savings under all combinations.
    """
    s = sensitivity
    rows = [row for row in s.choices if not row.percent_only]
    with house_style():
        ax = ax or own_axes(choices_size(1 + len(rows) + bool(s.combinations)))
        names = [plain_text(row.choice, LONGEST_NAME) for row in rows]
        _draw_rows(ax, [s.planned, *rows])
        names = ["as planned", *names]
        if s.combined_range is not None:
            _draw_combinations(ax, s, len(names))
            names.append(f"savings, all {len(s.combinations)} combinations")
        _name_rows(ax, names)
        _finish(ax, s.matters, s.unit, "saving" if s.planned.low is not None else "change as read")
        kept = "" if s.kept is None else f": {s.kept} of {s.counted} keep the verdict"
        ax.set_title(f"One choice changed at a time{kept}{_open_marks(rows).removesuffix(' verdict')}")
    return ax


def draw_influence(influence: Influence, *, ax: Axes | None = None) -> Axes:
    """Draw the interval without each unit in turn, against zero and the difference that matters.

    Parameters
    ----------
    influence : Influence
        What hangs on single units.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Saving on x, a row a unit left out, all units at the top in bold; open marks: another verdict. Empty, with the
        reason, where nothing was left out.
    """
    with house_style():
        ax = ax or own_axes(choices_size(1 + len(influence.rows)))
        if not influence.rows:
            ax.set_axis_off()
            why = fill(plain_text(influence.why_none, 300), 60)
            ax.text(0.5, 0.5, why, ha="center", va="center", transform=ax.transAxes)
        else:
            names = [
                f"without {plain_text(row.left_out)}{' (untouched)' if row.group == 'control' else ''}"
                for row in influence.rows
            ]
            _draw_rows(ax, [influence.planned, *influence.rows])
            _name_rows(ax, ["all units", *names])
            _finish(ax, influence.matters, influence.unit, "saving")
        ax.set_title(f"Without each unit in turn{_open_marks(influence.rows)}")
    return ax


def _open_marks(rows: Sequence[ChoiceRow | InfluenceRow]) -> str:
    another = any(row.changed and row.low is not None for row in rows)
    return "; open: another verdict" if another else ""


def _name_rows(ax: Axes, names: Sequence[str]) -> None:
    ax.set_yticks(range(len(names)), names)
    for place, label in enumerate(ax.get_yticklabels()):
        label.set_fontweight("bold" if place == 0 else "normal")
    ax.set_ylim(len(names) - 0.4, -0.75)


def _draw_rows(ax: Axes, rows: Sequence[ChoiceRow | InfluenceRow]) -> None:
    """Intervals from the top down, the first one emphasised, the verdict of each at the right."""
    ax.axvline(rows[0].saving, color=INK, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1)
    for place, row in enumerate(rows):
        first = place == 0
        colour, size = (AFTER if row.changed else INK), (7.0 if first else 5.5)
        reach = None if row.low is None or row.high is None else [[row.saving - row.low], [row.high - row.saving]]
        ax.errorbar(
            [row.saving], [place], xerr=reach, fmt="D", color=colour, markersize=size, capsize=4 if first else 3,
            markerfacecolor="white" if row.changed or reach is None else colour,
            linewidth=2.4 if first else 1.3, capthick=2.0 if first else 1.3,
        )  # fmt: skip
        _at_the_right(ax, place, row.verdict, colour, bold=first)


def _draw_combinations(ax: Axes, s: Sensitivity, place: int) -> None:
    if s.combined_range is None:
        return
    ax.plot(s.combined_range, [place, place], "|-", color=GREY, linewidth=4, markersize=9, solid_capstyle="butt")
    kept = "" if s.combined_kept is None else f"{s.combined_kept} of {len(s.combinations)} keep the verdict"
    _at_the_right(ax, place, kept, GREY, bold=False)


def _at_the_right(ax: Axes, place: int, text: str, colour: str, *, bold: bool) -> None:
    ax.annotate(
        fill(plain_text(text, 80), WIDTH_OF_VERDICT), (1.0, place), xycoords=("axes fraction", "data"), xytext=(6, 0),
        textcoords="offset points", va="center", fontsize=8, color=colour, fontweight="bold" if bold else "normal",
        linespacing=0.95, annotation_clip=False,
    )  # fmt: skip


def _finish(ax: Axes, matters: float | None, unit: str, what: str) -> None:
    from matplotlib.transforms import blended_transform_factory

    grey = ""
    if matters is not None:
        ax.axvspan(-matters, matters, color=SOFT, alpha=0.4, linewidth=0, zorder=0)
        grey = f"; grey: less than the {matters:g} {plain_text(unit)} that matters"
    ax.axvline(0, color=INK, linewidth=1, zorder=1)
    ax.grid(visible=False, axis="y")
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    ax.margins(x=0.05)
    ax.set_xlabel(f"{what} ({plain_text(unit)}){grey}")
    top = blended_transform_factory(ax.transData, ax.transAxes)
    for text, shift, side in (("costs", -4, "right"), ("saves", 4, "left")):
        ax.annotate(
            text, (0, 1.0), xycoords=top, xytext=(shift, -1), textcoords="offset points", ha=side, va="top",
            fontsize=7.5, color=GREY,
        )  # fmt: skip
