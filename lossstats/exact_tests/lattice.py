"""The lattice that bench values live on: whole numbers times the step of the display."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

PLACES = 6  # decimals of a reading that are believed to be meant; more are a mean, a fit or a conversion
_NINE_DECIMALS = 5e-10  # half a unit of the ninth decimal: values are compared as they print with nine
_MOST_STEPS = 2**31  # beyond, sums of scaled steps would leave 64-bit integers


class Lattice(NamedTuple):
    """Values as whole numbers of steps."""

    steps: tuple[Integers, ...]
    step: Fraction


def on_lattice(names: str, samples: tuple[Array, ...], step: float | None = None) -> Lattice | None:
    """Whole numbers of steps of several samples, if they are all on one lattice.

    Parameters
    ----------
    names : str
        Name of the arguments, for messages.
    samples : tuple of ndarray
        Values; one step is found for all.
    step : float, optional
        The step, if known: the display step, or for means of three mounts a third of it. By default it is the
        greatest step of which the values, as decimal numbers, are multiples.

    Returns
    -------
    Lattice or None
        None if no step was given and the values are no decimal numbers of at most six places.

    Raises
    ------
    ValueError
        If the step is not above 0, or a value is not a multiple of it.

    Notes
    -----
    Without `step`: every value rounded to nine decimals must have zeros after the sixth (fewer from 10**6 on),
    so 6.985 is on the lattice and a mean of three readings is not. A value that a computation left 1e-12 off
    its decimal number counts as that number.

    Examples
    --------
    >>> import numpy as np
    >>> on_lattice("a", (np.array([6.985, 7.01]), np.array([6.5])))
    Lattice(steps=(array([1397, 1402]), array([1300])), step=Fraction(1, 200))
    >>> on_lattice("a", (np.array([1 / 3, 2 / 3]),)) is None
    True
    """
    pooled = np.concatenate(samples)
    found = _decimal_steps(pooled) if step is None else _steps_of(names, pooled, step)
    if found is None:
        return None
    steps, unit = found
    if len(samples) == 1:
        return Lattice((steps,), unit)
    return Lattice(tuple(np.split(steps, np.cumsum([len(s) for s in samples[:-1]]))), unit)


def _decimal_steps(values: Array) -> tuple[Integers, Fraction] | None:
    largest = float(np.abs(values).max())
    places = PLACES if largest < 1e6 else 12 - math.ceil(math.log10(largest))
    if places < 0:
        return None
    # Tiny values would all round to 0: what is rounded away must be small beside the values as well.
    allowed = min(_NINE_DECIMALS, 1e-6 * largest) * 10.0**places
    scaled = values * 10.0**places
    rounded = np.rint(scaled)
    if float(np.abs(scaled - rounded).max()) > allowed:
        return None
    whole = rounded.astype(np.int64)
    divisor = int(np.gcd.reduce(whole)) or 1
    steps = whole // divisor
    if int(np.abs(steps).max()) >= _MOST_STEPS:
        return None
    return steps, Fraction(divisor, 10**places)


def _steps_of(names: str, values: Array, step: float) -> tuple[Integers, Fraction]:
    if not (step > 0 and math.isfinite(step)):
        raise ValueError(f"step: found {step!r}; accepted: a number above 0, or None to find it")
    ratio = values / step
    rounded = np.rint(ratio)
    off = np.flatnonzero(~(np.abs(ratio - rounded) <= 1e-6))
    if len(off):
        raise ValueError(
            f"{names}, step: found {float(values[off[0]])!r} (value {off[0] + 1}), which is no multiple of {step!r}; "
            "accepted: multiples of the step within a millionth of it, or step=None"
        )
    if float(np.abs(rounded).max()) >= _MOST_STEPS:
        raise ValueError(f"{names}, step: found values of more than {_MOST_STEPS} steps; accepted: a coarser step")
    return rounded.astype(np.int64), Fraction(repr(float(step)))
