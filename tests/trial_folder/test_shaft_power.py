"""The loss between two shafts."""

import math

import numpy as np
import pytest

from lossstats.trial_folder.shaft_power import power_loss_W


def test_loss_is_power_in_less_power_out():
    """Torque times angular speed, by hand: 30 N m at 10 rad/s in, 14 N m at 21 rad/s out."""
    rpm = 60 / (2 * math.pi)
    assert power_loss_W(30.0, 10 * rpm, 14.0, 21 * rpm) == pytest.approx(300 - 294)


def test_arrays_go_through_element_by_element():
    loss = power_loss_W(np.array([28.0, 28.5]), np.full(2, 95.0), np.array([13.8, 13.9]), np.full(2, 190.0))
    assert loss.tolist() == [power_loss_W(28.0, 95.0, 13.8, 190.0), power_loss_W(28.5, 95.0, 13.9, 190.0)]


def test_loss_by_hand():
    """10 N m at 60/(2 pi) r/min is 10 W."""
    assert power_loss_W(10.0, 30 / math.pi, 9.0, 30 / math.pi) == pytest.approx(1.0, rel=1e-14)
    both = power_loss_W([10.0, 20.0], [30.0, 30.0], [9.0, 9.0], 60.0)
    assert both == pytest.approx(2 * math.pi / 60 * np.array([300 - 540, 600 - 540]))


def test_shapes_that_do_not_go_together():
    with pytest.raises(ValueError, match=r"torques and speeds: found shapes \[\(2,\), \(3,\)\]; accepted: one shape"):
        power_loss_W(np.ones(2), np.ones(3), 1.0, 1.0)
