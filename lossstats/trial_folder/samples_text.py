"""Sample files in the kit's own form, with decimals that give every number back."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

_MOST_DECIMALS = 9


def samples_text(columns: Mapping[str, NDArray[np.float64]], *, resolution: float = 0.0) -> str:
    r"""Text of one sample file.

    Parameters
    ----------
    columns : mapping of str to ndarray, shape (n,)
        Columns by name: the time first, then the readings, then any others.
    resolution : float, default 0.0
        Display step of the readings; 0 if there is none.

    Returns
    -------
    str
        Header and rows, each ended by ``\n``.

    Notes
    -----
    Every column has one number of decimals: that of the resolution (readings) or none (others), or as many more, up to
    9, as give every number back to 1e-12 of itself: a float that is the nearest to a decimal number of so many
    decimals comes back the same to the last bit. Numbers that need more than 9 decimals lie on no lattice that a
    bench shows, and are rounded to 9.

    Examples
    --------
    >>> print(samples_text({"time_s": np.array([0.0, 0.5]), "loss_W": np.array([7.0, 7.1])}, resolution=0.01))
    time_s,loss_W
    0.0,7.00
    0.5,7.10
    <BLANKLINE>
    """
    arrays = [np.asarray(column, dtype=np.float64) for column in columns.values()]
    least = [0, decimals_of_step(resolution), *(0 for _ in arrays)]
    form = ",".join(f"%.{_decimals(array, low)}f" for array, low in zip(arrays, least, strict=False)) + "\n"
    numbers = np.column_stack(arrays)
    return ",".join(columns) + "\n" + (form * len(numbers)) % tuple(numbers.ravel().tolist())


def decimals_of_step(step: float) -> int:
    """Count the decimals that a display step needs.

    Parameters
    ----------
    step : float
        Resolution; 0 if there is none.

    Returns
    -------
    int
        At most 9.

    Examples
    --------
    >>> decimals_of_step(0.005), decimals_of_step(0.5), decimals_of_step(10.0), decimals_of_step(1e-3)
    (3, 1, 0, 3)
    """
    text = f"{step:.{_MOST_DECIMALS}f}".rstrip("0")
    return len(text.partition(".")[2])


def _decimals(values: NDArray[np.float64], least: int) -> int:
    for decimals in range(least, _MOST_DECIMALS):
        if (np.abs(np.round(values, decimals) - values) <= 1e-12 * np.abs(values)).all():
            return decimals
    return _MOST_DECIMALS
