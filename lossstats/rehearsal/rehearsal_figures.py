"""Figure of a rehearsal: the chance of each verdict. It takes the finished rehearsal and computes nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lossstats.figures.figure_style import AFTER, BEFORE, INK, house_style, own_axes, plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from lossstats.rehearsal.rehearsal_result import Rehearsal

REHEARSAL_SIZE = (6.4, 3.6)
_BAR = 0.38  # height, of 1 between two verdicts


def draw_rehearsal(rehearsal: Rehearsal, *, ax: Axes | None = None) -> Axes:
    """Draw the share of each verdict at no saving and at the saving.

    Parameters
    ----------
    rehearsal : Rehearsal
        As `lossstats.rehearse` gives it.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Two bars a verdict, verdicts that never occurred left out; the thin line is the Monte Carlo interval.
    """
    from matplotlib.ticker import PercentFormatter

    parts = (
        (rehearsal.none, "none", BEFORE, "", -_BAR / 2),
        (rehearsal.some, f"{rehearsal.saving:g} {rehearsal.unit}", AFTER, "///", _BAR / 2),
    )
    kinds = [k for k in rehearsal.none.verdicts if any(part.verdicts[k].count for part, *_ in parts)]
    with house_style():
        ax = ax or own_axes(REHEARSAL_SIZE)
        for part, label, colour, hatch, offset in parts:
            shares = [part.verdicts[kind] for kind in kinds]
            places = [row + offset for row in range(len(kinds))]
            ax.barh(
                places, [s.value for s in shares], _BAR, label=plain_text(label), color=colour, hatch=hatch,
                edgecolor="white", linewidth=0,
            )  # fmt: skip
            ax.hlines(places, [s.low for s in shares], [s.high for s in shares], color=INK, linewidth=0.9)
        ax.set_yticks(range(len(kinds)), kinds)
        ax.invert_yaxis()
        ax.set_xlim(0, 1)
        ax.xaxis.set_major_formatter(PercentFormatter(1.0, symbol=" %"))
        ax.grid(visible=False, axis="y")
        ax.tick_params(axis="y", length=0)
        ax.set_xlabel(f"share of {rehearsal.trials} simulated trials (line: its 95 % interval)")
        ax.set_title("Verdicts of this plan, rehearsed")
        ax.legend(title="true saving", loc="upper left", bbox_to_anchor=(1.01, 1.0))
    return ax
