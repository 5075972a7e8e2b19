"""The whole job: from a trial folder of raw samples to a result with statement."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lossstats.conclusion.choices import sensitivity
from lossstats.conclusion.conclusion import conclude, reduce_trial
from lossstats.conclusion.leave_out import leave_one_out
from lossstats.conclusion.plausibility import named, plausibility_remarks
from lossstats.trial_folder.trial import Trial, read_trial

if TYPE_CHECKING:
    from lossstats.conclusion.result import Result


def analyse(
    folder_or_trial: str | Path | Trial,
    *,
    choices: bool | None = None,
    progress: Callable[[Any], Any] | None = None,
) -> Result:
    """Do the whole job by the rules that the trial declares.

    Parameters
    ----------
    folder_or_trial : path or Trial
        A trial folder, or a trial already read.
    choices : bool, optional
        Whether to analyse again under other reasonable choices and without each unit, for the sheet; left out: where
        a folder is given.
    progress : callable, optional
        Wraps the iterable of runs to show a bar, for example `tqdm.tqdm`.

    Returns
    -------
    Result
        Levels, drift, unit table, comparison, budget, verdict, statement; unrounded.

    Raises
    ------
    TrialError
        If the folder has faults; it holds all of them.
    NotSettledError
        If a run is still moving and the trial declares no rule for that.
    ValueError
        If no usable run of a condition is left.

    Notes
    -----
    The way of the data: runs, screened samples, levels, levels corrected for operating point and drift with their
    covariance, one value a unit of replication, comparison, verdict, statement.
    """
    trial = folder_or_trial if isinstance(folder_or_trial, Trial) else read_trial(folder_or_trial)
    reduced = reduce_trial(trial, progress=progress)
    result = conclude(trial, reduced)
    wanted = not isinstance(folder_or_trial, Trial) if choices is None else choices
    if not wanted or result.comparison is None:
        return result
    units = len({(value.unit, value.group) for value in result.units})
    influence = leave_one_out(trial, reduced=reduced) if units > 1 else None
    return replace(result, sensitivity=sensitivity(trial, reduced=reduced), influence=influence)


def remarks_on(trial: Trial) -> tuple[str, ...]:
    """Say what the analysis of a trial will ask or refuse, without a word on its outcome.

    Parameters
    ----------
    trial : Trial
        A trial already read.

    Returns
    -------
    tuple of str
        What stands out in the records (`plausibility_remarks`), and runs that have no level or still move at their end.
    """
    remarks = plausibility_remarks(trial)
    try:
        reduced = reduce_trial(trial)
    except ValueError as error:
        return (*remarks, f"analyse will refuse {error}")
    moving = [run for run, one in zip(trial.runs, reduced, strict=True) if one.settled.status == "moving"]
    if not moving:
        return remarks
    rule = trial.settings.settling.still_moving
    does = {"refuse": "analyse will refuse them", "leave out": "analyse will leave them out"}.get(rule, rule)
    return (*remarks, f"still moving at the end by the declared tolerance, {does}: {named(moving)}")
