"""Checks of what a certificate or a data sheet is said to state; every refusal names argument, found, accepted."""

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


def stated_dof(dof: Any, reliability: Any = None) -> float:
    """Take degrees of freedom as stated, or from the reliability of the uncertainty.

    Parameters
    ----------
    dof : float
        Degrees of freedom, above 0; infinity where the uncertainty is taken as exactly known.
    reliability : float, optional
        Relative uncertainty of the standard uncertainty, between 0 and 1, in place of `dof`.

    Returns
    -------
    float
        Degrees of freedom.

    Raises
    ------
    ValueError
        If either is out of range, or both are given.

    Notes
    -----
    JCGM 100:2008, G.4.2, equation (G.3): half the inverse square of the reliability.

    Examples
    --------
    >>> stated_dof(float("inf"), reliability=0.25)
    8.0
    """
    if isinstance(dof, float) and math.isinf(dof) and dof > 0:
        if reliability is None:
            return math.inf
        return 0.5 / open_share("reliability", reliability) ** 2  # equation (G.3)
    if reliability is not None:
        refuse("reliability", reliability, f"nothing beside dof = {dof!r}; give one of the two")
    try:
        number = float(dof)
    except (TypeError, ValueError):
        number = math.nan
    if isinstance(dof, bool | str) or not number > 0:
        refuse("dof", dof, "degrees of freedom above 0, or infinity")
    return number


def absolute(argument: str, amount: float, value: float, *, relative: bool) -> float:
    """An amount in the unit of the value, where it may have been stated as a fraction of it.

    Parameters
    ----------
    argument : str
        Name of the argument that holds the amount.
    amount : float
        As stated.
    value : float
        The estimate.
    relative : bool
        Whether `amount` is a fraction of the estimate.

    Returns
    -------
    float
        The amount, times the size of the value where it is relative.

    Raises
    ------
    ValueError
        If a relative amount meets an estimate of 0.
    """
    if not relative:
        return amount
    if value == 0:
        refuse("value", value, f"another value than 0 where {argument} is relative to it")
    return amount * abs(value)


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
