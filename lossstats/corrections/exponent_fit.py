"""Exponent of the operating point from the units themselves: a regression in logs, where the trial can bear one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.records.estimate import Term
from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

Array = NDArray[np.float64]

FEWEST_UNITS = 6  # a condition
SMALLEST_SPREAD = 4.0  # of the point, in standard uncertainties of one reading: attenuation stays below 1/16


@dataclass(frozen=True)
class FittedExponent(Record):
    """Exponent of the power form as fitted to the units, or why it was not fitted.

    Attributes
    ----------
    exponent : float or None
        k of level x (nominal / point)^k.
    standard_uncertainty : float or None
        Of k.
    degrees_of_freedom : float or None
        Of the residuals behind it: units less conditions (less blocks, plus one) less one for k itself.
    why_refused : str
        Condition that the trial does not meet; empty where k was fitted.
    spread : float
        Relative standard deviation of the point within conditions (and blocks).
    attenuation : float or None
        Share by which the random error of the readings draws k toward zero, to be expected.
    units : dict of str to int
        Units a condition.
    notes : tuple of str
        What a reader must know.
    """

    exponent: float | None
    standard_uncertainty: float | None
    degrees_of_freedom: float | None
    why_refused: str
    spread: float
    attenuation: float | None
    units: dict[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    title = "Exponent of the operating point, fitted"

    def with_scatter(self, scatter: Term, sensitivity: float) -> Term:
        """Uncertainty of a comparison of levels that this exponent brought to the nominal point.

        Parameters
        ----------
        scatter : Term
            Type A term of the comparison, from the scatter of the levels brought to nominal.
        sensitivity : float
            Of the comparison to the exponent: the weights of the comparison times d level / d exponent of its units.

        Returns
        -------
        Term
            Scatter and exponent together; it takes the place of both.

        Raises
        ------
        ValueError
            If the fit was refused.

        Notes
        -----
        The fit has bent the levels toward each other, so that their scatter is too small: with nu degrees of freedom
        left of nu + 1, its variance is raised by (nu + 1) / nu and its degrees of freedom lowered by nu / (nu + 1).
        The error of k comes from the same residuals as the scatter; the two are uncorrelated but their estimates are
        not, so that degrees of freedom must not be added up: the smaller of the two stand for both (and not the
        Welch-Satterthwaite formula of JCGM 100, G.4.1, which needs independent estimates).
        """
        if self.standard_uncertainty is None or self.degrees_of_freedom is None:
            raise ValueError(f"exponent: none was fitted; {self.why_refused}")
        nu = self.degrees_of_freedom
        u = math.hypot(scatter.standard_uncertainty * math.sqrt((nu + 1) / nu), sensitivity * self.standard_uncertainty)
        return Term(u, min(scatter.degrees_of_freedom * nu / (nu + 1), nu))

    def _rows(self) -> list[tuple[str, str]]:
        units = ", ".join(f"{name} {n}" for name, n in self.units.items())
        shared = [("units", units), ("spread of the point", f"{100 * self.spread:.3g} %")]
        if self.exponent is None or self.standard_uncertainty is None or self.degrees_of_freedom is None:
            return [("not fitted", self.why_refused), *shared, *(("note", note) for note in self.notes)]
        places = decimals_for(self.standard_uncertainty)
        return [
            ("exponent", shown(self.exponent, places)),
            ("standard uncertainty", shown(self.standard_uncertainty, places)),
            ("degrees of freedom", shown_dof(self.degrees_of_freedom)),
            *shared,
            *(("note", note) for note in self.notes),
        ]


def fit_exponent(
    values: ArrayLike,
    point: ArrayLike,
    condition: Sequence[str],
    *,
    blocks: Sequence[str] | None = None,
    u_point: float,
) -> FittedExponent:
    """Exponent k of level proportional to point^k, by least squares in logs within conditions.

    Parameters
    ----------
    values : array_like, shape (units,)
        One level for each unit in each condition, above 0; not runs or samples.
    point : array_like, shape (units,)
        Reading of the quantity of the operating point that goes with each, above 0.
    condition : sequence of str, shape (units,)
        Condition of each; two or more conditions.
    blocks : sequence of str, optional
        Article of each where every article ran in every condition: the fit is then within articles.
    u_point : float
        Standard uncertainty of one reading, random from unit to unit, in the unit of the point.

    Returns
    -------
    FittedExponent
        With `why_refused` in place of the exponent where a condition below is not met.

    Raises
    ------
    ValueError
        Lengths that differ, a value or point not above 0, fewer than two conditions, a block that does not have each
        condition once, `u_point` negative.

    Notes
    -----
    A known sensitivity (`lossstats.bring_to_nominal`) is the default; this is for a trial that has
    none and can bear the regression. It is refused unless

    - every condition has at least six units;
    - the point spreads within conditions (and blocks) by at least four times its standard uncertainty, since the
      random error of a regressor draws the slope toward zero by the share u^2 / spread^2;
    - the conditions overlap: the mean over the conditions of their mean ln(point), which is where they are compared,
      lies within the range of ln(point) of each condition (of its deviations from the articles' means where there
      are blocks). Otherwise the comparison is read where a condition never ran.

    The model is ln level = condition (+ block) + k ln point + error. A comparison that uses k must take its
    uncertainty from `FittedExponent.with_scatter`.

    Examples
    --------
    >>> power = [270, 276, 280, 284, 290, 281, 272, 275, 279, 283, 288, 285]
    >>> loss = [(7.0 if i < 6 else 5.5) * (p / 280) ** 0.8 for i, p in enumerate(power)]
    >>> fit = fit_exponent(loss, power, ["dusty"] * 6 + ["cleaned"] * 6, u_point=0.5)
    >>> round(fit.exponent, 6), fit.degrees_of_freedom
    (0.8, 9.0)
    """
    y, x = _log("values", values), _log("point", point)
    names = _labels("condition", condition, len(y))
    articles = None if blocks is None else _labels("blocks", blocks, len(y))
    if len(x) != len(y):
        raise ValueError(f"point: found {len(x)} values for {len(y)} levels; accepted: one a level")
    if not (math.isfinite(u_point) and u_point >= 0):
        raise ValueError(f"u_point: found {u_point!r}; accepted: a finite standard uncertainty, 0 or above")
    _check_layout(names, articles)
    units = {name: names.count(name) for name in dict.fromkeys(names)}
    means = _indicators(names) if articles is None else np.hstack([_indicators(names), _indicators(articles)])
    y_left, x_left, rank = _without(means, y), _without(means, x), int(np.linalg.matrix_rank(means))
    square = math.fsum(x_left**2)
    spread = math.sqrt(square / (len(x) - rank)) if len(x) > rank else 0.0
    u_relative = u_point / math.exp(float(x.mean()))
    centred = x if articles is None else _without(_indicators(articles), x)
    why = _unmet(units, spread, u_relative, _standing_apart(centred, names))
    if why:
        return FittedExponent(None, None, None, why, spread, None, units)
    k = math.fsum(x_left * y_left) / square
    dof = len(y) - rank - 1.0
    u = math.sqrt(math.fsum((y_left - k * x_left) ** 2) / dof / square)
    attenuation = (u_relative / spread) ** 2
    return FittedExponent(k, u, dof, "", spread, attenuation, units, _notes(attenuation))


def _unmet(units: dict[str, int], spread: float, u_relative: float, apart: str) -> str:
    """First condition of a regression that the trial does not meet."""
    few = {name: n for name, n in units.items() if n < FEWEST_UNITS}
    if few:
        found = ", ".join(f"{n} units of {name!r}" for name, n in few.items())
        return f"too few units: found {found}; a regression takes at least {FEWEST_UNITS} a condition"
    if spread < SMALLEST_SPREAD * u_relative or spread < 1e-12:
        return (
            f"the point hardly varies: found a spread of {100 * spread:.3g} % and a standard uncertainty of "
            f"{100 * u_relative:.3g} % of one reading; a regression takes a spread of at least "
            f"{SMALLEST_SPREAD:g} times that uncertainty"
        )
    return apart


def _standing_apart(x: Array, names: list[str]) -> str:
    """Name the conditions that never ran about where all are compared; empty where all did."""
    groups = {name: x[[other == name for other in names]] for name in dict.fromkeys(names)}
    middle = float(np.mean([group.mean() for group in groups.values()]))
    outside = [name for name, group in groups.items() if not group.min() <= middle <= group.max()]
    if not outside:
        return ""
    return (
        f"the conditions do not overlap: {', '.join(map(repr, outside))} never ran on both sides of the mean operating "
        "point of the conditions, at which they would be compared"
    )


def _notes(attenuation: float) -> tuple[str, ...]:
    notes = ["the exponent was fitted to these units; scatter and exponent enter a comparison together"]
    if attenuation >= 0.01:
        notes.append(
            f"the random error of the readings of the point draws the exponent toward zero by about "
            f"{100 * attenuation:.0f} %"
        )
    return tuple(notes)


def _without(means: Array, values: Array) -> Array:
    """Deviations from the means of conditions (and blocks)."""
    coefficients = np.linalg.lstsq(means, values, rcond=None)[0]
    return np.asarray(values - means @ coefficients, dtype=np.float64)


def _indicators(names: list[str]) -> Array:
    return np.array([[float(name == other) for other in dict.fromkeys(names)] for name in names])


def _check_layout(names: list[str], articles: list[str] | None) -> None:
    conditions = list(dict.fromkeys(names))
    if len(conditions) < 2:
        raise ValueError(f"condition: found {conditions}; accepted: two conditions or more")
    if articles is None:
        return
    for article in dict.fromkeys(articles):
        has = [name for name, other in zip(names, articles, strict=True) if other == article]
        if sorted(has) != sorted(conditions):
            raise ValueError(f"blocks: found {article!r} in {has}; accepted: once in each of {conditions}")


def _labels(name: str, labels: Sequence[str], n: int) -> list[str]:
    if isinstance(labels, str) or len(labels) != n:
        raise ValueError(f"{name}: found {len(labels)} labels for {n} levels; accepted: one a level")
    return [str(label) for label in labels]


def _log(name: str, values: ArrayLike) -> Array:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1:
        raise ValueError(f"{name}: found an array of {array.ndim} dimensions; accepted: one value a unit and condition")
    good = np.isfinite(array) & (array > 0)
    if not good.all():
        first = int(np.argmin(good))
        raise ValueError(
            f"{name}: found {float(array[first])!r} at place {first} (counted from 0); accepted: finite and above 0, "
            "since the regression is in logs"
        )
    return np.log(array)
