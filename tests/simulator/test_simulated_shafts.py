"""Losses recorded as torques and speeds, and read back from a folder."""

import numpy as np
import pytest

from lossstats.simulator.examples import example_trial
from lossstats.simulator.simulated_shafts import record_shafts
from lossstats.trial_folder.settings import BenchModelKeys, TransducerKeys
from lossstats.trial_folder.shaft_power import RAD_PER_S
from lossstats.trial_folder.trial import TrialError, find_faults, read_trial, write_trial

EXACT = BenchModelKeys()
COARSE = BenchModelKeys(
    input=TransducerKeys(torque_class_percent=0.1, zero_Nm=0.01, torque_step_Nm=0.001, speed_step_rpm=0.1),
    output=TransducerKeys(
        torque_class_percent=0.1, zero_Nm=0.01, torque_step_Nm=0.001, speed_gain=0.0001, speed_step_rpm=0.01
    ),
)


@pytest.fixture(scope="module")
def trial():
    return example_trial("one_chain")


def test_without_errors_the_losses_come_back(trial):
    recorded, errors = record_shafts(trial, EXACT, rng=1)
    assert set(vars(errors).values()) == {0.0}
    for one, other in zip(trial.runs, recorded.runs, strict=True):
        np.testing.assert_allclose(other.values, one.values, atol=1e-11)


def test_errors_act_as_they_are_told(trial):
    recorded, errors = record_shafts(trial, COARSE, rng=1, input_power_W=280.0)
    run = next(run for run in recorded.runs if run.role == "test")
    true = next(run for run in trial.runs if run.role == "test")
    torque_in = 280.0 / (RAD_PER_S * 95.0)
    np.testing.assert_allclose(
        run.operating_point["torque_in_Nm"], torque_in * (1 + errors.gain_in) + errors.zero_in_Nm, atol=0.00051
    )
    torque_out = (280.0 - true.values) / (RAD_PER_S * 190.0)
    np.testing.assert_allclose(
        run.operating_point["torque_out_Nm"], torque_out * (1 + errors.gain_out) + errors.zero_out_Nm, atol=0.00051
    )


def test_errors_have_the_stated_spread_and_correlation(trial):
    shared = BenchModelKeys(input=COARSE.input, output=COARSE.output, shared_calibration=0.6)
    short = type(trial)(None, trial.settings, trial.runs[:1])
    gains = np.array(
        [(e.gain_in, e.gain_out) for e in (record_shafts(short, shared, rng=seed)[1] for seed in range(2000))]
    )
    np.testing.assert_allclose(gains.std(axis=0), 0.001 / np.sqrt(3), rtol=0.06)  # 4 standard errors
    assert np.corrcoef(gains.T)[0, 1] == pytest.approx(0.6, abs=0.06)


def test_a_folder_of_torques_and_speeds_is_read_back(trial, tmp_path):
    recorded, _ = record_shafts(trial, COARSE, rng=1)
    write_trial(recorded, tmp_path / "t")
    again = read_trial(tmp_path / "t")
    assert again.settings == recorded.settings
    for one, other in zip(recorded.runs, again.runs, strict=True):
        np.testing.assert_array_equal(one.values, other.values)
    assert "loss_W" not in (tmp_path / "t" / "samples" / "r01.csv").read_text(encoding="utf-8").split("\n")[0]


def test_what_does_not_go_together_is_named(trial, tmp_path):
    recorded, _ = record_shafts(trial, COARSE, rng=1)
    folder = tmp_path / "t"
    write_trial(recorded, folder)
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    for old, new, match in (
        ('torque_in = "torque_in_Nm"', 'torque_in = "torque_Nm"', r"key bench_model\.torque_in: found the name 'torque_Nm'; accepted: a column of \[log\.other\]"),
        ('torque_in = "torque_in_Nm"', 'torque_in = "torque_out_Nm"', "found 'torque_out_Nm' more than once; accepted: four columns that differ"),
        ('unit = "W"', 'unit = "mW"', "found 'mW' with a table .bench_model.; accepted: \"W\""),
        ('class_of = "reading"', 'class_of = "full scale"', r"key bench_model\.input\.full_scale_Nm: found no such key; accepted: a number > 0"),
        ("[instrument]\ngain = 0.0\n", "[instrument]\ngain = 0.005\n", r"key instrument\.gain: found the number 0\.005; accepted: 0 beside a table \[bench_model\]"),
        ("shared_calibration = 0.0", "shared_calibration = 1.5", "key bench_model.shared_calibration: found the number 1.5"),
    ):  # fmt: skip
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        with pytest.raises(TrialError, match=match):
            read_trial(folder)
    path.write_text(text, encoding="utf-8")
    assert not find_faults(folder)
