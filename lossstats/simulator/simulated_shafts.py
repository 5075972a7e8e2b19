"""A simulated trial as a bench records it that has a torque and a speed transducer on each of its two shafts."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lossstats.budgets.declared_bench import bench_of
from lossstats.budgets.power_bench import PowerBench
from lossstats.simulator.simulated_readings import Display
from lossstats.trial_folder.settings import SHAFT_COLUMNS, BenchModelKeys, Column, InstrumentKeys
from lossstats.trial_folder.shaft_power import RAD_PER_S, power_loss_W
from lossstats.trial_folder.trial import Run, Trial

Array = NDArray[np.float64]
_SPEED_RPM = 95.0  # of the driving shaft of the invented bench
_TEETH = 38, 19  # of its driving and of its driven sprocket


@dataclass(frozen=True)
class ShaftErrors:
    """The truth about the transducers, the same in all runs.

    Attributes
    ----------
    gain_in, gain_out : float
        Relative errors of the torques, temperature included.
    zero_in_Nm, zero_out_Nm : float
        Errors of their zeros, temperature included.
    speed_in, speed_out : float
        Relative errors of the speeds.
    """

    gain_in: float
    gain_out: float
    zero_in_Nm: float
    zero_out_Nm: float
    speed_in: float
    speed_out: float


def record_shafts(
    trial: Trial,
    keys: BenchModelKeys,
    *,
    input_power_W: float = 280.0,
    rng: np.random.Generator | int,
) -> tuple[Trial, ShaftErrors]:
    """Turn losses into the torques and speeds that a bench would have recorded for them.

    Parameters
    ----------
    trial : Trial
        With losses in W; a recorded column ``input_power_W`` is taken as the input power.
    keys : BenchModelKeys
        Errors are drawn from its standard uncertainties; its steps round the columns.
    input_power_W : float
        Where no column holds it.
    rng : Generator or int
        Source of randomness; the same integer gives the same trial.

    Returns
    -------
    trial : Trial
        In memory; its values are reckoned from the recorded columns, as `read_trial` does it.
    errors : ShaftErrors
        The truth.
    """
    rng = np.random.default_rng(rng)
    torque_Nm = input_power_W / (RAD_PER_S * _SPEED_RPM)
    errors = _drawn(bench_of(keys), (torque_Nm, torque_Nm * _TEETH[1] / _TEETH[0]), rng)
    out_rpm = _SPEED_RPM * _TEETH[0] / _TEETH[1]
    runs = tuple(_recorded(run, keys, errors, (_SPEED_RPM, out_rpm), input_power_W) for run in trial.runs)
    log = replace(
        trial.settings.log,
        other={**trial.settings.log.other, **{name: Column(name) for name in _names(keys)}},
    )
    readings = replace(trial.settings.readings, resolution=0.0)
    settings = replace(trial.settings, bench_model=keys, log=log, readings=readings, instrument=InstrumentKeys())
    return replace(trial, settings=settings, runs=runs), errors


def _drawn(bench: PowerBench, torques_Nm: tuple[float, float], rng: np.random.Generator) -> ShaftErrors:
    """Errors drawn from what the transducers are stated to have; the two calibrations with their correlation."""
    shared = bench.shared_calibration
    calibrations = math.sqrt(shared) * rng.standard_normal() + math.sqrt(1 - shared) * rng.standard_normal(2)
    found: dict[str, list[float]] = {"gain": [], "zero": [], "speed": []}
    for transducer, torque, calibration in zip((bench.input, bench.output), torques_Nm, calibrations, strict=True):
        u = {name: source.standard_uncertainty for name, source in transducer.errors(torque).items()}
        z = rng.standard_normal(4)
        found["gain"].append(float(u.get("torque gain", 0.0) * calibration + u.get("temperature span", 0.0) * z[0]))
        found["zero"].append(float(u.get("torque zero", 0.0) * z[1] + u.get("temperature zero", 0.0) * z[2]))
        found["speed"].append(float(u.get("speed gain", 0.0) * z[3]))
    return ShaftErrors(*found["gain"], *found["zero"], *found["speed"])


def _names(keys: BenchModelKeys) -> list[str]:
    return [getattr(keys, key) for key in SHAFT_COLUMNS]


def _recorded(
    run: Run, keys: BenchModelKeys, errors: ShaftErrors, rpm: tuple[float, float], input_power_W: float
) -> Run:
    power = run.operating_point.get("input_power_W", np.full(len(run.values), input_power_W))
    power = np.zeros_like(power) if run.role == "zero" else power
    torques = (power / (RAD_PER_S * rpm[0]), (power - run.values) / (RAD_PER_S * rpm[1]))
    shafts = (
        (keys.input, torques[0], errors.gain_in, errors.zero_in_Nm, rpm[0] * (1 + errors.speed_in)),
        (keys.output, torques[1], errors.gain_out, errors.zero_out_Nm, rpm[1] * (1 + errors.speed_out)),
    )
    columns = []
    for sheet, torque, gain, zero, speed in shafts:
        columns.append(Display(sheet.torque_step_Nm).show(torque * (1 + gain) + zero))
        columns.append(Display(sheet.speed_step_rpm).show(np.full_like(power, speed)))
    recorded = dict(zip(_names(keys), columns, strict=True))
    return replace(run, values=power_loss_W(*columns), operating_point={**run.operating_point, **recorded})
