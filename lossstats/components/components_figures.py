"""Figures of components of variance and of laboratories. They take finished results as they are and compute nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lossstats.components.precision_result import plural
from lossstats.figures.figure_style import AFTER, GREY, INK, house_style, own_axes, plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from lossstats.components.component_result import Components
    from lossstats.components.precision_result import Repeatability

MANDEL_SIZE = (7.0, 4.2)
_H_SHIFT, _K_SHIFT = -0.12, 0.12


def components_size(components: Components) -> tuple[float, float]:
    """Size of the figure of the components.

    Parameters
    ----------
    components : Components
        The finished result.

    Returns
    -------
    tuple of float
        Width and height in inches; a row a level.
    """
    return 7.0, 1.3 + 0.45 * len(components.levels)


def draw_components(components: Components, ax: Axes | None = None) -> Axes:
    """Draw the standard deviation of every level with its 95 % interval.

    Parameters
    ----------
    components : Components
        The finished result.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Standard deviation on x, a row a level. Open marks: not distinguishable from 0.
    """
    with house_style():
        ax = ax or own_axes(components_size(components))
        for row, level in enumerate(components.levels):
            low, high = components.interval(level)
            # A bar of its own, since an estimate below 0, shown as 0, may lie outside an interval cut at 0.
            ax.plot([low, high], [row, row], "-", color=INK, linewidth=1.8, solid_capstyle="butt")
            ax.plot([low, high], [row, row], "|", color=INK, markersize=9, markeredgewidth=1.8)
            face = INK if low > 0 else "white"
            ax.plot([components.sd[level]], [row], "D", color=INK, markerfacecolor=face, markersize=6.5, clip_on=False)
            ax.annotate(
                components.statement(level).replace("0, at", "0,\nat"), (1.02, row), fontsize=8, va="center",
                xycoords=ax.get_yaxis_transform(), annotation_clip=False,
            )  # fmt: skip
        names = [f"{plain_text(level, 18)} ({components.units[level]})" for level in components.levels]
        ax.set_yticks(range(len(names)), names)
        ax.set_ylim(len(names) - 0.45, -0.55)
        ax.set_xlim(left=0)
        ax.grid(visible=False, axis="y")
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        unit = f" ({plain_text(components.unit)})" if components.unit else ""
        ax.set_xlabel(f"standard deviation{unit}; open: not distinguishable from 0")
        ax.set_title("Where the scatter comes from, 95 % intervals")
    return ax


def draw_mandel(repeatability: Repeatability, ax: Axes | None = None) -> Axes:
    """Draw h and k of every laboratory with their lines at 5 % and 1 %.

    Parameters
    ----------
    repeatability : Repeatability
        The finished result.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Laboratory on x. Circles and long lines: h, the distance of the mean; squares and short lines: k, the scatter
        within. Dashed: 5 %; full: 1 %. A number of stars marks what lies beyond.
    """
    found = repeatability
    with house_style():
        ax = ax or own_axes(MANDEL_SIZE)
        for limit, style in zip(found.h_limits or (), ("--", "-"), strict=False):
            for side in (limit, -limit):
                ax.axhline(side, color=GREY, linestyle=style, linewidth=0.9, zorder=1)
        ax.axhline(0, color=INK, linewidth=0.8, zorder=1)
        for x, lab in enumerate(found.laboratories):
            for limit, style in zip(lab.k_limits or (), ("--", "-"), strict=False):
                ax.plot([x - 0.1, x + 0.34], [limit, limit], style, color=AFTER, linewidth=1.2, zorder=2)
            look: dict[str, Any] = {"zorder": 3, "markersize": 6.5}
            if lab.h is not None:
                ax.plot([x + _H_SHIFT], [lab.h], "o", color=INK, **look)
                _star(ax, x + _H_SHIFT, lab.h, lab.h_mark)
            if lab.k is not None:
                ax.plot([x + _K_SHIFT], [lab.k], "s", color=AFTER, **look)
                _star(ax, x + _K_SHIFT, lab.k, lab.k_mark)
        names = [plain_text(lab.name, 10) for lab in found.laboratories]
        many = len(names) > 8
        ax.set_xticks(range(len(names)), names, rotation=45 if many else 0, ha="right" if many else "center")
        ax.set_xlim(-0.6, len(names) - 0.4)
        ax.grid(visible=False, axis="x")
        ax.set_xlabel(plain_text(found.by))
        ax.set_ylabel("h and k")
        ax.set_title(f"Which {plural(plain_text(found.by))} stand out; dashed 5 %, full 1 %")
        _explain(ax)
    return ax


def _star(ax: Axes, x: float, y: float, mark: str) -> None:
    if mark:
        ax.annotate(mark, (x, y), xytext=(-6, 0), textcoords="offset points", ha="right", va="center", fontsize=9)


def _explain(ax: Axes) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], marker="o", linestyle="none", color=INK, label="h: its mean, long lines"),
        Line2D([], [], marker="s", linestyle="none", color=AFTER, label="k: its scatter, short lines"),
    ]
    ax.legend(handles=handles, loc="upper left", bbox_to_anchor=(1.0, 1.0))
