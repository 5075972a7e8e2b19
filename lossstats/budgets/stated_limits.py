"""Input quantities of which limits are stated, not an uncertainty (JCGM 100, 4.3.7 to 4.3.9)."""

from __future__ import annotations

import math
from typing import Self

from lossstats.budgets.input_quantity import (
    ARC_SINE,
    INEXACT,
    RECTANGULAR,
    TRAPEZOIDAL,
    TRIANGULAR,
    InputQuantity,
    absolute,
    as_stated,
    stated_dof,
)
from lossstats.records.argument_checks import above_zero, finite_number, not_negative, refuse


class StatedLimits(InputQuantity):
    """The constructors of `Source` that take limits."""

    @classmethod
    def rectangular(
        cls,
        half_width: float,
        *,
        inexact: float | None = None,
        value: float = 0.0,
        dof: float = math.inf,
        reliability: float | None = None,
        relative: bool = False,
        unit: str = "",
    ) -> Self:
        """Two limits, and nothing known of what lies between them.

        Parameters
        ----------
        half_width : float
            Half of the distance of the limits, at least 0.
        inexact : float, optional
            How far each limit may itself be off, above 0 and below the half-width; relative as the half-width is.
        value, dof, reliability, relative, unit : optional
            As explained for `Source`.

        Returns
        -------
        Source
            Rectangular (JCGM 100, 4.3.7), or with inexact limits (JCGM 101, 6.4.3).
        """
        value, half, low, high = _limits(half_width, value, relative=relative)
        freedom = stated_dof(dof, reliability)
        how = f"limits ±{half_width:g}"
        if inexact is None:
            u = half / math.sqrt(3)
            return cls(value, u, freedom, RECTANGULAR, (low, high), unit, how=as_stated(how, relative=relative))
        d = absolute("inexact", above_zero("inexact", inexact), value, relative=relative)
        if d >= half:
            refuse("inexact", inexact, f"above 0 and below the half-width {half_width:g}")
        u = math.sqrt(half**2 / 3 + d**2 / 9)  # JCGM 101, 6.4.3.3
        words = as_stated(f"{how}, each ±{inexact:g}", relative=relative)
        return cls(value, u, freedom, INEXACT, (low, high, d), unit, how=words)

    @classmethod
    def triangular(
        cls,
        half_width: float,
        *,
        value: float = 0.0,
        dof: float = math.inf,
        reliability: float | None = None,
        relative: bool = False,
        unit: str = "",
    ) -> Self:
        """Two limits, with values near the middle more likely.

        Parameters
        ----------
        half_width : float
            Half of the distance of the limits, at least 0.
        value, dof, reliability, relative, unit : optional
            As explained for `Source`.

        Returns
        -------
        Source
            Triangular, u = half-width / sqrt(6) (JCGM 100, 4.3.9; JCGM 101, 6.4.5).
        """
        value, half, low, high = _limits(half_width, value, relative=relative)
        how = as_stated(f"limits ±{half_width:g}", relative=relative)
        u = half / math.sqrt(6)
        return cls(value, u, stated_dof(dof, reliability), TRIANGULAR, (low, high), unit, how=how)

    @classmethod
    def arcsine(
        cls,
        half_width: float,
        *,
        value: float = 0.0,
        dof: float = math.inf,
        reliability: float | None = None,
        relative: bool = False,
        unit: str = "",
    ) -> Self:
        """The limits of a quantity that swings between them as a sine does.

        Parameters
        ----------
        half_width : float
            Amplitude of the swing, at least 0.
        value, dof, reliability, relative, unit : optional
            As explained for `Source`.

        Returns
        -------
        Source
            Arc sine (U-shaped), u = half-width / sqrt(2) (JCGM 101, 6.4.6).
        """
        value, half, low, high = _limits(half_width, value, relative=relative)
        how = as_stated(f"swing ±{half_width:g}", relative=relative)
        u = half / math.sqrt(2)
        return cls(value, u, stated_dof(dof, reliability), ARC_SINE, (low, high), unit, how=how)

    @classmethod
    def trapezoid(
        cls,
        half_width: float,
        *,
        top: float,
        value: float = 0.0,
        dof: float = math.inf,
        reliability: float | None = None,
        relative: bool = False,
        unit: str = "",
    ) -> Self:
        """Two limits with a flat top and sloping sides.

        Parameters
        ----------
        half_width : float
            Half of the base, at least 0.
        top : float
            Width of the top as a share of the base: 0 is triangular, 1 rectangular.
        value, dof, reliability, relative, unit : optional
            As explained for `Source`.

        Returns
        -------
        Source
            Trapezoidal, u^2 = half-width^2 (1 + top^2) / 6 (JCGM 100, equation 9a).
        """
        value, half, low, high = _limits(half_width, value, relative=relative)
        beta = not_negative("top", top)
        if beta > 1:
            refuse("top", top, "a share of the base, 0 to 1")
        u = half * math.sqrt((1 + beta**2) / 6)  # equation (9a)
        how = as_stated(f"limits ±{half_width:g}, top {beta:g} of the base", relative=relative)
        return cls(value, u, stated_dof(dof, reliability), TRAPEZOIDAL, (low, high, beta), unit, how=how)

    @classmethod
    def between(
        cls,
        low: float,
        high: float,
        *,
        value: float | None = None,
        dof: float = math.inf,
        reliability: float | None = None,
        unit: str = "",
    ) -> Self:
        """Lower and upper limit, which need not lie evenly about the estimate.

        Parameters
        ----------
        low : float
            Lower limit.
        high : float
            Upper limit.
        value : float, optional
            The estimate, between the limits; the middle where left out.
        dof, reliability, unit : optional
            As explained for `Source`.

        Returns
        -------
        Source
            Rectangular between the limits, u = (high - low) / sqrt(12) (JCGM 100, 4.3.8). An estimate off the middle
            is kept as stated, and a note says so: draws between the limits have their mean in the middle.
        """
        low, high = finite_number("low", low), finite_number("high", high)
        if low > high:
            refuse("low", low, f"a lower limit of at most the upper limit {high!r}")
        middle = low / 2 + high / 2
        best = middle if value is None else finite_number("value", value)
        if not low <= best <= high:
            refuse("value", best, f"an estimate between the limits {low!r} and {high!r}")
        u, how = (high - low) / math.sqrt(12), f"limits {low:g} to {high:g}"
        notes: tuple[str, ...] = ()
        if abs(best - middle) > 1e-9 * (high - low):
            notes = (
                f"the estimate {best:g} is not in the middle of the limits ({middle:g}): it is kept as stated, with "
                f"the uncertainty of a rectangular distribution between the limits (JCGM 100, 4.3.8); draws between "
                f"the limits have their mean in the middle",
            )
        return cls(best, u, stated_dof(dof, reliability), RECTANGULAR, (low, high), unit, how=how, notes=notes)

    @classmethod
    def resolution(
        cls, step: float, *, value: float = 0.0, dof: float = math.inf, relative: bool = False, unit: str = ""
    ) -> Self:
        """Step of a display or of a digital record.

        Parameters
        ----------
        step : float
            Smallest step, at least 0.
        value, dof, relative, unit : optional
            As explained for `Source`.

        Returns
        -------
        Source
            Rectangular over one step, u = step / sqrt(12) (JCGM 100, F.2.2.1).
        """
        step = not_negative("step", step)
        value, half, low, high = _limits(step / 2, value, relative=relative)
        how = as_stated(f"resolution, step {step:g}", relative=relative)
        return cls(value, half / math.sqrt(3), stated_dof(dof), RECTANGULAR, (low, high), unit, how=how)


def _limits(half_width: float, value: float, *, relative: bool) -> tuple[float, float, float, float]:
    """Value, half-width in its unit, lower and upper limit."""
    value = finite_number("value", value)
    half = absolute("half_width", not_negative("half_width", half_width), value, relative=relative)
    return value, half, value - half, value + half
