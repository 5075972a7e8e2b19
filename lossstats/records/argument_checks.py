"""Checks of numbers that a user states; every refusal names the argument, what was found, what would be accepted."""

from __future__ import annotations

import math
from collections.abc import Iterable
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


def finite_number(argument: str, found: Any) -> float:
    """Pass a finite number.

    Parameters
    ----------
    argument : str
        Name of the argument.
    found : float
        Its value.

    Returns
    -------
    float
        The same as a plain float.

    Raises
    ------
    ValueError
        If it is not a finite number.
    """
    if isinstance(found, bool | str | bytes):
        refuse(argument, found, "a finite number")
    try:
        number = float(found)
    except (TypeError, ValueError):
        refuse(argument, found, "a finite number")
    if not math.isfinite(number):
        refuse(argument, number, "a finite number")
    return number


def not_negative(argument: str, found: Any) -> float:
    """Pass a finite number of at least 0.

    Parameters
    ----------
    argument : str
        Name of the argument.
    found : float
        Its value.

    Returns
    -------
    float
        The same as a plain float.

    Raises
    ------
    ValueError
        If it is negative or not a finite number.
    """
    number = finite_number(argument, found)
    if number < 0:
        refuse(argument, number, "a finite number of at least 0")
    return number


def above_zero(argument: str, found: Any) -> float:
    """Pass a finite number above 0.

    Parameters
    ----------
    argument : str
        Name of the argument.
    found : float
        Its value.

    Returns
    -------
    float
        The same as a plain float.

    Raises
    ------
    ValueError
        If it is 0, negative or not a finite number.
    """
    number = finite_number(argument, found)
    if number <= 0:
        refuse(argument, number, "a finite number above 0")
    return number


def open_share(argument: str, found: Any) -> float:
    """Pass a number between 0 and 1, both excluded.

    Parameters
    ----------
    argument : str
        Name of the argument.
    found : float
        Its value.

    Returns
    -------
    float
        The same as a plain float.

    Raises
    ------
    ValueError
        If it is not between 0 and 1.
    """
    number = finite_number(argument, found)
    if not 0 < number < 1:
        refuse(argument, number, "a number between 0 and 1, both excluded")
    return number


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
