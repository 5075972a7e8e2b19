"""The bench of a power loss as trial.toml declares it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from lossstats.budgets.power_bench import PowerBench, Transducer
from lossstats.trial_folder.settings import BenchModelKeys, TransducerKeys
from lossstats.trial_folder.shaft_power import RAD_PER_S

if TYPE_CHECKING:
    from lossstats.trial_folder.trial import Run

_UNLIMITED_NM = 1e9  # where no full scale is stated, nothing is in percent of it


def bench_of(keys: BenchModelKeys) -> PowerBench:
    """Make the bench that the table ``[bench_model]`` describes.

    Parameters
    ----------
    keys : BenchModelKeys
        Checked where trial.toml was read.

    Returns
    -------
    PowerBench
        Two shafts and what their calibrations share.
    """
    return PowerBench(_transducer(keys.input), _transducer(keys.output), keys.shared_calibration)


def display_step(keys: BenchModelKeys, runs: Sequence[Run]) -> float:
    """Step of the loss that the display steps of torque and speed make.

    Parameters
    ----------
    keys : BenchModelKeys
        Table ``[bench_model]``.
    runs : sequence of Run
        Their columns of torque and speed.

    Returns
    -------
    float
        The four steps, each times the other quantity of its shaft, in quadrature, W; 0 where no step is declared.
    """
    steps = [0.0]
    for shaft, torque, speed in (
        (keys.input, keys.torque_in, keys.speed_in),
        (keys.output, keys.torque_out, keys.speed_out),
    ):
        torque_Nm, speed_rpm = (
            max(float(np.abs(run.operating_point[name]).mean()) for run in runs) for name in (torque, speed)
        )
        steps += [RAD_PER_S * speed_rpm * shaft.torque_step_Nm, RAD_PER_S * torque_Nm * shaft.speed_step_rpm]
    return math.hypot(*steps)


def _transducer(keys: TransducerKeys) -> Transducer:
    stated = {field.name: getattr(keys, field.name) for field in dataclasses.fields(keys)}
    return Transducer(**(stated | {"full_scale_Nm": keys.full_scale_Nm or _UNLIMITED_NM}))
