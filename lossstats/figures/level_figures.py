"""Figure of all levels in bench order: conditions, reference runs, zero runs, and the drift that was removed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from lossstats.figures.figure_style import GREY, INK, condition_marks, house_style, own_axes, plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from lossstats.conclusion.result import Result, RunResult

SIZE = (7.0, 4.0)
MOST_NAMED_RUNS = 48


def draw_levels(result: Result, *, ax: Axes | None = None) -> Axes:
    """Draw all levels in bench order, with the reference runs, the zero runs and the drift that was removed.

    Parameters
    ----------
    result : Result
        The finished result.
    ax : Axes, optional
        Where to draw; a new figure if left out.

    Returns
    -------
    Axes
        Filled marks: as read, with the interval of each level; open marks: corrected for drift; crosses: left
        out. Zero runs lie near 0, so they have small axes of their own below.
    """
    with house_style():
        ax = ax or own_axes(SIZE)
        place = {run.run: number for number, run in enumerate(result.runs, start=1)}
        zeros = [run for run in result.runs if run.role == "zero"]
        _draw_test_runs(ax, result, place)
        _draw_references(ax, result, place)
        out = [run for run in result.runs if not run.used and run.role != "zero"]
        if out:
            _marks(ax, out, place, "x", color=INK, label="left out", markersize=10, markeredgewidth=1.4)
        ax.set_ylabel(f"{plain_text(result.settings.trial.measurand)} ({plain_text(result.settings.trial.unit)})")
        filled = "; filled: as read, open: drift of the bench removed" if _is_corrected(result) else ", as read"
        ax.set_title(f"Levels in bench order{filled}", pad=18)
        lowest = _draw_zeros(ax, result, zeros, place) if zeros else ax
        _name_runs(lowest, result.runs)
        _part_days(ax, lowest, result.runs)
        handles, labels = ax.get_legend_handles_labels()
        ax.legend(handles, labels, loc="upper left", bbox_to_anchor=(1.0, 1.0), borderaxespad=0.2, handlelength=1.6)
    return ax


def _draw_test_runs(ax: Axes, result: Result, place: dict[str, int]) -> None:
    keys = result.settings.comparison
    for name, (marker, colour, _) in condition_marks(keys.all_conditions).items():
        runs = [run for run in result.runs if run.role == "test" and run.condition == name]
        _marks(ax, runs, place, marker, color=colour, label=plain_text(name), markersize=4)
        _intervals(ax, runs, place, keys.confidence, colour)
        if _is_corrected(result):
            moved = [(place[run.run], run.corrected) for run in runs if run.corrected is not None]
            ax.plot(
                [x for x, _ in moved], [y for _, y in moved], marker, color=colour,
                markersize=7.5, markerfacecolor="none", label=f"{plain_text(name, 18)},\ncorrected",
            )  # fmt: skip


def _draw_references(ax: Axes, result: Result, place: dict[str, int]) -> None:
    references = [run for run in result.runs if run.role == "reference"]
    if not references:
        return
    _marks(ax, references, place, "D", color=GREY, label="reference", markersize=4.5)
    _intervals(ax, references, place, result.settings.comparison.confidence, GREY)
    if not result.drift.corrected_by_references:
        return
    # Corrected, every reference run lies on one level: the drift removed is drawn from there.
    level = next(run.corrected for run in references if run.corrected is not None)
    label: str | None = "drift\nremoved"
    for stretch in _stretches(result):
        along = [run for run in stretch if run.drift_removed is not None]
        ys = [level + run.drift_removed for run in along if run.drift_removed is not None]
        ax.plot([place[run.run] for run in along], ys, ":", color=GREY, linewidth=1.3, label=label, zorder=1.5)
        label = None


def _draw_zeros(ax: Axes, result: Result, zeros: Sequence[RunResult], place: dict[str, int]) -> Axes:
    from matplotlib.ticker import MaxNLocator

    small = _axes_below(ax)
    used = [run for run in zeros if run.used]
    _marks(small, used, place, "^", color=INK, label="zero", markersize=4)
    _intervals(small, used, place, result.settings.comparison.confidence, INK)
    out = [run for run in zeros if not run.used]
    if out:
        _marks(small, out, place, "x", color=INK, label="left out", markersize=8)
    if result.drift.corrected_by_zeros:
        for stretch in _stretches(result):
            along = [run for run in stretch if run.role == "zero" and run.used]
            small.plot([place[run.run] for run in along], [run.level.value for run in along], ":", color=GREY)
    small.axhline(0, color=INK, linewidth=0.7)
    small.margins(y=0.25)
    small.yaxis.set_major_locator(MaxNLocator(3))
    small.set_ylabel(f"zero\n({plain_text(result.settings.trial.unit)})")
    ax.tick_params(labelbottom=False)
    return small


def _axes_below(ax: Axes) -> Axes:
    # Room for them is taken from these axes where a grid knows their place; else they hang below.
    cell = ax.get_subplotspec()
    if cell is None:
        return ax.inset_axes((0.0, -0.34, 1.0, 0.26), sharex=ax)
    split = cell.subgridspec(2, 1, height_ratios=(4, 1))
    ax.set_subplotspec(split[0])
    return ax.figure.add_subplot(split[1], sharex=ax)


def _is_corrected(result: Result) -> bool:
    return result.drift.corrected_by_references or result.drift.corrected_by_zeros


def _marks(ax: Axes, runs: Sequence[RunResult], place: dict[str, int], marker: str, **look: Any) -> None:
    ax.plot([place[run.run] for run in runs], [run.level.value for run in runs], marker, **look)


def _intervals(ax: Axes, runs: Sequence[RunResult], place: dict[str, int], confidence: float, colour: str) -> None:
    if runs:
        ends = [run.level.interval(confidence) for run in runs]
        ax.vlines(
            [place[run.run] for run in runs], [e.low for e in ends], [e.high for e in ends], color=colour, linewidth=1
        )


def _stretches(result: Result) -> list[list[RunResult]]:
    # A stretch ends with the bench day and where the trial says that the bench was touched, as in the correction.
    breaks = [datetime.fromisoformat(text) for text in result.settings.drift.breaks]
    parts: dict[tuple[str, int], list[RunResult]] = {}
    for run in result.runs:
        key = (run.bench_day, sum(b <= datetime.fromisoformat(run.start) for b in breaks))
        parts.setdefault(key, []).append(run)
    return list(parts.values())


def _name_runs(ax: Axes, runs: Sequence[RunResult]) -> None:
    from matplotlib.ticker import MaxNLocator

    if len(runs) > MOST_NAMED_RUNS:
        ax.xaxis.set_major_locator(MaxNLocator(integer=True))
        ax.set_xlabel("run, in bench order")
        return
    names = [f"{plain_text(run.run, 10)}  {plain_text(run.article, 8)}".rstrip() for run in runs]
    few = len(runs) <= 6
    ax.set_xticks(range(1, len(runs) + 1), names, rotation=0 if few else 90, fontsize=8 if few else 6.5)
    ax.set_xlabel("run and article, in bench order")


def _part_days(ax: Axes, lowest: Axes, runs: Sequence[RunResult]) -> None:
    last = ""
    for number, run in enumerate(runs, start=1):
        if run.bench_day == last:
            continue
        for axes in {ax, lowest} if last else ():
            axes.axvline(number - 0.5, color=INK, linewidth=0.8, linestyle=(0, (1, 2)))
        ax.annotate(
            run.bench_day, (number - 0.5, 1.0), xycoords=ax.get_xaxis_transform(), xytext=(2, 3),
            textcoords="offset points", fontsize=7.5, color=GREY,
        )  # fmt: skip
        last = run.bench_day
    ax.set_xlim(0.3, len(runs) + 0.7)
