"""Sources of uncertainty, in every way that certificates and data sheets state them (JCGM 100, clause 4)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

from lossstats.budgets.source_checks import (
    above_zero,
    absolute,
    finite_number,
    not_negative,
    open_share,
    readings_of,
    refuse,
    stated_dof,
)
from lossstats.records.estimate import Term, coverage_factor
from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

GAUSSIAN, STUDENT = "Gaussian", "scaled and shifted t"
RECTANGULAR, INEXACT = "rectangular", "rectangular with inexact limits"
TRAPEZOIDAL, TRIANGULAR, ARC_SINE = "trapezoidal", "triangular", "arc sine"
# Names of JCGM 101, table 1, and how many numbers draw from each.
DISTRIBUTIONS = {GAUSSIAN: 0, STUDENT: 2, RECTANGULAR: 2, INEXACT: 3, TRAPEZOIDAL: 3, TRIANGULAR: 2, ARC_SINE: 2}


@dataclass(frozen=True)
class Source(Record):
    """One input quantity: its estimate, its standard uncertainty and the distribution it was stated with.

    Attributes
    ----------
    value : float
        The estimate, in `unit`.
    standard_uncertainty : float
        In `unit`. For repeated readings s / sqrt(n) (JCGM 100, 4.2.3), which linear propagation takes with its
        degrees of freedom; the t distribution that JCGM 101, 6.4.9 draws from has the larger variance
        u^2 nu / (nu - 2), and none at all up to two degrees of freedom.
    degrees_of_freedom : float
        Of the standard uncertainty; infinity where it is taken as exactly known.
    distribution : str
        Name in JCGM 101, table 1.
    shape : tuple of float
        What draws need. Gaussian: none; scaled and shifted t: scale and degrees of freedom; rectangular, triangular,
        arc sine: low and high; rectangular with inexact limits: low, high and the inexactness d of each; trapezoidal:
        low, high and the width of the top as a share of the base.
    unit : str
        Unit of the value and of the uncertainty.
    observed : tuple of float
        The repeated readings, where there are any: readings of several quantities taken together correlate them.
    how : str
        How it was stated.
    notes : tuple of str
        What a reader should know.

    Notes
    -----
    Amounts given as `relative` are fractions of the value. Degrees of freedom are stated as `dof`, or through
    `reliability`, the relative uncertainty of the standard uncertainty (JCGM 100, equation G.3). A normal or expanded
    uncertainty with finite degrees of freedom is drawn from a scaled and shifted t (JCGM 101, 6.4.9.7); limits keep
    their distribution, and their degrees of freedom count in linear propagation only.

    Examples
    --------
    >>> Source.expanded(0.28, k=2, value=280.0, unit="W").standard_uncertainty
    0.14
    >>> round(Source.rectangular(4.0, value=100.0).standard_uncertainty, 4)
    2.3094
    """

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

    @classmethod
    def normal(
        cls,
        u: float,
        *,
        value: float = 0.0,
        dof: float = math.inf,
        reliability: float | None = None,
        relative: bool = False,
        unit: str = "",
    ) -> Self:
        """Standard uncertainty.

        Parameters
        ----------
        u : float
            Standard uncertainty, at least 0.
        value : float, default 0
            The estimate.
        dof : float, default infinite
            Degrees of freedom of `u`; finite ones are drawn from a t distribution.
        reliability : float, optional
            Relative uncertainty of `u`, in place of `dof`.
        relative : bool, default False
            Whether `u` is a fraction of the value.
        unit : str
            Unit.

        Returns
        -------
        Source
            Gaussian (JCGM 101, 6.4.7), or t where the degrees of freedom are finite (6.4.9.7).
        """
        value, amount = finite_number("value", value), not_negative("u", u)
        size = absolute("u", amount, value, relative=relative)
        return cls._gaussian_or_t(
            value, size, stated_dof(dof, reliability), unit, _how("standard uncertainty", relative)
        )

    @classmethod
    def expanded(
        cls,
        U: float,
        *,
        k: float | None = None,
        level: float | None = None,
        value: float = 0.0,
        dof: float = math.inf,
        reliability: float | None = None,
        relative: bool = False,
        unit: str = "",
    ) -> Self:
        """Expanded uncertainty with its coverage factor or its level of confidence.

        Parameters
        ----------
        U : float
            Expanded uncertainty: half of the interval stated, at least 0.
        k : float, optional
            Coverage factor, above 0; 2 where neither `k` nor `level` is given.
        level : float, optional
            Level of confidence in place of `k`, between 0 and 1; taken as normal, or as t for finite `dof`.
        value : float, default 0
            The estimate.
        dof : float, default infinite
            Degrees of freedom.
        reliability : float, optional
            Relative uncertainty of the standard uncertainty, in place of `dof`.
        relative : bool, default False
            Whether `U` is a fraction of the value.
        unit : str
            Unit.

        Returns
        -------
        Source
            Gaussian or t, with u = U / k (JCGM 100, 4.3.3 to 4.3.5).
        """
        value, amount = finite_number("value", value), not_negative("U", U)
        freedom = stated_dof(dof, reliability)
        if level is not None:
            if k is not None:
                refuse("k", k, f"nothing beside level = {level!r}; give one of the two")
            factor = coverage_factor(Term(1.0, freedom), open_share("level", level))
            how = f"expanded, level {level:g}"
        else:
            factor = above_zero("k", 2.0 if k is None else k)
            how = f"expanded, k = {factor:g}"
        size = absolute("U", amount, value, relative=relative) / factor
        return cls._gaussian_or_t(value, size, freedom, unit, _how(how, relative))

    @classmethod
    def student(
        cls, u: float, dof: float, *, value: float = 0.0, relative: bool = False, unit: str = "", how: str = ""
    ) -> Self:
        """Standard uncertainty with few degrees of freedom.

        Parameters
        ----------
        u : float
            Standard uncertainty: the scale of the t distribution.
        dof : float
            Degrees of freedom, above 0.
        value : float, default 0
            The estimate.
        relative : bool, default False
            Whether `u` is a fraction of the value.
        unit : str
            Unit.
        how : str
            How it was stated, in words of your own.

        Returns
        -------
        Source
            Scaled and shifted t (JCGM 101, 6.4.9); Gaussian for infinite degrees of freedom.
        """
        value, amount = finite_number("value", value), not_negative("u", u)
        size = absolute("u", amount, value, relative=relative)
        words = how or _how("standard uncertainty with its degrees of freedom", relative)
        return cls._gaussian_or_t(value, size, stated_dof(dof), unit, words)

    @classmethod
    def rectangular(
        cls,
        half_width: float,
        *,
        value: float = 0.0,
        inexact: float | None = None,
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
        value : float, default 0
            The estimate, in the middle.
        inexact : float, optional
            How far each limit may itself be off, above 0 and below the half-width; relative as the half-width is.
        dof : float, default infinite
            Degrees of freedom.
        reliability : float, optional
            Relative uncertainty of the standard uncertainty, in place of `dof`.
        relative : bool, default False
            Whether the amounts are fractions of the value.
        unit : str
            Unit.

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
            return cls(value, u, freedom, RECTANGULAR, (low, high), unit, how=_how(how, relative))
        d = absolute("inexact", above_zero("inexact", inexact), value, relative=relative)
        if d >= half:
            refuse("inexact", inexact, f"above 0 and below the half-width {half_width:g}")
        u = math.sqrt(half**2 / 3 + d**2 / 9)  # JCGM 101, 6.4.3.3
        words = _how(f"{how}, each ±{inexact:g}", relative)
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
        value : float, default 0
            The estimate, in the middle.
        dof : float, default infinite
            Degrees of freedom.
        reliability : float, optional
            Relative uncertainty of the standard uncertainty, in place of `dof`.
        relative : bool, default False
            Whether the half-width is a fraction of the value.
        unit : str
            Unit.

        Returns
        -------
        Source
            Triangular, u = half-width / sqrt(6) (JCGM 100, 4.3.9; JCGM 101, 6.4.5).
        """
        value, half, low, high = _limits(half_width, value, relative=relative)
        how = _how(f"limits ±{half_width:g}", relative)
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
        value : float, default 0
            The estimate, in the middle.
        dof : float, default infinite
            Degrees of freedom.
        reliability : float, optional
            Relative uncertainty of the standard uncertainty, in place of `dof`.
        relative : bool, default False
            Whether the half-width is a fraction of the value.
        unit : str
            Unit.

        Returns
        -------
        Source
            Arc sine (U-shaped), u = half-width / sqrt(2) (JCGM 101, 6.4.6).
        """
        value, half, low, high = _limits(half_width, value, relative=relative)
        how = _how(f"swing ±{half_width:g}", relative)
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
        value : float, default 0
            The estimate, in the middle.
        dof : float, default infinite
            Degrees of freedom.
        reliability : float, optional
            Relative uncertainty of the standard uncertainty, in place of `dof`.
        relative : bool, default False
            Whether the half-width is a fraction of the value.
        unit : str
            Unit.

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
        how = _how(f"limits ±{half_width:g}, top {beta:g} of the base", relative)
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
        dof : float, default infinite
            Degrees of freedom.
        reliability : float, optional
            Relative uncertainty of the standard uncertainty, in place of `dof`.
        unit : str
            Unit.

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
        value : float, default 0
            The indication.
        dof : float, default infinite
            Degrees of freedom.
        relative : bool, default False
            Whether the step is a fraction of the value.
        unit : str
            Unit.

        Returns
        -------
        Source
            Rectangular over one step, u = step / sqrt(12) (JCGM 100, F.2.2.1).
        """
        step = not_negative("step", step)
        value, half, low, high = _limits(step / 2, value, relative=relative)
        how = _how(f"resolution, step {step:g}", relative)
        return cls(value, half / math.sqrt(3), stated_dof(dof), RECTANGULAR, (low, high), unit, how=how)

    @classmethod
    def readings(cls, values: Iterable[float], *, unit: str = "") -> Self:
        """Mean of independent repeated readings.

        Parameters
        ----------
        values : iterable of float
            Two readings or more; they must be independent (not successive samples of one run).
        unit : str
            Unit.

        Returns
        -------
        Source
            Mean, u = s / sqrt(n) with n - 1 degrees of freedom (JCGM 100, 4.2.3), scaled and shifted t (JCGM 101,
            6.4.9). The readings are kept as `observed`.
        """
        observed = readings_of("values", values)
        n = len(observed)
        mean = math.fsum(observed) / n
        u = math.sqrt(math.fsum((x - mean) ** 2 for x in observed) / (n - 1) / n)
        notes = ("all readings are equal: their scatter lies below the resolution, state that as well",)
        return cls(
            mean, u, float(n - 1), STUDENT, (u, float(n - 1)), unit, observed, f"mean of {n} readings",
            notes if len(set(observed)) == 1 else (),
        )  # fmt: skip

    @classmethod
    def pooled(
        cls, sd: float, *, dof: float, count: int = 1, value: float = 0.0, relative: bool = False, unit: str = ""
    ) -> Self:
        """Mean of few readings whose repeatability is known from earlier, pooled ones.

        Parameters
        ----------
        sd : float
            Pooled standard deviation of one reading, at least 0.
        dof : float
            Degrees of freedom of `sd`.
        count : int, default 1
            Readings that make the mean now.
        value : float, default 0
            Their mean.
        relative : bool, default False
            Whether `sd` is a fraction of the value.
        unit : str
            Unit.

        Returns
        -------
        Source
            U = sd / sqrt(count), with the degrees of freedom of the pooled one (JCGM 100, 4.2.4).
        """
        value, amount = finite_number("value", value), not_negative("sd", sd)
        if count != int(count) or count < 1:
            refuse("count", count, "a whole number of at least 1")
        size = absolute("sd", amount, value, relative=relative) / math.sqrt(count)
        how = _how(f"pooled repeatability, mean of {int(count)}", relative)
        return cls._gaussian_or_t(value, size, stated_dof(dof), unit, how)

    @classmethod
    def _gaussian_or_t(cls, value: float, u: float, dof: float, unit: str, how: str) -> Self:
        if math.isinf(dof):
            return cls(value, u, dof, GAUSSIAN, (), unit, how=how)
        return cls(value, u, dof, STUDENT, (u, dof), unit, how=how)

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


def _limits(half_width: float, value: float, *, relative: bool) -> tuple[float, float, float, float]:
    """Value, half-width in its unit, lower and upper limit."""
    value = finite_number("value", value)
    half = absolute("half_width", not_negative("half_width", half_width), value, relative=relative)
    return value, half, value - half, value + half


def _how(words: str, relative: bool) -> str:  # noqa: FBT001
    return f"{words}, relative to the value" if relative else words
