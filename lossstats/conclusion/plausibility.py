"""What the records of a trial show as a whole that no run shows by itself: another column, factor or step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from lossstats.one_run.quantisation import display_step
from lossstats.trial_folder.trial import Run, Trial

_MOST_NAMED = 5
_STEP_SHARE = 1e-3  # of a change, by which it may miss a whole number of steps and count as one
_SMALL_CHANGE = 100.0  # steps


def plausibility_remarks(trial: Trial) -> tuple[str, ...]:
    """Say what in the readings of a trial does not look like a power loss shown in the declared steps.

    Parameters
    ----------
    trial : Trial
        As read.

    Returns
    -------
    tuple of str
        One remark a matter; empty where nothing stands out. No run is left out for them: a remark is a question to
        whoever keeps the records.

    Notes
    -----
    Asked are: is one mount named by no number where all others are; do all readings of a run stand still;
    are levels below 0; do zero runs read as much as test runs; do
    the readings lie on the steps that ``resolution`` declares. Common practice, no source.
    """
    return tuple(
        remark
        for question in (_standing_still, _below_zero, _zeros_as_high, _steps, _odd_mount)
        for remark in question(trial, trial.settings.trial.unit)
    )


def _standing_still(trial: Trial, unit: str) -> Iterator[str]:
    still = [run for run in trial.runs if run.role != "zero" and np.ptp(run.values) == 0]
    if still:
        shown = ", ".join(f"{value:g}" for value in sorted({float(run.values[0]) for run in still})[:_MOST_NAMED])
        yield (
            f"all readings of a run are equal ({shown} {unit}) in {named(still)}: did the display stand still, or is "
            "this another column?"
        )


def _below_zero(trial: Trial, unit: str) -> Iterator[str]:
    below = [run for run in trial.runs if run.role != "zero" and np.median(run.values) < 0]
    if below:
        yield f"most readings are below 0 {unit} in {named(below)}: is the sign of the unit factor right?"


def _zeros_as_high(trial: Trial, unit: str) -> Iterator[str]:
    # Zero runs are apart from what is fitted and loaded, or the value column is not the loss.
    zeros, others = (
        np.array([np.median(run.values) for run in trial.runs if (run.role == "zero") == is_zero])
        for is_zero in (True, False)
    )
    if len(zeros) and len(others) and others.min() <= np.median(zeros) <= others.max():
        yield (
            f"zero runs read {np.median(zeros):.4g} {unit}, within what the other runs read "
            f"({others.min():.4g} to {others.max():.4g} {unit}): is the value column the loss?"
        )


def _steps(trial: Trial, unit: str) -> Iterator[str]:
    # Readings reckoned from torque and speed have no steps of their own.
    declared = trial.settings.readings.resolution
    if trial.settings.bench_model is not None:
        return
    off = [run for run in trial.runs if declared and not _lies_on(run.values, declared)]
    if off:
        yield (
            f"readings are no multiples of the declared resolution, {declared:g} {unit}, in {named(off)}: are "
            "resolution, unit factor and column right?"
        )
        return
    found = [step for step in (display_step(run.values) for run in trial.runs) if step]
    if found and min(found) > (2 - _STEP_SHARE) * declared:
        said = f"{declared:g} {unit} is declared" if declared else "none is declared"
        yield f"the readings change by steps of {min(found):.3g} {unit} where a resolution of {said}: is it right?"


def _odd_mount(trial: Trial, unit: str) -> Iterator[str]:  # noqa: ARG001 - asked as the others are
    # A mount under another name is another mount: I in place of 1 makes two of one.
    fitted = [run for run in trial.runs if run.mount]
    odd = [run for run in fitted if not run.mount.isdecimal()]
    mounts = {(run.article, run.condition, run.mount) for run in odd}
    if len(mounts) == 1 and len(fitted) - len(odd) > 1:
        yield (
            f"the mount {odd[0].mount!r} of {odd[0].article} in {named(odd)} is the only one without a number for its "
            "name: is it a fitting of its own?"
        )


def _lies_on(values: NDArray[np.float64], step: float) -> bool:
    # Small changes from reading to reading are looked at: a step stated to few digits must not add up over large ones.
    changes = np.diff(values) / step
    changes = changes[np.abs(changes) < _SMALL_CHANGE]
    return bool(np.all(np.abs(changes - np.round(changes)) < _STEP_SHARE * np.maximum(1.0, np.abs(changes))))


def named(runs: Sequence[Run]) -> str:
    """Name runs, the first few of many.

    Parameters
    ----------
    runs : sequence of Run
        The runs.

    Returns
    -------
    str
        Their names, separated by commas.
    """
    more = len(runs) - _MOST_NAMED
    names = ", ".join(run.name for run in runs[:_MOST_NAMED])
    return f"{names} and {more} more" if more > 0 else names
