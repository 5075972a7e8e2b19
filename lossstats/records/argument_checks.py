"""Checks of numbers that a user states; every refusal names the argument, what was found, what would be accepted."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from numbers import Integral
from typing import Any, NoReturn


def refuse(argument: str, found: object, accepted: str) -> NoReturn:
    """Refuse an argument in the words that all checks share.

    Parameters
    ----------
    argument : str
        Its name.
    found : object
        What was given.
    accepted : str
        What would be accepted.

    Raises
    ------
    ValueError
        Always.
    """
    raise ValueError(f"{argument}: found {found!r}; accepted: {accepted}")


def _number_check(accepted: str, holds: Callable[[float], bool]) -> Callable[[str, Any], float]:
    """A check that passes a finite number as a plain float where it holds, and refuses all else."""

    def check(argument: str, found: Any) -> float:
        if isinstance(found, bool | str | bytes):
            refuse(argument, found, accepted)
        try:
            number = float(found)
        except (TypeError, ValueError):
            refuse(argument, found, accepted)
        if not (math.isfinite(number) and holds(number)):
            refuse(argument, number, accepted)
        return number

    return check


finite_number = _number_check("a finite number", lambda _: True)
not_negative = _number_check("a finite number of at least 0", lambda number: number >= 0)
above_zero = _number_check("a finite number above 0", lambda number: number > 0)
open_share = _number_check("a number between 0 and 1, both excluded", lambda number: 0 < number < 1)


def whole_number(argument: str, found: Any, fewest: int) -> int:
    """Pass a whole number that is large enough.

    Parameters
    ----------
    argument : str
        Name of the argument.
    found : int
        Its value; a float such as 3.0 is one.
    fewest : int
        Smallest accepted.

    Returns
    -------
    int
        The same as a plain int.

    Raises
    ------
    ValueError
        If it is not whole, not a number or too small.
    """
    try:
        whole = not isinstance(found, bool | str | bytes) and float(found).is_integer() and found >= fewest
    except (TypeError, ValueError):
        whole = False
    if not whole:
        refuse(argument, found, f"a whole number of at least {fewest}")
    return int(found)


def readings_of(argument: str, found: Iterable[Any]) -> tuple[float, ...]:
    """Pass two or more finite readings.

    Parameters
    ----------
    argument : str
        Name of the argument.
    found : iterable of float
        The readings.

    Returns
    -------
    tuple of float
        The same as plain floats.

    Raises
    ------
    ValueError
        If there are fewer than two, or one is not a finite number.
    """
    if isinstance(found, str | bytes) or not isinstance(found, Iterable):
        refuse(argument, found, "at least 2 readings of one quantity")
    numbers = tuple(finite_number(f"{argument}[{i}]", reading) for i, reading in enumerate(found))
    if len(numbers) < 2:
        refuse(argument, list(numbers), "at least 2 readings of one quantity")
    return numbers


def seed_of(rng: Any) -> int:
    """Take the seed of random streams that are to be spawned.

    Parameters
    ----------
    rng : Generator or int
        The seed itself, or a generator, which is asked for one number.

    Returns
    -------
    int
        At least 0.

    Raises
    ------
    ValueError
        If it is neither.
    """
    import numpy as np

    if isinstance(rng, np.random.Generator):
        return int(rng.integers(1 << 63))
    if isinstance(rng, bool) or not isinstance(rng, Integral) or rng < 0:
        refuse("rng", rng, "a Generator, or a whole number of at least 0, so that the draws can be made again")
    return int(rng)
