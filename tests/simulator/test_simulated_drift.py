"""Simulated drift against its closed forms at known hours."""

import math

import numpy as np
import pytest

from lossstats.simulator.simulated_drift import (
    BowDrift,
    LinearDrift,
    StepDrift,
    WalkDrift,
    WarmUpDrift,
    drift_of_day,
)

HOURS = np.array([0.0, 1.0, 2.0, 6.0])


@pytest.mark.parametrize(
    ("drift", "expected"),
    [
        (LinearDrift(0.02), [0.0, 0.02, 0.04, 0.12]),
        (WarmUpDrift(0.4, 2.0), [0.0, 0.4 * (1 - math.exp(-0.5)), 0.4 * (1 - 1 / math.e), 0.4 * (1 - math.exp(-3))]),
        (BowDrift(0.2, 4.0), [0.0, 0.15, 0.2, -0.6]),
        (StepDrift(0.1, 2.0), [0.0, 0.0, 0.1, 0.1]),
    ],
)
def test_closed_forms_at_known_hours(drift, expected):
    assert drift.at(HOURS) == pytest.approx(expected, abs=1e-15)


def test_walk_has_independent_steps_with_variance_in_proportion_to_time():
    walks = WalkDrift(0.05).draw(HOURS, rng=3, trials=20_000)
    assert walks.shape == (20_000, 4)
    assert np.all(walks[:, 0] == 0.0)
    assert walks.std(axis=0) == pytest.approx(0.05 * np.sqrt(HOURS), rel=0.03)  # sd of the estimate 0.5 %
    assert abs(np.corrcoef(np.diff(walks, axis=1), rowvar=False)[np.triu_indices(3, 1)]).max() < 0.03


def test_drifts_of_a_day_add_up_in_every_trial():
    total = drift_of_day((LinearDrift(0.02), StepDrift(0.1, 2.0)), HOURS, rng=1, trials=3)
    assert total == pytest.approx(np.tile([0.0, 0.02, 0.14, 0.22], (3, 1)))
    with_walk = drift_of_day((LinearDrift(0.02), WalkDrift(0.05)), HOURS, rng=1, trials=3)
    alone = WalkDrift(0.05).draw(HOURS, rng=1, trials=3)
    assert with_walk - alone == pytest.approx(np.tile(0.02 * HOURS, (3, 1)))


def test_no_drift_is_zero():
    assert drift_of_day((), HOURS, rng=1).tolist() == [[0.0, 0.0, 0.0, 0.0]]
