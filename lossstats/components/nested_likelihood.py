"""Restricted maximum likelihood of a nested table: a second opinion on the components, by a dense covariance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lossstats.components.nested_means import mean_squares_with_scatter
from lossstats.components.nested_table import RESIDUAL, Array, read_nested_table
from lossstats.records.argument_checks import refuse
from lossstats.records.rendering import Record

MOST_VALUES = 1500
_STARTS = (1.0, 0.1, 4.0)
_GRADIENT_LEFT = 1e-3  # of the criterion by the logarithm of a ratio of variances
_SAME = 1e-8  # difference of the criterion at two ends that are one minimum
_FLAT = 1e-10  # ratio of variances below which a component is at the boundary


@dataclass(frozen=True)
class LikelihoodComponents(Record):
    """Components of variance by restricted maximum likelihood; points only, for comparison.

    Attributes
    ----------
    levels : tuple of str
        Outermost first, ``"residual"`` last.
    sd : dict of str to float
        Standard deviation by level; 0 at the boundary.
    at_boundary : tuple of str
        Levels whose estimate is 0.
    coefficients : dict of str to float
        Fixed effects: ``"mean"``, or one for each level of `fixed`.
    standard_errors : dict of str to float
        Of them, the components taken as known.
    log_likelihood : float
        Restricted, with the determinant of the fixed effects' cross product left out, as is usual.
    """

    levels: tuple[str, ...]
    sd: dict[str, float]
    at_boundary: tuple[str, ...]
    coefficients: dict[str, float]
    standard_errors: dict[str, float]
    log_likelihood: float

    title = "Components by restricted maximum likelihood"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [(f"sd, {name}", f"{sd:.4g}") for name, sd in self.sd.items()]
        rows += [
            (name, f"{b:.6g}, standard error {self.standard_errors[name]:.3g}") for name, b in self.coefficients.items()
        ]
        return [*rows, ("log-likelihood", f"{self.log_likelihood:.4f}")]


@dataclass(frozen=True, eq=False)
class _Model:
    values: Array  # shape (values,)
    design: Array  # fixed effects, shape (values, effects)
    units: tuple[Array, ...]  # by level, ones where a value belongs to a unit, shape (values, units)

    @property
    def dof(self) -> int:
        return len(self.values) - int(self.design.shape[1])


@dataclass(frozen=True, eq=False)
class _Fit:
    criterion: float  # minus twice the profiled restricted log-likelihood, but for constants
    gradient: Array  # by ratio of variances
    residual_variance: float
    coefficients: Array
    covariance: Array  # of the coefficients, for a residual variance of 1


def likelihood_components(
    table: Any, levels: Sequence[str], *, value: str = "value", fixed: str | None = None
) -> LikelihoodComponents:
    """Fit a nested model by restricted maximum likelihood.

    Parameters
    ----------
    table : pandas.DataFrame or mapping of str to sequence
        One row a value, 1500 at most: the covariance of all values is written out.
    levels : sequence of str
        Columns that name the units, outermost first; one to three.
    value : str, default "value"
        Column of the values.
    fixed : str, optional
        Column whose labels have a mean of their own; left out: one mean for all.

    Returns
    -------
    LikelihoodComponents
        Standard deviations by level.

    Raises
    ------
    TypeError
        If the table is no table of columns.
    ValueError
        If the table is not one that `variance_components` takes, is too long, or `fixed` leaves no degree of freedom.
    RuntimeError
        If no start ends in a minimum.

    Notes
    -----
    Patterson and Thompson (1971), Biometrika 58, 545. The residual variance is profiled out; the ratios of the other
    variances to it are squares, so that the search has no border, and every end is checked for the conditions of a
    minimum with ratios of 0 or more (Karush, Kuhn and Tucker). For balanced tables with all components above 0 it
    equals `variance_components`. Its normal intervals are not for few articles, so none are given.
    """
    nested = read_nested_table(table, levels, value=value)
    mean_squares_with_scatter(nested, value)
    if len(nested.values) > MOST_VALUES:
        refuse("table", f"{len(nested.values)} values", f"{MOST_VALUES} at most; variance_components takes any number")
    names, design = _design(table, fixed, value, len(nested.values))
    # Scaled, so that one set of starts and tolerances serves every unit.
    centre, scale = float(np.mean(nested.values)), float(np.std(nested.values))
    units = tuple(
        (code[:, None] == np.arange(len(n))).astype(float) for code, n in zip(nested.codes, nested.names, strict=True)
    )
    model = _Model((nested.values - centre) / scale, design, units)
    if model.dof <= 0 or np.linalg.matrix_rank(design) < design.shape[1]:
        refuse("fixed", fixed, "a column with fewer labels than there are values")
    ratios = _minimum(model)
    fit = _fit(ratios, model)
    return _result((*nested.levels, RESIDUAL), names, ratios, fit, model, centre, scale)


def _design(table: Any, fixed: str | None, value: str, length: int) -> tuple[list[str], Array]:
    if fixed is None:
        return ["mean"], np.ones((length, 1))
    groups = read_nested_table(table, [fixed], value=value)
    return list(groups.names[0]), (groups.codes[0][:, None] == np.arange(len(groups.names[0]))).astype(float)


def _fit(ratios: Array, model: _Model) -> _Fit:
    """Profiled criterion and its slope at these ratios of variances."""
    from scipy.linalg import cho_factor, cho_solve

    y, X = model.values, model.design
    covariance = np.eye(len(y))
    for ratio, Z in zip(ratios, model.units, strict=True):
        covariance += ratio * Z @ Z.T
    factor = cho_factor(covariance, lower=True)
    inner = cho_factor(X.T @ cho_solve(factor, X), lower=True)
    solved = cho_solve(factor, np.column_stack([y, X, *model.units]))
    vy, vX, vZ = solved[:, 0], solved[:, 1 : 1 + X.shape[1]], solved[:, 1 + X.shape[1] :]
    coefficients = cho_solve(inner, X.T @ vy)
    weighted = vy - vX @ coefficients  # P y
    rss = float(y @ weighted)
    log_determinants = 2 * sum(float(np.log(np.diag(f[0])).sum()) for f in (factor, inner))
    projected = vZ - vX @ cho_solve(inner, X.T @ vZ)  # P Z
    traces = np.concatenate([(projected[:, p] * Z).sum(axis=0) for p, Z in _slices(model)])
    squares = np.concatenate([(Z.T @ weighted) ** 2 for Z in model.units])
    slope = traces - model.dof * squares / rss
    gradient = np.array([slope[p].sum() for p, _ in _slices(model)])
    bread = cho_solve(inner, np.eye(X.shape[1]))
    return _Fit(log_determinants + model.dof * math.log(rss), gradient, rss / model.dof, coefficients, bread)


def _slices(model: _Model) -> list[tuple[slice, Array]]:
    ends = np.cumsum([0, *(Z.shape[1] for Z in model.units)])
    return [(slice(a, b), Z) for a, b, Z in zip(ends[:-1], ends[1:], model.units, strict=True)]


def _minimum(model: _Model) -> Array:
    """The best end of several starts that meets the conditions of a minimum; two that agree are enough."""
    from scipy.optimize import minimize

    def target(roots: Array) -> tuple[float, Array]:
        fit = _fit(roots**2, model)
        return fit.criterion, 2 * roots * fit.gradient

    k = len(model.units)
    starts = [np.full(k, s) for s in _STARTS]
    starts += [np.where(np.arange(k) == i, 1.0, 0.05) for i in range(k) if k > 1]
    ends: list[tuple[float, Array]] = []
    for start in starts:
        end = minimize(
            target, start, jac=True, method="L-BFGS-B", options={"ftol": 1e-15, "gtol": 1e-9, "maxiter": 500}
        )
        ratios = np.where(end.x**2 < _FLAT, 0.0, end.x**2)
        slopes = _fit(ratios, model).gradient
        inside = np.abs(np.where(ratios > 0, ratios * slopes, 0.0)) < _GRADIENT_LEFT
        if np.all(inside & ((ratios > 0) | (slopes > -_GRADIENT_LEFT))):
            ends.append((float(end.fun), ratios))
        if len(ends) > 1 and abs(ends[-1][0] - ends[-2][0]) < _SAME:
            break
    if not ends:
        raise RuntimeError(
            "likelihood_components: found no minimum from any start; variance_components needs no search"
        )
    return min(ends, key=lambda pair: pair[0])[1]


def _result(
    levels: tuple[str, ...], names: list[str], ratios: Array, fit: _Fit, model: _Model, centre: float, scale: float
) -> LikelihoodComponents:
    sds = scale * np.sqrt(fit.residual_variance * np.array([*ratios, 1.0]))
    shift = np.linalg.lstsq(model.design, np.ones(len(model.values)), rcond=None)[0]
    coefficients = scale * fit.coefficients + centre * shift
    errors = scale * np.sqrt(fit.residual_variance * np.diag(fit.covariance))
    constant = model.dof * (1 + math.log(2 * math.pi / model.dof) + 2 * math.log(scale))
    return LikelihoodComponents(
        levels=levels,
        sd=dict(zip(levels, map(float, sds), strict=True)),
        at_boundary=tuple(name for name, ratio in zip(levels, ratios, strict=False) if ratio == 0),
        coefficients=dict(zip(names, map(float, coefficients), strict=True)),
        standard_errors=dict(zip(names, map(float, errors), strict=True)),
        log_likelihood=-(fit.criterion + constant) / 2,
    )
