"""What is stated of an input quantity: estimate, standard uncertainty, distribution, degrees of freedom."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from lossstats.records.argument_checks import finite_number, not_negative, open_share, refuse
from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

GAUSSIAN, STUDENT = "Gaussian", "scaled and shifted t"
RECTANGULAR, INEXACT = "rectangular", "rectangular with inexact limits"
TRAPEZOIDAL, TRIANGULAR, ARC_SINE = "trapezoidal", "triangular", "arc sine"
# Names of JCGM 101, table 1, and how many numbers draw from each.
DISTRIBUTIONS = {GAUSSIAN: 0, STUDENT: 2, RECTANGULAR: 2, INEXACT: 3, TRAPEZOIDAL: 3, TRIANGULAR: 2, ARC_SINE: 2}


@dataclass(frozen=True)
class InputQuantity(Record):
    """What all sources of uncertainty hold; the fields are those that `Source` lists."""

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    distribution: str = GAUSSIAN
    shape: tuple[float, ...] = ()
    unit: str = ""
    observed: tuple[float, ...] = ()
    how: str = "standard uncertainty"
    notes: tuple[str, ...] = ()

    title = "Source"

    def __post_init__(self) -> None:
        """Refuse what no constructor would give."""
        finite_number("value", self.value)
        not_negative("standard_uncertainty", self.standard_uncertainty)
        stated_dof(self.degrees_of_freedom)
        if self.distribution not in DISTRIBUTIONS:
            refuse("distribution", self.distribution, ", ".join(DISTRIBUTIONS))
        if len(self.shape) != DISTRIBUTIONS[self.distribution]:
            refuse("shape", self.shape, f"{DISTRIBUTIONS[self.distribution]} numbers for {self.distribution}")

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(self.standard_uncertainty)
        rows = [
            ("value", f"{shown(self.value, places)} {self.unit}".rstrip()),
            ("standard uncertainty", f"{shown(self.standard_uncertainty, places)} {self.unit}".rstrip()),
            ("degrees of freedom", shown_dof(self.degrees_of_freedom)),
            ("distribution", self.distribution),
            ("stated as", self.how),
        ]
        return rows + [("note", note) for note in self.notes]


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


def as_stated(words: str, *, relative: bool) -> str:
    """Say how a source was stated.

    Parameters
    ----------
    words : str
        For example ``"limits ±0.5"``.
    relative : bool
        Whether the amounts in it are fractions of the value.

    Returns
    -------
    str
        The words, with that said.
    """
    return f"{words}, relative to the value" if relative else words
