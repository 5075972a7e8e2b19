"""The unit of replication: what may enter a comparison, and what may not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence, Set
from numbers import Real
from typing import Any

import numpy as np
from numpy.typing import NDArray

# A laboratory trial has a handful of articles; this many values without names are samples or runs.
_MOST_UNNAMED = 30

_WHY = (
    "samples of one run, and runs of one article, are not replicates: with no true difference, samples taken for "
    "replicates find one in most trials, runs in a third. Average the samples of a run to its level, the runs of a "
    "mount and the mounts of an article to one value a condition, and give one value a unit"
)


def unit_values(name: str, values: Any, *, at_least: int = 2) -> NDArray[np.float64]:
    """Check the values of the units of replication in one condition.

    Parameters
    ----------
    name : str
        Name of the argument, for messages.
    values : mapping, pandas.Series or sequence of float
        One value a unit. A mapping {article: value} or a Series may have any length; a bare sequence of more
        than 30 is taken for samples and refused.
    at_least : int, default 2
        Fewest units accepted.

    Returns
    -------
    ndarray, shape (units,)
        Finite values.

    Raises
    ------
    TypeError
        If runs, levels of runs, or a table of samples are given (the message says why), something without order, or
        a value that is no number.
    ValueError
        If there are too few values, too many unnamed ones, one that is not finite, or a unit named twice.
    """
    if isinstance(values, str | Set) or not isinstance(values, Collection):
        accepted = "a mapping {article: value}, a Series, or values in order"
        raise TypeError(f"{name}: found {type(values).__name__}; accepted: {accepted}")
    names = _names(values)
    items = list(values.values()) if isinstance(values, Mapping) else list(values)
    _refuse_runs(name, items)
    twice = [str(unit) for unit, count in Counter(names).items() if count > 1]
    if twice:
        raise ValueError(f"{name}: found {', '.join(twice)} more than once; accepted: each unit once; {_WHY}")
    array = _numbers(name, items)
    if not names and len(array) > _MOST_UNNAMED:
        raise ValueError(
            f"{name}: found {len(array)} values without names; accepted: at most {_MOST_UNNAMED}, or a mapping "
            f"{{article: value}}; {_WHY}"
        )
    if len(array) < at_least:
        raise ValueError(
            f"{name}: found {len(array)} value(s); accepted: at least {at_least}, one a unit of replication"
        )
    for position, value in enumerate(array, start=1):
        if not np.isfinite(value):
            raise ValueError(f"{name}: found {value} at position {position}; accepted: finite numbers")
    return array


def _numbers(name: str, items: Sequence[Any]) -> NDArray[np.float64]:
    for position, item in enumerate(items, start=1):
        if isinstance(item, bool) or not isinstance(item, Real):
            found = "a masked value" if item is np.ma.masked else f"{item!r} ({type(item).__name__})"
            raise TypeError(f"{name}: found {found} at position {position}; accepted: numbers")
    return np.array(items, dtype=np.float64)


def order_of(units: Any, chosen: Any) -> NDArray[np.bool_]:
    """Turn the names of some units, or bools, into a mask over all of them.

    Parameters
    ----------
    units : mapping, pandas.Series or sequence of float
        Unit values as given to a comparison.
    chosen : collection of names, or sequence of bool
        Which of them.

    Returns
    -------
    ndarray of bool, shape (units,)
        The mask.

    Raises
    ------
    ValueError
        If a name is not among the units, or there are not as many bools as units.
    """
    names = _names(units)
    wanted = list(chosen)
    if names and not all(isinstance(item, bool | np.bool_) for item in wanted):
        unknown = [item for item in wanted if item not in names]
        if unknown:
            raise ValueError(f"after_first: found {unknown[0]!r}; accepted: names among {', '.join(map(str, names))}")
        return np.array([name in wanted for name in names])
    if len(wanted) != len(units):
        raise ValueError(f"after_first: found {len(wanted)} entries; accepted: {len(units)} bools, one a unit")
    return np.array(wanted, dtype=bool)


def _names(values: Any) -> list[Any]:
    """Names of the units of a mapping or a Series; none for a bare sequence."""
    if isinstance(values, Mapping):
        return list(values)
    return list(values.index) if hasattr(values, "to_numpy") else []


def _refuse_runs(name: str, items: Sequence[Any]) -> None:
    for item in items:
        if isinstance(item, Sequence | np.ndarray) and not isinstance(item, str | bytes) and item is not np.ma.masked:
            raise TypeError(f"{name}: found a series of values within the values; accepted: one value a unit; {_WHY}")
        if any(hasattr(item, mark) for mark in ("time_s", "effective_samples")):
            raise TypeError(f"{name}: found {type(item).__name__} objects; accepted: one number a unit; {_WHY}")


def same_units(before: Any, after: Any, names: tuple[str, str] = ("before", "after")) -> None:
    """Check that two conditions hold the same units in the same order, as far as they are named.

    Parameters
    ----------
    before, after : mapping, pandas.Series or sequence of float
        As given to a comparison.
    names : tuple of str
        Names of the two arguments, for messages.

    Raises
    ------
    ValueError
        If the numbers differ, or named units are not the same in the same order.
    """
    one, other = _names(before), _names(after)
    if one and other and set(one) != set(other):
        only = sorted(map(str, set(one) ^ set(other)))
        raise ValueError(
            f"{names[0]}, {names[1]}: found unit(s) in one condition only: {', '.join(only)}; accepted: every unit in "
            "both conditions, or compare_groups if the articles are independent"
        )
    if one and other and one != other:
        raise ValueError(
            f"{names[0]}, {names[1]}: found the units in different order; accepted: the same order in both"
        )
    if len(before) != len(after):
        raise ValueError(
            f"{names[0]}, {names[1]}: found {len(before)} and {len(after)} values; accepted: as many in both, the same "
            "units in the same order"
        )
