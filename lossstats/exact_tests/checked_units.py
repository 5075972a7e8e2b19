"""Unit values checked in one sweep: simulations ask for them a hundred thousand times."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.records.units import unit_values

_SURE = 30  # so many plain numbers need no names
_PLAIN = {float, int, np.float64}


def checked_units(name: str, values: Any) -> NDArray[np.float64]:
    """Check unit values as `unit_values` does, which words every refusal; plain finite numbers pass at once.

    Parameters
    ----------
    name : str
        Name of the argument, for messages.
    values : mapping, pandas.Series or sequence of float
        One value a unit.

    Returns
    -------
    ndarray, shape (units,)
        At least two finite values.

    Raises
    ------
    TypeError, ValueError
        As `unit_values`.
    """
    named = isinstance(values, dict)
    items = list(values.values()) if named else values
    if type(items) is np.ndarray:  # a masked array is another type
        plain = items.ndim == 1 and items.dtype == np.float64
    else:
        plain = isinstance(items, list) and set(map(type, items)) <= _PLAIN
    if plain and len(items) >= 2 and (named or len(items) <= _SURE):
        array = np.array(items, dtype=float)
        if np.isfinite(array).all():
            return array
    return unit_values(name, values)
