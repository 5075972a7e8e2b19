"""The bench as trial.toml declares it."""

import math

import pytest

from lossstats.budgets.declared_bench import bench_of, display_step
from lossstats.simulator.examples import example_trial
from lossstats.trial_folder.settings import BenchModelKeys, TransducerKeys


def test_every_key_reaches_the_transducer():
    keys = TransducerKeys(
        50.0, 0.1, "full scale", "standard uncertainty", 8.0, 0.01, 0.02, 0.03, 5.0, 0.001, 0.0002, 0.05
    )
    bench = bench_of(
        BenchModelKeys(input=keys, output=TransducerKeys(torque_class_percent=0.2), shared_calibration=0.4)
    )
    for name in TransducerKeys.__dataclass_fields__:
        assert getattr(bench.input, name) == getattr(keys, name)
    assert bench.shared_calibration == 0.4
    assert bench.output.errors(28.0)["torque gain"].standard_uncertainty == pytest.approx(0.002 / math.sqrt(3))


def test_display_steps_reach_the_loss():
    """Torque step times speed and speed step times torque of each shaft, in quadrature."""
    trial = example_trial("two_shafts")
    keys = trial.settings.bench_model
    per_rpm, torques = 2 * math.pi / 60, {}
    for name in ("torque_in_Nm", "torque_out_Nm"):
        torques[name] = max(run.operating_point[name].mean() for run in trial.runs)
    steps = [95 * 0.0005, 190 * 0.0005, torques["torque_in_Nm"] * 0.01, torques["torque_out_Nm"] * 0.01]
    assert display_step(keys, trial.runs) == pytest.approx(per_rpm * math.hypot(*steps), rel=1e-3)
    assert display_step(BenchModelKeys(), trial.runs) == 0.0
