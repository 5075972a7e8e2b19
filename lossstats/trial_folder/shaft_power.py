"""Power of a shaft, and the loss between two of them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

RAD_PER_S = 2 * math.pi / 60  # of one revolution a minute


def power_loss_W(  # noqa: N802
    torque_in_Nm: ArrayLike, speed_in_rpm: ArrayLike, torque_out_Nm: ArrayLike, speed_out_rpm: ArrayLike
) -> Array:
    """Power that goes in at one shaft less the power that comes out at the other.

    Parameters
    ----------
    torque_in_Nm : array_like
        Torque of the driving shaft, in N m.
    speed_in_rpm : array_like
        Its speed, in r/min.
    torque_out_Nm : array_like
        Torque of the driven shaft, in N m.
    speed_out_rpm : array_like
        Its speed, in r/min.

    Returns
    -------
    ndarray
        Loss in W, of the common shape of the arguments.

    Raises
    ------
    ValueError
        If the shapes do not go together.

    Examples
    --------
    >>> round(float(power_loss_W(28.0, 95.5, 27.5, 95.5)), 3)
    5.0
    """
    t_in, n_in, t_out, n_out = (
        np.asarray(a, dtype=np.float64) for a in (torque_in_Nm, speed_in_rpm, torque_out_Nm, speed_out_rpm)
    )
    shapes = {a.shape for a in (t_in, n_in, t_out, n_out)} - {()}
    if len(shapes) > 1:
        raise ValueError(f"torques and speeds: found shapes {sorted(shapes)}; accepted: one shape, or single numbers")
    return np.asarray(RAD_PER_S * (t_in * n_in - t_out * n_out))
