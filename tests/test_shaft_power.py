"""The loss between two shafts."""

import math

import numpy as np
import pytest

from lossstats.shaft_power import shaft_loss


def test_loss_is_power_in_less_power_out():
    """Torque times angular speed, by hand: 30 N m at 10 rad/s in, 14 N m at 21 rad/s out."""
    rpm = 60 / (2 * math.pi)
    assert shaft_loss(30.0, 10 * rpm, 14.0, 21 * rpm) == pytest.approx(300 - 294)


def test_arrays_go_through_element_by_element():
    loss = shaft_loss(np.array([28.0, 28.5]), np.full(2, 95.0), np.array([13.8, 13.9]), np.full(2, 190.0))
    assert loss.tolist() == [shaft_loss(28.0, 95.0, 13.8, 190.0), shaft_loss(28.5, 95.0, 13.9, 190.0)]
