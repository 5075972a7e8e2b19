"""From recorded operating points to factors that bring each run's level to the nominal point, and what that leaves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lossstats.corrections.operating_point import bring_to_nominal, point_of_run, reading_pattern
from lossstats.one_run.settling import final_start
from lossstats.trial_folder.settings import OperatingPoint
from lossstats.trial_folder.trial import Run

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Cause:
    """One common cause of error in levels at the nominal point.

    Attributes
    ----------
    relative : ndarray, shape (runs,)
        Relative error of each level for one standard uncertainty of the cause; 0 for zero runs.
    degrees_of_freedom : float
        Of that uncertainty.
    stated : str
        What it is.
    """

    relative: Array
    degrees_of_freedom: float
    stated: str


@dataclass(frozen=True, eq=False)
class AtNominal:
    """What brings the runs to the nominal operating point.

    Attributes
    ----------
    factors : ndarray, shape (runs,)
        On each level, once its zero is taken off; 1 for zero runs.
    means, mean_u : dict of str to ndarray, shape (runs,)
        Mean of each column in the final window of each run, and its standard uncertainty by the readings; nan for
        zero runs.
    causes : dict of str to Cause
        Errors of the correction that all runs share.
    fitted : dict of str to ndarray, shape (runs,)
        Relative change of each level per unit of an exponent that was fitted to these runs.
    """

    factors: Array
    means: dict[str, Array]
    mean_u: dict[str, Array]
    causes: dict[str, Cause]
    fitted: dict[str, Array]


def at_nominal(
    runs: Sequence[Run],
    points: Mapping[str, OperatingPoint],
    final_window: float,
    exponents: Mapping[str, float] | None = None,
) -> AtNominal:
    """Find factors and shared errors of the way to the nominal operating point.

    Parameters
    ----------
    runs : sequence of Run
        In bench order.
    points : mapping of str to OperatingPoint
        What trial.toml says of each column.
    final_window : float
        Final part of a run that its mean operating point is taken from.
    exponents : mapping of str to float, optional
        Exponents found from the runs themselves, by column.

    Returns
    -------
    AtNominal
        With no correction declared, factors of 1.

    Raises
    ------
    ValueError
        If a column has a mean at which its correction means nothing.
    """
    loaded = np.array([run.role != "zero" for run in runs])
    windows = {name: [_window(run, name, point, final_window) for run in runs] for name, point in points.items()}
    made = AtNominal(
        np.ones(len(runs)),
        {name: np.array([mean for mean, _ in of_runs]) for name, of_runs in windows.items()},
        {name: np.array([u for _, u in of_runs]) for name, of_runs in windows.items()},
        {},
        {},
    )
    for name, point in points.items():
        _add_column(made, name, point, (exponents or {}).get(name), loaded)
    return made


def _add_column(
    made: AtNominal, name: str, point: OperatingPoint, fitted: float | None, loaded: NDArray[np.bool_]
) -> None:
    """What one column does to factors and shared errors."""
    exponent, slope = fitted, None
    if point.correction == "power":
        exponent = point.sensitivity
    if point.correction == "exponential":
        slope = point.sensitivity
    if exponent is None and slope is None:
        return
    x = made.means[name][loaded]
    u = 1.0 if fitted is not None else point.sensitivity_u
    dof = point.sensitivity_dof
    try:
        brought = bring_to_nominal(np.ones(len(x)), x, point.nominal, exponent=exponent, relative_slope=slope, u=u)
    except ValueError as error:
        raise ValueError(f"operating_point.{name}: {error}") from error
    made.factors[loaded] *= brought.factor
    relative = _all_runs(brought.pattern.values / brought.factor, loaded)
    if fitted is not None:
        made.fitted[name] = relative
    elif u > 0:
        known = f"{exponent if slope is None else slope:.4g}, u = {u:.2g}"
        words = f"sensitivity to {name}: {known}, {point.sensitivity_source or 'no source stated'}"
        made.causes[f"operating point: {name}"] = Cause(relative, dof, words)
    if point.reading_u > 0:
        relative = _all_runs(reading_pattern(brought, offset=point.reading_u).values / brought.factor, loaded)
        words = f"reading of {name}, wrong by the same in all runs: u = {point.reading_u:.2g}"
        made.causes[f"reading: {name}"] = Cause(relative, float("inf"), words)


def _window(run: Run, name: str, point: OperatingPoint, final_window: float) -> tuple[float, float]:
    """Mean of a column in the final window, and its standard uncertainty by the readings."""
    if run.role == "zero":
        return float("nan"), float("nan")
    start_s = float(run.time_s[final_start(run.time_s, final_window)])
    found = point_of_run(
        run.time_s, run.operating_point[name], start_s, nominal=point.nominal, tolerance=point.tolerance
    )
    return found.mean, found.standard_uncertainty or 0.0


def _all_runs(values: Array, loaded: NDArray[np.bool_]) -> Array:
    full = np.zeros(len(loaded))
    full[loaded] = values
    return full
