"""Figures of runs with their samples: one run in full, and all runs on one sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lossstats.figures.figure_style import AFTER, BEFORE, GREY, INK, house_style, own_axes, plain_text
from lossstats.records.rendering import decimals_for, shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from lossstats.conclusion.result import RunResult

Array = NDArray[np.float64]
SIZE = (7.0, 3.2)
COLUMNS = 4
RUNS_ON_A_SHEET = 24  # fills a page of A4


def draw_run(time_s: Array, values: Array, run_result: RunResult, *, ax: Axes | None = None, unit: str = "W") -> Axes:
    """Draw one run: samples, flags, fitted approach, final window, and the level with its interval.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times in s.
    values : ndarray, shape (n,)
        Readings.
    run_result : RunResult
        What the analysis found for this run.
    ax : Axes, optional
        Where to draw; a new figure if left out.
    unit : str, default "W"
        Unit of the readings.

    Returns
    -------
    Axes
        Time in min on x, reading on y; the level stands at the right of the run.
    """
    with house_style():
        ax = ax or own_axes(SIZE)
        _draw_trace(ax, time_s, values, run_result, small=False)
        level, (low, high) = run_result.level, run_result.level.interval()
        places = decimals_for(level.standard_uncertainty)
        unit = plain_text(unit)
        interval = f"95 % interval\n{shown(low, places)} to {shown(high, places)} {unit}"
        x = time_s[-1] / 60 + 0.03 * (time_s[-1] - time_s[0]) / 60
        reach = [[level.value - low], [high - level.value]]
        ax.errorbar(
            [x], [level.value], yerr=reach, fmt="D", color=INK, markersize=5, capsize=3,
            label=f"level {shown(level.value, places)} {unit},\n{interval}",
        )  # fmt: skip
        ax.set(xlabel="time (min)", ylabel=f"reading ({unit})", title=_title(run_result))
        ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), borderaxespad=0.2)
    return ax


def run_sheet_size(runs: int) -> tuple[float, float]:
    """Choose the size of a sheet of small traces.

    Parameters
    ----------
    runs : int
        How many runs are on it.

    Returns
    -------
    tuple of float
        Width and height in inches.
    """
    return 7.0, 0.35 + (1.3 if runs > COLUMNS else 1.7) * -(-runs // COLUMNS)


def draw_run_sheet(
    runs: Sequence[RunResult], traces: Mapping[str, tuple[Array, Array]], figure: Figure, *, unit: str = "W"
) -> Figure:
    """Draw small traces of many runs, side by side, each on its own scale.

    Parameters
    ----------
    runs : sequence of RunResult
        At most `RUNS_ON_A_SHEET` of them.
    traces : mapping of str to (ndarray, ndarray)
        Time in s and readings of each run, by its name.
    figure : Figure
        Where to draw; made with constrained layout.
    unit : str, default "W"
        Unit of the readings.

    Returns
    -------
    Figure
        One panel a run, in the order given.
    """
    with house_style():
        columns = min(COLUMNS, len(runs))
        panels = figure.subplots(-(-len(runs) // columns), columns, squeeze=False).ravel()
        for ax, run in zip(panels, runs, strict=False):
            _draw_trace(ax, *traces[run.run], run, small=True)
            ax.set_title(f"{plain_text(run.run, 8)}  {_what(run, 14)}\n{_state(run)}", fontsize=7)
            ax.tick_params(labelsize=6.5)
        for ax in panels[len(runs) :]:
            ax.set_axis_off()
        figure.supxlabel("time (min)", fontsize=8)
        figure.supylabel(f"reading ({plain_text(unit)})", fontsize=8)
    return figure


def _draw_trace(ax: Axes, time_s: Array, values: Array, run: RunResult, *, small: bool) -> None:
    from matplotlib.ticker import MaxNLocator

    minutes, size = time_s / 60, 1.5 if small else 3.5
    settled = run.settled
    look: dict[str, Any] = {"color": BEFORE, "alpha": 0.13, "linewidth": 0, "label": f"final window,\n{settled.status}"}
    ax.axvspan(settled.window_start_s / 60, settled.window_stop_s / 60, **look)
    ax.plot(minutes, values, ".", color=GREY, markersize=size, label="sample", zorder=2)
    flagged = list(run.screening.flagged)
    if flagged:
        ax.plot(
            minutes[flagged], values[flagged], "X", color=AFTER, markersize=4.5 if small else 7.5,
            markeredgecolor="white", markeredgewidth=0.4, label="flagged sample", zorder=3,
        )  # fmt: skip
    if run.level.approach is not None:
        ax.plot(
            minutes, run.level.approach.at(time_s), "-", color=INK, linewidth=1.1, label="fitted approach", zorder=4
        )
    ax.axhline(run.level.value, color=BEFORE, linewidth=1, linestyle="--", zorder=1)
    if small:
        ax.xaxis.set_major_locator(MaxNLocator(3))
        ax.yaxis.set_major_locator(MaxNLocator(3))


def _what(run: RunResult, longest: int) -> str:
    words = (run.article, run.condition) if run.role == "test" else (run.role if run.role == "zero" else run.article,)
    return " ".join(plain_text(word, longest) for word in words if word)


def _state(run: RunResult) -> str:
    words = {"settled": "settled", "moving": "still moving", "undecided": "undecided whether settled"}
    return words[run.settled.status] + ("" if run.used else ", left out")


def _title(run: RunResult) -> str:
    mount = f", mount {plain_text(run.mount, 10)}" if run.mount else ""
    return f"{plain_text(run.run, 16)}: {_what(run, 24)}{mount}: {_state(run)}"
