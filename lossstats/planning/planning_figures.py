"""Figure of the power of a plan. It takes the finished curve as it is and computes nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lossstats.figures.figure_style import AFTER, GREY, INK, house_style, own_axes, plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from lossstats.planning.power_curves import PowerCurve

POWER_SIZE = (5.6, 3.6)
_MOST_MARKS = 30  # numbers of units beyond which their marks would touch


def draw_power_curve(curve: PowerCurve, *, ax: Axes | None = None) -> Axes:
    """Draw the power over the number of units or over the true difference, with the planned point.

    Parameters
    ----------
    curve : PowerCurve
        As `lossstats.power_curve` gives it.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Power on y from 0 to 1; the power wanted is a dashed line, the plan a diamond.
    """
    from matplotlib.ticker import MaxNLocator

    with house_style():
        ax = ax or own_axes(POWER_SIZE)
        marked = curve.over == "units" and len(curve.values) <= _MOST_MARKS
        ax.plot(curve.values, curve.power, color=INK, linewidth=1.6, marker="o" if marked else "", markersize=4)
        ax.axhline(curve.wanted, color=GREY, linewidth=1, linestyle="--")
        ax.annotate(
            f"wanted: {curve.wanted:g}", (1.0, curve.wanted), xycoords=ax.get_yaxis_transform(), xytext=(-2, -3),
            textcoords="offset points", ha="right", va="top", fontsize=8, color=GREY,
        )  # fmt: skip
        if curve.planned_value is not None and curve.planned_power is not None:
            falling = curve.power[-1] < curve.power[0]
            _mark_plan(ax, curve.planned_value, curve.planned_power, falling=falling)
        if curve.over == "units":
            ax.xaxis.set_major_locator(MaxNLocator(integer=True, min_n_ticks=3))
        else:
            ax.set_xlim(left=min(curve.values))
        ax.set_ylim(0, 1.03)
        ax.set_xlabel(plain_text(curve.axis, 60))
        ax.set_ylabel("power")
        ax.set_title(plain_text(curve.claim, 70))
    return ax


def _mark_plan(ax: Axes, value: float, power: float, *, falling: bool) -> None:
    ax.plot([value], [power], "D", color=AFTER, markersize=8, zorder=3, clip_on=False)
    # Right below a rising curve there is room, right above a falling one; at the right edge there is not.
    low, high = ax.get_xlim()
    right = value > low + 0.7 * (high - low)
    ax.annotate(
        f"plan: {power:.2f}", (value, power), xytext=(-10 if right else 10, 8 if falling else -12),
        textcoords="offset points", ha="right" if right else "left", va="center" if falling else "top", fontsize=8.5,
        color=AFTER, bbox={"facecolor": ax.get_facecolor(), "edgecolor": "none", "pad": 0.8},
    )  # fmt: skip
