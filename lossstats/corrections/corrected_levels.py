"""From levels of runs to one corrected value a unit: nominal operating point, drift removed, averaged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lossstats.corrections.at_nominal import AtNominal, at_nominal
from lossstats.corrections.drift import DriftCorrection, correct_drift
from lossstats.corrections.exponent_fit import FittedExponent, fit_exponent
from lossstats.corrections.unit_table import TestRun, UnitTable, make_unit_table
from lossstats.trial_folder.settings import ComparisonKeys
from lossstats.trial_folder.trial import Run, Trial

if TYPE_CHECKING:
    from lossstats.one_run.reduced_runs import ReducedRun

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CorrectedLevels:
    """Levels after every correction, and what each correction was.

    Attributes
    ----------
    nominal : AtNominal
        Of the runs kept.
    drift : DriftCorrection
        Of the runs kept.
    units : UnitTable
        One value a unit and condition.
    fit : FittedExponent or None
        Exponent of the operating point found from these runs, where the trial asks for it.
    notes : tuple of str
        What a reader must know.
    """

    nominal: AtNominal
    drift: DriftCorrection
    units: UnitTable
    fit: FittedExponent | None
    notes: tuple[str, ...]


def correct_levels(
    trial: Trial, reduced: Sequence[ReducedRun], kept: Sequence[int], used: Sequence[bool]
) -> CorrectedLevels:
    """Bring levels to the nominal operating point, take the drift off, average them to units.

    Parameters
    ----------
    trial : Trial
        Settings and runs.
    reduced : sequence of ReducedRun, shape (runs,)
        Level of each run.
    kept : sequence of int
        Positions of the runs that are corrected: test runs, and anchors in use.
    used : sequence of bool, shape (test runs,)
        Whether a test run counts.

    Returns
    -------
    CorrectedLevels
        An exponent to be fitted is found with the references brought to nominal by it as well.

    Raises
    ------
    ValueError
        If no usable run of a condition is left, or an exponent is to be fitted and the trial cannot bear it, or its
        steps do not come to rest.
    """
    runs, settings = [trial.runs[i] for i in kept], trial.settings
    window = settings.settling.final_window
    nominal = at_nominal(runs, settings.operating_point, window)
    drift = _correct(trial, reduced, kept, nominal)
    units = _tabulate(trial, drift, used)
    name = next((n for n, p in settings.operating_point.items() if p.correction == "fitted power"), None)
    if name is None:
        return CorrectedLevels(nominal, drift, units, None, ())
    return _with_fitted_exponent(trial, reduced, kept, used, name)


def _with_fitted_exponent(
    trial: Trial, reduced: Sequence[ReducedRun], kept: Sequence[int], used: Sequence[bool], name: str
) -> CorrectedLevels:
    """Correct with the exponent that leaves no slope in the corrected unit values: Newton steps from no correction."""
    runs, settings = [trial.runs[i] for i in kept], trial.settings
    exponent, step, fit = 0.0, np.inf, None
    for _ in range(_MOST_STEPS):
        nominal = at_nominal(runs, settings.operating_point, settings.settling.final_window, {name: exponent})
        drift = _correct(trial, reduced, kept, nominal)
        units = _tabulate(trial, drift, used)
        if step <= _SAME_EXPONENT:
            break
        fit = _fit(trial, runs, name, (nominal, drift, units), exponent)
        found = fit.exponent or 0.0
        step, exponent = abs(found - exponent), found
    else:
        raise ValueError(
            f"operating_point.{name}: no power can be fitted to these runs: after {_MOST_STEPS} steps the exponent "
            f'still moves by {step:.2g}; accepted: correction = "power" with a sensitivity from elsewhere, or '
            'correction = "none"'
        )
    assert fit is not None  # at least one step was made  # noqa: S101
    return CorrectedLevels(nominal, drift, units, fit, tuple(f"{name}: {note}" for note in fit.notes))


_MOST_STEPS = 30
_SAME_EXPONENT = 1e-9


def _fit(
    trial: Trial,
    runs: Sequence[Run],
    name: str,
    corrected: tuple[AtNominal, DriftCorrection, UnitTable],
    exponent: float,
) -> FittedExponent:
    """Exponent by the unit values, as corrected with another one."""
    nominal, drift, units = corrected
    # Untouched articles have another change from condition to condition, which must not look like scatter.
    rows = [i for i, v in enumerate(units.values) if v.group == "treated"]
    cells, averaging = [units.values[i] for i in rows], units.averaging[rows]
    values = np.array([v.value for v in cells])
    # The way of a unit value with the exponent: its own operating point, and that of the references taken off it.
    slope = -(averaging @ drift.carried(drift.nominal_levels * nominal.fitted[name], of="nominal levels")) / values
    tests = [i for i, run in enumerate(runs) if run.role == "test"]
    fit = fit_exponent(
        values * np.exp(exponent * slope),
        trial.settings.operating_point[name].nominal * np.exp(slope),
        [v.condition for v in cells],
        blocks=[v.unit for v in cells] if _same_articles(trial.settings.comparison) else None,
        u_point=float(np.sqrt((averaging**2 @ nominal.mean_u[name][tests] ** 2).mean())),
    )
    if fit.exponent is None:
        raise ValueError(
            f"operating_point.{name}: no power can be fitted to these runs: {fit.why_refused}; accepted: correction = "
            '"power" with a sensitivity from elsewhere, or correction = "none"'
        )
    return fit


def _correct(trial: Trial, reduced: Sequence[ReducedRun], kept: Sequence[int], nominal: AtNominal) -> DriftCorrection:
    """Drift correction over all test runs and the anchors in use."""
    rule = trial.settings.drift
    first = trial.runs[0].start
    stretches = _stretches(trial)
    runs = [trial.runs[i] for i in kept]
    return correct_drift(
        [reduced[i].level.value for i in kept],
        [reduced[i].level.standard_uncertainty for i in kept],
        [(run.start - first).total_seconds() + float(run.time_s[-1]) / 2 for run in runs],
        [stretches[i] for i in kept],
        [run.role for run in runs],
        reference_repeatability=rule.reference_repeatability,
        reference_dof=rule.reference_repeatability_dof,
        use_references=rule.references == "interpolate",
        use_zeros=rule.zeros == "interpolate",
        factors=nominal.factors,
    )


def _stretches(trial: Trial) -> list[str]:
    """Bench day of each run, parted where the trial says that the bench was touched."""
    breaks = [datetime.fromisoformat(text) for text in trial.settings.drift.breaks]
    names = []
    for run in trial.runs:
        part = sum(b <= run.start for b in breaks)
        names.append(f"{run.bench_day} part {part + 1}" if breaks else run.bench_day)
    return names


def _tabulate(trial: Trial, drift: DriftCorrection, used: Sequence[bool]) -> UnitTable:
    keys = trial.settings.comparison
    tests = [TestRun(run.article, run.condition, run.mount) for run in trial.runs if run.role == "test"]
    return make_unit_table(
        tests,
        drift.levels,
        used,
        conditions=keys.all_conditions,
        controls=keys.controls,
        # A known repeatability speaks of mounts, and the article is then one unit whatever the number of mounts.
        unit="article" if keys.repeatability is not None else keys.unit_of_replication,
        paired=_same_articles(keys),
    )


def _same_articles(keys: ComparisonKeys) -> bool:
    """Whether a unit stands in every condition; mounts of one article do not, though they are numbered alike."""
    return keys.design in {"paired", "crossover", "controls"} or keys.blocks == "article"
