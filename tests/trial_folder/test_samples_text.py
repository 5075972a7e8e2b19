"""Sample files written. Evidence: texts laid out by hand; the round trip is in test_trial.py."""

from __future__ import annotations

import numpy as np
import pytest

from lossstats.trial_folder.samples import read_samples
from lossstats.trial_folder.samples_text import decimals_of_step, samples_text


def second_column(values: list[float], resolution: float) -> list[str]:
    text = samples_text({"time_s": np.arange(len(values)), "loss_W": np.array(values)}, resolution=resolution)
    return [line.split(",")[1] for line in text.splitlines()[1:]]


@pytest.mark.parametrize(
    ("values", "resolution", "written"),
    [
        ([7.0, 8.0, 9.0], 0.001, ["7.000", "8.000", "9.000"]),
        ([7.0, 7.5, 9.25], 0.0, ["7.00", "7.50", "9.25"]),
        ([0.1 + 0.2, 7.0, -0.0], 0.1, ["0.3", "7.0", "-0.0"]),
        ([np.pi, 7.0, 7.0], 0.0, ["3.141592654", "7.000000000", "7.000000000"]),
        ([1e6, 1e-9, -1e-9], 10.0, ["1000000.000000000", "0.000000001", "-0.000000001"]),
    ],
)
def test_decimals(values: list[float], resolution: float, written: list[str]) -> None:
    assert second_column(values, resolution) == written


@pytest.mark.parametrize(
    ("step", "decimals"), [(0.0, 0), (1.0, 0), (0.1, 1), (0.25, 2), (0.005, 3), (1e-7, 7), (20.0, 0)]
)
def test_decimals_of_a_display_step(step: float, decimals: int) -> None:
    assert decimals_of_step(step) == decimals


def test_off_the_lattice_numbers_come_back_to_half_a_billionth() -> None:
    values = 7 + np.random.default_rng(1).normal(size=50)
    text = samples_text({"time_s": np.arange(50.0), "loss_W": values})
    samples, faults = read_samples(text.encode(), "a.csv")
    assert samples is not None, faults
    assert np.abs(samples.values - values).max() <= 0.5e-9
