"""Figures of a check chart and of a calibration line. They take a finished result as it is and compute nothing."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from lossstats.figures.figure_style import AFTER, BEFORE, GREY, INK, SOFT, house_style, own_axes, plain_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from lossstats.bench.check_chart import Chart, ChartedCheck, Stage
    from lossstats.bench.straight_line import CalibrationLine

CHART_SIZE = (7.4, 3.9)
LINE_SIZE = (6.2, 3.6)


def draw_check_chart(chart: Chart, *, ax: Axes | None = None) -> Axes:
    """Draw the checks over time with the limits that they were held against.

    Parameters
    ----------
    chart : Chart
        The finished chart.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Date on x, value on y. Grey ground: base period; dashed: limits of single checks; dotted: limits of the moving
        average; filled: outside, with the rule's initial (I individuals, E moving average, R repeatability).
    """
    with house_style():
        ax = ax or own_axes(CHART_SIZE)
        for number, stage in enumerate(chart.stages):
            _draw_stage(ax, chart, number, stage)
        _draw_checks(ax, chart.checks)
        _draw_events(ax, chart.checks)
        _date_axis(ax)
        name = plain_text(chart.article) if chart.article else "reference article"
        ax.set_ylabel(f"{name} ({plain_text(chart.unit)})")
        told = {True: "in control", False: f"left control on {chart.left_control}", None: "not judged"}
        ax.set_title(f"{plain_text(chart.bench, 60) or 'Bench'}: {told[chart.in_control]}")
        ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.12), ncols=4, handlelength=2.2, columnspacing=1.4)
        ax.margins(x=0.02, y=0.1)
    return ax


def _days(checks: Sequence[ChartedCheck]) -> list[Any]:
    return [date.fromisoformat(check.date) for check in checks]


def _draw_stage(ax: Axes, chart: Chart, number: int, stage: Stage) -> None:
    if stage.limits is None or stage.base_first is None or stage.base_last is None:
        return
    label: Any = {
        name: name if number == 0 else None for name in ("base period", "limits", "EWMA", "limits of the EWMA")
    }
    first, last, end = (date.fromisoformat(day) for day in (stage.base_first, stage.base_last, stage.last))
    ends: Any = [first, end]
    chart_centre: Any = stage.centre
    ax.axvspan(first, last, color=SOFT, alpha=0.3, linewidth=0, label=label["base period"])  # type: ignore[arg-type]
    ax.plot(ends, [chart_centre] * 2, color=INK, linewidth=1)
    for height, name in ((stage.limits.low, None), (stage.limits.high, label["limits"])):
        ax.plot(ends, [height] * 2, color=INK, linewidth=1, linestyle="--", label=name)
    judged = [check for check in chart.checks if check.stage == number and check.role == "judged"]
    days = _days(judged)
    averages: Any = [check.ewma for check in judged]
    ax.plot(days, averages, color=AFTER, linewidth=1.6, label=label["EWMA"])
    for heights, name in (
        ([check.ewma_low for check in judged], None),
        ([check.ewma_high for check in judged], label["limits of the EWMA"]),
    ):
        ax.step(days, heights, where="mid", color=AFTER, linewidth=1.1, linestyle=":", label=name)  # type: ignore[arg-type]


def _draw_checks(ax: Axes, checks: Sequence[ChartedCheck]) -> None:
    ax.plot(_days(checks), [check.value for check in checks], color=SOFT, linewidth=0.8, zorder=2)
    for outside, face, label in ((False, "white", "check"), (True, BEFORE, "check outside")):
        shown = [check for check in checks if bool(check.outside) == outside]
        ax.plot(
            _days(shown), [check.value for check in shown], "o", color=BEFORE, markerfacecolor=face, markersize=4.5,
            zorder=3, label=label,
        )  # fmt: skip
    look: Any = {"textcoords": "offset points", "ha": "center", "va": "bottom", "fontsize": 7, "color": GREY}
    for check in checks:
        if check.outside:
            initials = "".join(rule[0].upper() for rule in check.outside)
            ax.annotate(initials, (date.fromisoformat(check.date), check.value), xytext=(0, 4), **look)


def _draw_events(ax: Axes, checks: Sequence[ChartedCheck]) -> None:
    look: Any = {"rotation": 90, "va": "bottom", "ha": "right", "fontsize": 7.5, "color": GREY}
    for check in checks:
        if check.event:
            day: Any = date.fromisoformat(check.date)
            ax.axvline(day, color=GREY, linewidth=0.9, linestyle="-.")
            ax.text(day, 0.02, plain_text(check.event, 24), transform=ax.get_xaxis_transform(), **look)


def _date_axis(ax: Axes) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator: Any = AutoDateLocator(minticks=4, maxticks=9)  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]


def draw_calibration(line: CalibrationLine, *, ax: Axes | None = None) -> Axes:
    """Draw what the line left over, against the load.

    Parameters
    ----------
    line : CalibrationLine
        The finished line.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Load on x, indication less the line on y. Band: standard uncertainty of the line; bars: intervals of the load
        means; dashed: the tolerance, if one was fixed.
    """
    with house_style():
        ax = ax or own_axes(LINE_SIZE)
        x = np.linspace(line.applied.min(), line.applied.max(), 101)
        band = line.line_u(x)
        ax.fill_between(x, -band, band, color=SOFT, alpha=0.5, linewidth=0, label="standard uncertainty of the line")
        ax.axhline(0, color=INK, linewidth=1)
        ax.plot(
            line.applied, line.residuals, "o", color=BEFORE, markerfacecolor="white", markersize=4.5, label="reading"
        )
        if line.departures:
            _draw_departures(ax, line)
        if line.tolerance is not None:
            for side, label in ((-1, None), (1, "tolerance")):
                ax.axhline(side * line.tolerance, color=INK, linewidth=1, linestyle="--", label=label)
        ax.set_xlabel(f"load ({plain_text(line.load_unit)})")
        ax.set_ylabel(f"indication less the line ({plain_text(line.unit)})")
        ax.set_title(_line_title(line))
        ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.16), ncols=2)
        ax.margins(y=0.12)
    return ax


def _draw_departures(ax: Axes, line: CalibrationLine) -> None:
    places = [one.load for one in line.departures]
    means = [one.departure for one in line.departures]
    reach = [
        [one.departure - one.low for one in line.departures],
        [one.high - one.departure for one in line.departures],
    ]
    ax.errorbar(
        places, means, yerr=reach, fmt="D", color=AFTER, markersize=5, capsize=4, linewidth=1.4,
        label="mean of a load, interval for all together",
    )  # fmt: skip


def _line_title(line: CalibrationLine) -> str:
    if line.tolerance is None:
        return f"Residuals of {line.readings} readings at {line.loads} loads"
    judged = line.linearity_is if line.departures else "not judged"
    return f"Zero {line.zero_is}, linearity {judged}, against ±{line.tolerance:g} {plain_text(line.unit)}"
