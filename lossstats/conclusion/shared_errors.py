"""Errors that the units of a trial share, from what trial.toml declares; and what each of them is, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.comparison.saving import SharedCovariance, SharedFit
from lossstats.corrections.corrected_levels import CorrectedLevels
from lossstats.one_run.settling import final_start
from lossstats.trial_folder.settings import SHAFT_COLUMNS, BenchModelKeys, InstrumentKeys, Settings
from lossstats.trial_folder.trial import Run

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SharedErrors:
    """Errors common to the units.

    Attributes
    ----------
    given : dict of str to object
        By name, as the comparisons take them.
    stated : dict of str to str
        What each is and how it was stated.
    type_a : frozenset of str
        Those that were evaluated by the statistics of these runs (JCGM 100, 4.2); the others are of Type B.
    """

    given: dict[str, Any]
    stated: dict[str, str]
    type_a: frozenset[str] = frozenset()


def shared_errors(settings: Settings, runs: Sequence[Run], corrected: CorrectedLevels) -> SharedErrors:
    """Every declared error that the scatter between units cannot contain.

    Parameters
    ----------
    settings : Settings
        What trial.toml says.
    runs : sequence of Run
        Those that went into the drift correction, in bench order.
    corrected : CorrectedLevels
        What became of them.

    Returns
    -------
    SharedErrors
        Sources of which nothing is known (uncertainty 0) are left out.

    Notes
    -----
    An error with one common cause acts on each run in a measure of its own; drift correction and averaging carry it
    to the unit values, where the weights of the comparison decide what of it is left. So a zero taken off by zero
    runs, or a calibration that reference and test runs share, cancels without a rule of its own.
    """
    given: dict[str, Any] = {}
    stated: dict[str, str] = {}
    drift, units, nominal = corrected.drift, corrected.units, corrected.nominal
    for name, value, words in _of_instrument(settings.instrument):
        given[name], stated[name] = value, words
    if "zero" in given:  # an error of every reading: zero runs take it off, factors of the operating point stretch it
        pattern = drift.carried(np.full(len(runs), settings.instrument.zero))
        given["zero"] = SharedCovariance.of_pattern(units.averaging @ pattern, settings.instrument.zero_dof)
    if "rezero" in given and drift.corrected_by_zeros:
        del given["rezero"]
        stated["rezero"] += "; the zero runs of each bench day take it off"
    covariance = units.averaging @ drift.covariance @ units.averaging.T
    if covariance.any():
        given["drift"] = SharedCovariance(covariance, drift.reference_dof)
        stated["drift"] = f"error of the drift correction that the runs share; repeatability {drift.reference_source}"
    if drift.origin_uncertainty > 0:
        given["drift origin"] = drift.origin_uncertainty
        stated["drift origin"] = "level of the bench on which the corrected levels hang"
    for name, cause in nominal.causes.items():
        pattern = drift.carried(drift.nominal_levels * cause.relative, of="nominal levels")
        given[name] = SharedCovariance.of_pattern(units.averaging @ pattern, cause.degrees_of_freedom)
        stated[name] = cause.stated
    for name, relative in nominal.fitted.items():
        assert corrected.fit is not None  # an exponent is in use  # noqa: S101
        pattern = units.averaging @ drift.carried(drift.nominal_levels * relative, of="nominal levels")
        given[f"fitted exponent: {name}"] = SharedFit(pattern, corrected.fit)
        stated[f"fitted exponent: {name}"] = "found from these units; stands within the scatter"
    if settings.bench_model is not None:
        for name, pattern, dof in _of_shafts(settings.bench_model, runs, settings.settling.final_window):
            given[name] = SharedCovariance.of_pattern(units.averaging @ drift.carried(pattern), dof)
            stated[name] = "torque and speed of the two shafts, the same in all runs"
    # A stated repeatability is knowledge from elsewhere; else the references, or their readings, tell it.
    known = drift.reference_source == "stated" and drift.corrected_by_references
    by_runs = set() if known else {"drift", "drift origin"}
    return SharedErrors(given, stated, frozenset(by_runs & set(given)))


def _of_instrument(keys: InstrumentKeys) -> list[tuple[str, tuple[float, float], str]]:
    declared = [
        ("gain", (keys.gain, keys.gain_dof), f"calibration factor, the same in all runs, relative u = {keys.gain:.2g}"),
        ("zero", (keys.zero, keys.zero_dof), f"zero, the same in all runs, u = {keys.zero:.2g}"),
        ("rezero", (keys.rezero, keys.rezero_dof), f"a new zero between the conditions, u = {keys.rezero:.2g}"),
    ]
    return [row for row in declared if row[1][0] > 0]


def _of_shafts(keys: BenchModelKeys, runs: Sequence[Run], final_window: float) -> list[tuple[str, Array, float]]:
    from lossstats.budgets.declared_bench import bench_of
    from lossstats.budgets.power_loss import error_patterns

    def means(name: str) -> Array:
        return np.array([run.operating_point[name][final_start(run.time_s, final_window) :].mean() for run in runs])

    torque_in, speed_in, torque_out, speed_out = (means(getattr(keys, key)) for key in SHAFT_COLUMNS)
    patterns = error_patterns(torque_in, speed_in, torque_out, speed_out, bench_of(keys))
    return [(name, p.values, p.degrees_of_freedom) for name, p in patterns.items()]
