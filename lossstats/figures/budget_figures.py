"""Figure of a finished uncertainty budget. It takes the numbers of its table as they are and computes nothing."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Protocol

from lossstats.figures.figure_style import BEFORE, GREY, house_style, own_axes, plain_text
from lossstats.records.rendering import shown, two_digits

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

MOST_BARS = 14


class WithTable(Protocol):
    """Anything with the table of a budget: columns source, contribution and share."""

    @property
    def table(self) -> pd.DataFrame:
        """The lines, unrounded."""
        ...


def draw_sources(budget: WithTable, *, ax: Axes | None = None) -> Axes:
    """Draw what each source adds to the uncertainty, the largest first.

    Parameters
    ----------
    budget : Budget, or anything with the same table
        A finished budget.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Contribution on x in the unit of the result, a bar a source, its share of the variance beside it. Beyond
        fourteen sources the smallest are left out, and the figure says how many.
    """
    unit, output = getattr(budget, "unit", ""), getattr(budget, "output", "")
    table = budget.table.sort_values("contribution", ascending=False, kind="stable")
    drawn = table.head(MOST_BARS)
    with house_style():
        ax = ax or own_axes((6.4, 1.1 + 0.3 * len(drawn)))
        ax.barh(range(len(drawn)), drawn["contribution"], height=0.62, color=BEFORE)
        for row, (size, share) in enumerate(zip(drawn["contribution"], drawn["share"], strict=True)):
            ax.annotate(
                _beside(size, share), (size, row), xytext=(4, 0), textcoords="offset points", va="center", fontsize=8
            )
        ax.set_yticks(range(len(drawn)), [plain_text(str(name)) for name in drawn["source"]])
        ax.set_ylim(len(drawn) - 0.4, -0.6)
        ax.tick_params(axis="y", length=0)
        ax.grid(visible=False, axis="y")
        ax.spines["left"].set_visible(False)
        ax.margins(x=0.3)  # room for the words beside the longest bar
        ax.set_xlim(left=0)
        in_unit = f" ({plain_text(unit)})" if unit else ""
        ax.set_xlabel(f"contribution to the standard uncertainty{in_unit}")
        ax.set_title(_title(budget, output, unit))
        if len(table) > len(drawn):
            ax.annotate(
                f"{len(table) - len(drawn)} smaller sources not drawn", (0.98, 0.04), xycoords="axes fraction",
                ha="right", fontsize=8, color=GREY,
            )  # fmt: skip
    return ax


def _beside(size: float, share: float) -> str:
    if math.isnan(share):
        return two_digits(size)
    return f"{two_digits(size)}   {shown(100 * share, 1)} %"


def _title(budget: WithTable, output: str, unit: str) -> str:
    u = getattr(budget, "standard_uncertainty", None)
    of = f" of {plain_text(output)}" if output and output != "result" else ""
    if u is None:
        return f"Where the uncertainty{of} comes from"
    return f"Where the standard uncertainty{of}, {two_digits(u)} {plain_text(unit)}".rstrip() + ", comes from"
