"""Sources of uncertainty, in every way that certificates and data sheets state them (JCGM 100, clause 4)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

from lossstats.budgets.input_quantity import GAUSSIAN, STUDENT, absolute, as_stated, stated_dof
from lossstats.budgets.stated_limits import StatedLimits
from lossstats.records.argument_checks import (
    above_zero,
    finite_number,
    not_negative,
    open_share,
    readings_of,
    refuse,
    whole_number,
)
from lossstats.records.estimate import Term, coverage_factor


@dataclass(frozen=True)
class Source(StatedLimits):
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
    Every constructor takes, by name and as far as it makes sense, `value`, the estimate (0 where left out); `relative`,
    whether the amounts stated are fractions of the value; `dof`, degrees of freedom of the standard uncertainty
    (infinite where left out), or in their place `reliability`, its relative uncertainty (JCGM 100, equation G.3); and
    `unit`.

    A normal or expanded uncertainty with finite degrees of freedom is drawn from a scaled and shifted t (JCGM 101,
    6.4.9.7); limits keep their distribution, and their degrees of freedom count in linear propagation only.

    Examples
    --------
    >>> Source.expanded(0.28, k=2, value=280.0, unit="W").standard_uncertainty
    0.14
    >>> round(Source.rectangular(4.0, value=100.0).standard_uncertainty, 4)
    2.3094
    """

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
        value, dof, reliability, relative, unit : optional
            As explained for `Source`.

        Returns
        -------
        Source
            Gaussian (JCGM 101, 6.4.7), or t where the degrees of freedom are finite (6.4.9.7).
        """
        value, amount = finite_number("value", value), not_negative("u", u)
        size = absolute("u", amount, value, relative=relative)
        return cls._gaussian_or_t(
            value, size, stated_dof(dof, reliability), unit, as_stated("standard uncertainty", relative=relative)
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
        value, dof, reliability, relative, unit : optional
            As explained for `Source`.

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
        return cls._gaussian_or_t(value, size, freedom, unit, as_stated(how, relative=relative))

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
        value, relative, unit : optional
            As explained for `Source`.
        how : str
            How it was stated, in words of your own.

        Returns
        -------
        Source
            Scaled and shifted t (JCGM 101, 6.4.9); Gaussian for infinite degrees of freedom.
        """
        value, amount = finite_number("value", value), not_negative("u", u)
        size = absolute("u", amount, value, relative=relative)
        words = how or as_stated("standard uncertainty with its degrees of freedom", relative=relative)
        return cls._gaussian_or_t(value, size, stated_dof(dof), unit, words)

    @classmethod
    def readings(cls, values: Iterable[float], *, unit: str = "") -> Self:
        """Mean of independent repeated readings.

        Parameters
        ----------
        values : iterable of float
            Two readings or more; they must be independent (not successive samples of one run).
        unit : optional
            As explained for `Source`.

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
        value, relative, unit : optional
            As explained for `Source`.

        Returns
        -------
        Source
            The u of sd / sqrt(count), with the degrees of freedom of `sd` (JCGM 100, 4.2.4).
        """
        value, amount = finite_number("value", value), not_negative("sd", sd)
        count = whole_number("count", count, 1)
        size = absolute("sd", amount, value, relative=relative) / math.sqrt(count)
        how = as_stated(f"pooled repeatability, mean of {count}", relative=relative)
        return cls._gaussian_or_t(value, size, stated_dof(dof), unit, how)

    @classmethod
    def _gaussian_or_t(cls, value: float, u: float, dof: float, unit: str, how: str) -> Self:
        if math.isinf(dof):
            return cls(value, u, dof, GAUSSIAN, (), unit, how=how)
        return cls(value, u, dof, STUDENT, (u, dof), unit, how=how)
