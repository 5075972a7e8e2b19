"""Spread by source from a pilot or from earlier trials: article, change, mount, run, readings, for the next plan."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lossstats.planning.pilot_squares import MeanSquare, mean_squares, pool, solve
from lossstats.planning.planned_spread import upper_limit
from lossstats.records.argument_checks import open_share
from lossstats.records.estimate import Term
from lossstats.records.rendering import Record, shown_dof

if TYPE_CHECKING:
    import pandas as pd

    from lossstats.conclusion.result import Result


_MOST_DOF = 1e6  # mean squares are pooled by their degrees of freedom, which infinite ones would make nan
_LEAST_DOF = 1.0  # a difference of mean squares may have less, and its limit would then mean nothing


@dataclass(frozen=True)
class PilotComponents(Record):
    """Standard deviations by source, with degrees of freedom, as `PlannedDesign` takes them.

    Attributes
    ----------
    components : dict of str to Term
        Standard deviation and degrees of freedom by source, in `unit`.
    reference_sd : float or None
        Standard deviation of one reference run, refit included where the reference article was refitted.
    reference_dof : float
        Its degrees of freedom.
    trials : tuple of str
        Where they come from.
    unit : str
        Unit of the measurand.
    notes : tuple of str
        What could not be told apart, and what cannot be told from 0.
    """

    components: dict[str, Term]
    reference_sd: float | None
    reference_dof: float
    trials: tuple[str, ...]
    unit: str
    notes: tuple[str, ...] = ()

    title = "Spread by source"

    def planning_sd(self, assurance: float = 0.8) -> dict[str, float]:
        """Give the standard deviations that a plan should reckon with, each by itself.

        Parameters
        ----------
        assurance : float, default 0.8
            Chance that the true one is not larger.

        Returns
        -------
        dict of str to float
            Times the root of ν over the chi-square quantile of 1 - assurance.

        Raises
        ------
        ValueError
            If the assurance is not between 0 and 1.
        """
        open_share("assurance", assurance)
        return {name: upper_limit(term, assurance) for name, term in self.components.items()}

    @property
    def table(self) -> pd.DataFrame:
        """Table by source.

        Returns
        -------
        pandas.DataFrame
            Columns sd, degrees_of_freedom, planning_sd.
        """
        import pandas as pd

        planned = self.planning_sd()
        rows = [[name, *term, planned[name]] for name, term in self.components.items()]
        return pd.DataFrame(rows, columns=["source", "sd", "degrees_of_freedom", "planning_sd"]).set_index("source")

    def _rows(self) -> list[tuple[str, str]]:
        planned = self.planning_sd()
        rows = [
            (name, f"{sd:.2g} {self.unit} ({shown_dof(dof)} degrees of freedom), plan with {planned[name]:.2g}")
            for name, (sd, dof) in self.components.items()
        ]
        if self.reference_sd is not None:
            known = f"({shown_dof(self.reference_dof)} degrees of freedom)"
            rows.append(("one reference run", f"{self.reference_sd:.2g} {self.unit} {known}"))
        rows.append(("from", ", ".join(self.trials)))
        return rows + [("note", note) for note in self.notes]


def components_from_trials(folders_or_trials: Any) -> PilotComponents:
    """Find the spread by source in a pilot or in earlier trials.

    Parameters
    ----------
    folders_or_trials : path, Trial, or sequence of them
        Trials of the same kind of article on the same bench; their mean squares are pooled.

    Returns
    -------
    PilotComponents
        With degrees of freedom: a plan made from it inflates its spread for them.

    Raises
    ------
    TrialError
        If a folder has faults.
    NotSettledError
        If a run is still moving and its trial declares no rule for that.
    ValueError
        If there is no trial, the trials have different units, or nothing in them was repeated.

    Notes
    -----
    Levels are corrected for drift first. Unweighted mean squares of runs in a mount, mounts of an article in a
    condition, changes of the articles, articles; the variances solve the equations of their expectations, and
    a negative one is shown as 0. Degrees of freedom of a difference of mean squares by Satterthwaite (1946), Biometrics
    2, 110. Where mounts were not repeated, the refits of the reference article stand in for them.
    """
    from lossstats.conclusion.conclusion import conclude, reduce_trial
    from lossstats.trial_folder.trial import Trial, read_trial

    listed = [folders_or_trials] if isinstance(folders_or_trials, str | os.PathLike | Trial) else folders_or_trials
    trials = [item if isinstance(item, Trial) else read_trial(item) for item in listed]
    results = [conclude(trial, reduce_trial(trial)) for trial in trials]
    if not results:
        raise ValueError("folders_or_trials: found none; accepted: at least one trial or trial folder")
    units = {result.settings.trial.unit for result in results}
    if len(units) > 1:
        raise ValueError(f"folders_or_trials: found the units {', '.join(sorted(units))}; accepted: one and the same")
    squares = pool([_squares(result) for result in results])
    references = [_reference(result) for result in results]
    reference = pool([{"reference": square} for square in references if square is not None]).get("reference")
    notes = []
    if "mount" not in squares and reference is not None and "mount" in reference.expected:
        squares["mount"] = MeanSquare(reference.value, reference.degrees_of_freedom, {"mount": 1.0, "run": 1.0})
        notes.append("no mount was repeated: refit and run of the reference article stand in for mount and run")
    solved, more = solve(squares)
    components = {name: Term(sd, max(dof, _LEAST_DOF)) for name, (sd, dof) in solved.items()}
    names = tuple(result.name or f"trial {i}" for i, result in enumerate(results, start=1))
    return PilotComponents(
        _with_readings(components, results),
        None if reference is None else math.sqrt(reference.value),
        math.inf if reference is None else reference.degrees_of_freedom,
        names,
        units.pop(),
        (*notes, *more, *_missing(components)),
    )


def _squares(result: Result) -> dict[str, MeanSquare]:
    keys = result.settings.comparison
    cells: dict[tuple[str, str], dict[str, list[float]]] = {}
    for run in result.runs:
        if run.role == "test" and run.used and run.corrected is not None:
            cells.setdefault((run.article, run.condition), {}).setdefault(run.mount, []).append(run.corrected)
    listed = {key: list(mounts.values()) for key, mounts in cells.items()}
    blocks = keys.design in ("paired", "crossover", "controls", "single") or keys.blocks == "article"
    treated = {key: mounts for key, mounts in listed.items() if key[0] not in keys.controls}
    # Untouched articles show refits and runs as the others do, but no change of their own.
    return mean_squares(treated, blocks=blocks) | {
        name: square for name, square in mean_squares(listed, blocks=blocks).items() if name in ("run", "mount")
    }


def _reference(result: Result) -> MeanSquare | None:
    drift = result.drift
    if drift.reference_repeatability is None or drift.reference_source == "readings of the reference runs alone":
        return None
    mounts = [(run.article, run.mount) for run in result.runs if run.role == "reference"]
    refitted = len(set(mounts)) == len(mounts)
    expected = {"mount": 1.0, "run": 1.0} if refitted else {"run": 1.0}
    return MeanSquare(drift.reference_repeatability**2, min(drift.reference_dof, _MOST_DOF), expected)


def _with_readings(components: Mapping[str, Term], results: Sequence[Result]) -> dict[str, Term]:
    """Part of the lowest source that the readings of a run cause, and that falls as runs get longer."""
    lowest = next((name for name in ("run", "mount") if name in components), None)
    squares = [
        run.level.standard_uncertainty**2
        for result in results
        for run in result.runs
        if run.role == "test" and run.used
    ]
    if lowest is None or not squares:
        return dict(components)
    sd, dof = components[lowest]
    readings = min(math.sqrt(sum(squares) / len(squares)), sd)
    rest = Term(math.sqrt(max(sd**2 - readings**2, 0.0)), dof)
    return {**components, lowest: rest, "readings": Term(readings, dof)}


def _missing(components: Mapping[str, Term]) -> tuple[str, ...]:
    notes = []
    if "run" not in components and "mount" in components:
        notes.append("no run was repeated in a mount: mount contains run")
    if "mount" not in components:
        notes.append(
            "neither mounts nor refits of the reference article were repeated: the others contain mount and run"
        )
    if "article" in components and "change" not in components:
        notes.append(
            "articles were measured in one condition each: article contains half the variance of their change, and a "
            "paired trial cannot be planned from these alone"
        )
    return tuple(notes)
