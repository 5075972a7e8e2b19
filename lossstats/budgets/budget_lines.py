"""One line of an uncertainty budget, and its numbers in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lossstats.records.rendering import Record, decimals_for, shown, shown_dof, two_digits

HEADER = ("source", "value", "unit", "distribution", "u", "dof", "sensitivity", "contribution", "share (%)")


@dataclass(frozen=True)
class Contribution(Record):
    """One line of a budget.

    Attributes
    ----------
    source : str
        Name of the input.
    value : float
        Its estimate, in `unit`.
    unit : str
        Its unit.
    distribution : str
        Named as in JCGM 101, table 1.
    standard_uncertainty : float
        Of the input, in `unit`.
    degrees_of_freedom : float
        Of that.
    sensitivity : float
        Derivative of the result by the input.
    contribution : float
        Size of sensitivity times standard uncertainty, in the unit of the result.
    share : float or None
        Share of the combined variance; they sum to 1. None where that variance is 0.
    how : str
        How the input was stated.
    """

    source: str
    value: float
    unit: str
    distribution: str
    standard_uncertainty: float
    degrees_of_freedom: float
    sensitivity: float
    contribution: float
    share: float | None
    how: str

    title = "Line of a budget"

    def _rows(self) -> list[tuple[str, str]]:
        return [*zip(HEADER, self.cells(), strict=True), ("stated as", self.how)]

    def cells(self) -> tuple[str, ...]:
        """Give the line in words, rounded.

        Returns
        -------
        tuple of str
            A text for each column of `HEADER`.
        """
        value, u = with_uncertainty(self.value, self.standard_uncertainty), two_digits(self.standard_uncertainty)
        share = "" if self.share is None else shown(100 * self.share, 1)
        return (
            self.source, value, self.unit, self.distribution, u, shown_dof(self.degrees_of_freedom),
            f"{self.sensitivity:.4g}".replace("-", "−"), two_digits(self.contribution), share,
        )  # fmt: skip

    def unrounded(self) -> tuple[object, ...]:
        """Give the line in numbers.

        Returns
        -------
        tuple
            A value for each column of `HEADER`, the share as a fraction; nan where there is none.
        """
        share = math.nan if self.share is None else self.share
        return (
            self.source, self.value, self.unit, self.distribution, self.standard_uncertainty, self.degrees_of_freedom,
            self.sensitivity, self.contribution, share,
        )  # fmt: skip


@dataclass(frozen=True)
class SecondOrder(Record):
    """What the second-order terms would change (JCGM 100, 5.1.2, note).

    Attributes
    ----------
    standard_uncertainty : float or None
        Combined standard uncertainty with them; None where it cannot be given.
    shift : float or None
        By how much the expectation of the result lies off its value.
    why_none : str
        Why there is none.
    """

    standard_uncertainty: float | None
    shift: float | None
    why_none: str = ""

    title = "Second-order terms"

    def _rows(self) -> list[tuple[str, str]]:
        if self.standard_uncertainty is None or self.shift is None:
            return [("none", self.why_none)]
        rows = [("standard uncertainty with them", two_digits(self.standard_uncertainty))]
        return [*rows, ("shift of the value", with_uncertainty(self.shift, self.standard_uncertainty))]


def with_uncertainty(value: float, u: float) -> str:
    """Show a value to the place of the second digit of its uncertainty (JCGM 100, 7.2.6).

    Parameters
    ----------
    value : float
        The value.
    u : float
        Its uncertainty; 0 for a value that is exactly known.

    Returns
    -------
    str
        For example ``"5.00"``.
    """
    if u == 0:
        return f"{value:.10g}".replace("-", "−")
    if u >= 1e-5:
        return shown(value, decimals_for(u))
    digits = 2 if value == 0 else max(2, 2 + math.floor(math.log10(abs(value))) - math.floor(math.log10(u)))
    return f"{value:.{digits}g}".replace("-", "−")
