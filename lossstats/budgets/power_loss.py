"""Power loss as the difference of two shaft powers: what the transducers leave of doubt, and what cancels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.budgets.budget import propagate
from lossstats.budgets.budget_table import Budget
from lossstats.budgets.power_bench import SHAFTS, PowerBench, ShaftReadings, Transducer
from lossstats.budgets.source import Source
from lossstats.records.pattern import Pattern
from lossstats.trial_folder.shaft_power import RAD_PER_S

Array = NDArray[np.float64]


def level_budget(readings: ShaftReadings, bench: PowerBench) -> Budget:
    """Budget of one loss, as far as the instruments make it; the scatter of the readings is not in it.

    Parameters
    ----------
    readings : ShaftReadings
        What the bench shows.
    bench : PowerBench
        Its transducers.

    Returns
    -------
    Budget
        In W. Gains act by the power of their shaft, which is many times the loss: only a calibration shared by both
        torques takes them out, down to the gain times the loss itself.

    Raises
    ------
    ValueError
        A torque beyond full scale.

    Notes
    -----
    Correlated input quantities: JCGM 100, 5.2.2, equation (13).

    Examples
    --------
    >>> shaft = Transducer(50.0, 0.1, class_of="reading", class_as="standard uncertainty")
    >>> shown = ShaftReadings(28.0, 95.493, 27.5, 95.493)  # 280 W in, 275 W out
    >>> for shared in (0.0, 1.0):
    ...     budget = level_budget(shown, PowerBench(shaft, shaft, shared))
    ...     print(f"{budget.value:.1f} W, standard uncertainty {budget.standard_uncertainty:.3f} W")
    5.0 W, standard uncertainty 0.392 W
    5.0 W, standard uncertainty 0.005 W
    """
    return _budget([_Run("", 1.0, readings)], bench)


def swapped_budget(as_mounted: ShaftReadings, exchanged: ShaftReadings, bench: PowerBench) -> Budget:
    """Budget of the mean of two losses, the second with the transducers exchanged between the shafts.

    Parameters
    ----------
    as_mounted : ShaftReadings
        First run.
    exchanged : ShaftReadings
        Second run: the transducer called input now stands at the driven shaft and shows its torque.
    bench : PowerBench
        The transducers by their first place.

    Returns
    -------
    Budget
        In W. Gains are left with half the loss each; zeros cancel where both shafts run at one speed and nobody
        zeroes anew in between. Display steps stay, and what remounting does is not in it.

    Raises
    ------
    ValueError
        A torque beyond the full scale of the transducer that measures it.

    Notes
    -----
    The speed sensor is taken as part of the transducer and goes with it.
    """
    runs = [_Run("as_mounted", 0.5, as_mounted), _Run("exchanged", 0.5, exchanged, exchanged=True)]
    return _budget(runs, bench)


def difference_budget(before: ShaftReadings, after: ShaftReadings, bench: PowerBench) -> Budget:
    """Budget of a saving: loss before minus loss after, by the same transducers.

    Parameters
    ----------
    before : ShaftReadings
        Level before.
    after : ShaftReadings
        Level after.
    bench : PowerBench
        The transducers.

    Returns
    -------
    Budget
        In W. The gain of a shaft acts by the change of its power only; zeros cancel where the speeds are kept and
        nobody zeroes anew. Display steps stay.

    Raises
    ------
    ValueError
        A torque beyond full scale.
    """
    return _budget([_Run("before", 1.0, before), _Run("after", -1.0, after)], bench, output="saving")


def error_patterns(
    torque_in_Nm: ArrayLike,
    speed_in_rpm: ArrayLike,
    torque_out_Nm: ArrayLike,
    speed_out_rpm: ArrayLike,
    bench: PowerBench,
) -> dict[str, Pattern]:
    """Find the errors that the losses of many runs share, by source.

    Parameters
    ----------
    torque_in_Nm : array_like, shape (runs,)
        Mean torque of the driving shaft in each run, in N m.
    speed_in_rpm : array_like, shape (runs,)
        Its mean speed, in r/min.
    torque_out_Nm : array_like, shape (runs,)
        Mean torque of the driven shaft, in N m.
    speed_out_rpm : array_like, shape (runs,)
        Its mean speed, in r/min.
    bench : PowerBench
        The transducers, the same in all runs.

    Returns
    -------
    dict of str to Pattern
        Independent sources, named ``torque gain in``, ``torque gain out``, ``torque gain common`` and so on, in W;
        those that are 0 are left out. The variance that they cause in any contrast of the runs is the sum of
        ``pattern.term(weights)`` squared.

    Raises
    ------
    ValueError
        Lengths that differ, a mean that is not finite, a torque beyond full scale.

    Notes
    -----
    With shared calibration rho each torque gain is sqrt(rho) times a common error plus sqrt(1 - rho) times one of its
    own, which gives the correlation rho (JCGM 100, F.1.2.3). Where rho lies between 0 and 1 the two parts are stated
    with the degrees of freedom of the class, though one figure stands behind both. The temperature is taken as off
    alike in all runs: where it changes from run to run the scatter between runs shows it. Display steps are no error
    that the runs share and are not in it.
    """
    columns = [
        _column(name, values)
        for name, values in (
            ("torque_in_Nm", torque_in_Nm),
            ("speed_in_rpm", speed_in_rpm),
            ("torque_out_Nm", torque_out_Nm),
            ("speed_out_rpm", speed_out_rpm),
        )
    ]
    if len({len(column) for column in columns}) > 1:
        raise ValueError(
            f"torques and speeds: found {[len(c) for c in columns]} runs; accepted: one mean a run in each"
        )
    t_in, n_in, t_out, n_out = columns
    patterns = {
        **_shaft_patterns("in", 1.0, t_in, n_in, bench.input),
        **_shaft_patterns("out", -1.0, t_out, n_out, bench.output),
    }
    return _with_common_gain(patterns, bench.shared_calibration)


def _shaft_patterns(shaft: str, sign: float, torque: Array, speed: Array, transducer: Transducer) -> dict[str, Pattern]:
    """Derivative of the loss by each error of one shaft times its standard uncertainty."""
    power = sign * RAD_PER_S * torque * speed
    per_Nm = sign * RAD_PER_S * speed
    return {
        f"{name} {shaft}": Pattern(
            (per_Nm if name.endswith("zero") else power) * source.standard_uncertainty, source.degrees_of_freedom
        )
        for name, source in transducer.errors(torque).items()
    }


def _with_common_gain(patterns: dict[str, Pattern], rho: float) -> dict[str, Pattern]:
    own = [f"torque gain {shaft}" for shaft in SHAFTS if f"torque gain {shaft}" in patterns]
    if rho == 0 or len(own) < 2:
        return patterns
    gains = [patterns[name] for name in own]
    common = Pattern(
        math.sqrt(rho) * (gains[0].values + gains[1].values), min(gain.degrees_of_freedom for gain in gains)
    )
    rest = {
        name: Pattern(math.sqrt(1 - rho) * gain.values, gain.degrees_of_freedom)
        for name, gain in zip(own, gains, strict=True)
        if rho < 1
    }
    others = {name: pattern for name, pattern in patterns.items() if name not in own}
    return {"torque gain common": common, **rest, **others}


class _Run(NamedTuple):
    """One level in a budget: its weight, what the bench shows, whether the transducers are exchanged."""

    name: str
    weight: float
    readings: ShaftReadings
    exchanged: bool = False

    def home(self, shaft: str) -> str:
        """First place of the transducer that measures this shaft now."""
        return SHAFTS[1 - SHAFTS.index(shaft)] if self.exchanged else shaft

    def label(self, quantity: str) -> str:
        return f"{quantity}_{self.name}" if self.name else quantity

    def shown(self, quantity: str, shaft: str) -> float:
        return float(getattr(self.readings, f"{quantity}_{shaft}_{'Nm' if quantity == 'torque' else 'rpm'}"))


def _budget(runs: Sequence[_Run], bench: PowerBench, output: str = "loss") -> Budget:
    transducers = dict(zip(SHAFTS, (bench.input, bench.output), strict=True))
    inputs = _display_inputs(runs, transducers)
    for home, transducer in transducers.items():
        torques = [run.shown("torque", shaft) for run in runs for shaft in SHAFTS if run.home(shaft) == home]
        inputs |= {f"{name} {home}".replace(" ", "_"): s for name, s in transducer.errors(torques).items()}

    def model(**quantities: Any) -> Any:
        return sum(run.weight * _loss_of(run, quantities) for run in runs)

    pair = ("torque_gain_in", "torque_gain_out")
    shared = bench.shared_calibration
    correlation = {pair: shared} if shared > 0 and set(pair) <= set(inputs) else None
    budget: Budget = propagate(model, inputs, correlation=correlation, unit="W", output=output)
    return budget


def _display_inputs(runs: Sequence[_Run], transducers: dict[str, Transducer]) -> dict[str, Source]:
    """Torques and speeds as shown, uncertain by the step of the display alone."""
    inputs = {}
    for run in runs:
        for shaft in SHAFTS:
            sheet = transducers[run.home(shaft)]
            for quantity, step, unit in (
                ("torque", sheet.torque_step_Nm, "N m"),
                ("speed", sheet.speed_step_rpm, "r/min"),
            ):
                source = Source.resolution(step, value=run.shown(quantity, shaft), unit=unit)
                inputs[run.label(f"{quantity}_{shaft}")] = source
    return inputs


def _loss_of(run: _Run, quantities: dict[str, Any]) -> Any:
    """Loss of one run with the errors of the transducers that stood at its shafts."""
    powers = {}
    for shaft in SHAFTS:
        error = {name: quantities.get(f"{name}_{run.home(shaft)}", 0.0) for name in _ERRORS}
        torque = quantities[run.label(f"torque_{shaft}")]
        torque = torque * (1 + error["torque_gain"] + error["temperature_span"])
        torque += error["torque_zero"] + error["temperature_zero"]
        speed = quantities[run.label(f"speed_{shaft}")] * (1 + error["speed_gain"])
        powers[shaft] = RAD_PER_S * torque * speed
    return powers["in"] - powers["out"]


_ERRORS = ("torque_gain", "temperature_span", "torque_zero", "temperature_zero", "speed_gain")


def _column(name: str, values: ArrayLike) -> Array:
    column = np.asarray(values, dtype=np.float64)
    if column.ndim != 1 or len(column) == 0:
        raise ValueError(f"{name}: found an array of shape {column.shape}; accepted: one mean a run")
    if not np.isfinite(column).all():
        first = int(np.argmin(np.isfinite(column)))
        raise ValueError(f"{name}: found {column[first]} in run {first} (counted from 0); accepted: finite numbers")
    return column
