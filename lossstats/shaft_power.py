"""Power of a shaft, and the loss between two of them."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Quantity = TypeVar("Quantity", float, NDArray[np.float64])

RAD_PER_S = 2 * math.pi / 60  # of one revolution a minute


def shaft_loss(
    torque_in_Nm: Quantity, speed_in_rpm: Quantity, torque_out_Nm: Quantity, speed_out_rpm: Quantity
) -> Quantity:
    """Power that goes in at the driving shaft less power that comes out at the driven one.

    Parameters
    ----------
    torque_in_Nm : float or ndarray
        Torque of the driving shaft, N m.
    speed_in_rpm : float or ndarray
        Its speed, r/min.
    torque_out_Nm : float or ndarray
        Torque of the driven shaft, N m.
    speed_out_rpm : float or ndarray
        Its speed, r/min.

    Returns
    -------
    float or ndarray
        Loss, W.

    Examples
    --------
    >>> round(shaft_loss(28.145, 95.0, 13.8211, 190.0), 2)
    5.0
    """
    return RAD_PER_S * (torque_in_Nm * speed_in_rpm - torque_out_Nm * speed_out_rpm)
