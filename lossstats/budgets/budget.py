"""Uncertainty budget of any model by linear propagation: the law of propagation of JCGM 100, clause 5."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.budgets.budget_lines import Contribution, SecondOrder
from lossstats.budgets.budget_table import Budget, Budgets
from lossstats.budgets.correlation import correlated_groups, correlation_matrix
from lossstats.budgets.input_quantity import GAUSSIAN, STUDENT
from lossstats.budgets.model_function import ModelFunction, check_inputs, check_units
from lossstats.budgets.sensitivities import reaches, second_order_terms, sensitivities
from lossstats.budgets.source import Source
from lossstats.records.argument_checks import refuse
from lossstats.records.estimate import Term, check_confidence, combine

__all__ = ["Budget", "Budgets", "Contribution", "propagate"]

Array = NDArray[np.float64]

# Rounding u to two digits changes it by 5 % at most (10.5 to 10): what moves it by less cannot be seen in a report.
SECOND_ORDER_LIMIT = 0.05
# A slope that could be off by more than a millionth of u, or of what the model does within u, has met a kink or a step.
_SLOPE_LIMIT = 1e-6
# A slope below a millionth of what the model does within u is a bottom, a top or a saddle: zero but for rounding.
_FLAT_LIMIT = 1e-6
_ROUNDING = 1e-9  # of the combined standard uncertainty
# Where all other sources together are below 0.3 of one that is not normal, the result has that one's distribution
# (EA-4/02, S9.14, from memory).
_DOMINANT_LIMIT = 0.3


def propagate(
    model: Callable[..., Any],
    inputs: Mapping[str, Source],
    *,
    correlation: Mapping[tuple[str, str], float] | None = None,
    simultaneous: Sequence[Sequence[str]] = (),
    units: Mapping[str, str] | None = None,
    unit: str | Sequence[str] = "",
    confidence: float = 0.95,
    output: str | Sequence[str] | None = None,
) -> Any:
    """Uncertainty budget of a model.

    Parameters
    ----------
    model : callable
        Called as ``model(**{name: value})``, with floats or with arrays; gives one number, or several as dict, tuple
        or array. Text is never evaluated.
    inputs : mapping of str to Source
        A source for each parameter of the model; parameters with a default may be left out.
    correlation : mapping of (str, str) to float, optional
        Correlation coefficients of inputs; pairs not named are uncorrelated.
    simultaneous : sequence of sequences of str
        Groups of inputs from `Source.readings` whose readings were taken together.
    units : mapping of str to str, optional
        Unit that the model takes for an input, by name; a source in another one is refused.
    unit : str or sequence of str
        Unit of the result, or one for each of several.
    confidence : float, default 0.95
        Of the interval shown, between 0 and 1.
    output : str or sequence of str, optional
        Name of the result, or one for each of several; what the model calls them where left out.

    Returns
    -------
    Budget or Budgets
        One budget, or several with their covariance where the model gives several numbers.

    Raises
    ------
    ValueError
        If an argument is out of range, inputs and parameters of the model differ, coefficients are impossible, a unit
        differs, or the model fails; the text names the argument, or the values at which the model failed.

    Notes
    -----
    JCGM 100:2008, equations (10) and (13), with sensitivities by extrapolated central differences; effective degrees
    of freedom by equation (G.2b), used as they are and not truncated (G.4.1 allows either). That equation presumes
    independent contributions: inputs that are correlated enter it as one contribution with the smallest degrees of
    freedom among them, which is exact for simultaneous readings and on the safe side otherwise. The share of a
    correlated input is its part of the variance, c_i u_i times the sum of r_ij c_j u_j over j, by the variance; it
    may be negative.

    A note says where second-order terms move u by more than 5 % (less is lost in the rounding of u to two digits),
    and where an input has no first-order effect.

    Examples
    --------
    >>> inputs = {"drive": Source.normal(0.14, value=280.0), "driven": Source.normal(0.1375, value=275.0)}
    >>> budget = propagate(lambda drive, driven: drive - driven, inputs, unit="W")
    >>> round(budget.value, 3), round(budget.standard_uncertainty, 3)
    (5.0, 0.196)
    """
    check_confidence(confidence)
    check_inputs(inputs)
    check_units(inputs, units or {})
    matrix = correlation_matrix(inputs, correlation, simultaneous)
    called = ModelFunction(model, {name: source.value for name, source in inputs.items()})
    names = _one_each("output", output, called.outputs)
    result_units = _one_each("unit", unit, called.outputs, same=True)
    parts = _Propagation(called, inputs, matrix)
    budgets = tuple(
        parts.budget(k, name, unit, confidence) for k, (name, unit) in enumerate(zip(names, result_units, strict=True))
    )
    if called.single:
        return budgets[0]
    return Budgets(budgets, *parts.covariance())


class _Propagation:
    """Everything that the budgets of one model share."""

    def __init__(self, called: ModelFunction, inputs: Mapping[str, Source], matrix: Array) -> None:
        self.called, self.inputs, self.matrix = called, inputs, matrix
        self.values = np.array([source.value for source in inputs.values()])
        self.u = np.array([source.standard_uncertainty for source in inputs.values()])
        self.slopes, self.errors = sensitivities(called.many, self.values, self.u)
        self._check_slopes()
        self.parts = self.slopes * self.u  # c_i u_i, signed, outputs first
        self.reaches = reaches(called.many, self.values, self.u)
        self.second = second_order_terms(called.many, self.values, self.u[:, None] * _factor(matrix))
        self.groups = correlated_groups(matrix)

    def covariance(self) -> tuple[tuple[tuple[float, ...], ...], tuple[tuple[float, ...], ...]]:
        """Covariance and correlation of the outputs."""
        covariance = self.parts @ self.matrix @ self.parts.T  # JCGM 100, equation (H.9)
        u = np.sqrt(np.diag(covariance).clip(0))
        scale = np.outer(u, u)
        coefficients = np.divide(covariance, scale, out=np.zeros_like(scale), where=scale > 0).clip(-1, 1)
        np.fill_diagonal(coefficients, 1.0)
        return tuple(map(tuple, covariance.tolist())), tuple(map(tuple, coefficients.tolist()))

    def budget(self, k: int, name: str, unit: str, confidence: float) -> Budget:
        """Budget of output k."""
        u, dof = combine([self._term(k, group) for group in self.groups])
        lines = tuple(self._line(k, i, source, u) for i, source in enumerate(self.inputs))
        first = Budget(
            name, self.called.first[k], u, dof, unit, confidence, lines, self._second_order(k, u), notes=()
        )  # fmt: skip
        return replace(first, notes=tuple(self._notes(k, first)))

    def _check_slopes(self) -> None:
        for name, error in zip(self.inputs, self.errors.T, strict=True):
            if not np.isfinite(error).all():
                point = ", ".join(f"{n} = {s.value:.6g}" for n, s in self.inputs.items())
                raise ValueError(
                    f"model: found no finite values on both sides of {name} = {self.inputs[name].value:g}, however "
                    f"near, at {point}; accepted: a model that has a derivative there"
                )

    def _term(self, k: int, group: list[int]) -> Term:
        """One independent contribution: an input, or inputs that are correlated, taken together."""
        part = self.parts[k, group]
        variance = part @ self.matrix[np.ix_(group, group)] @ part  # equation (13), over the group
        sources = list(self.inputs.values())
        dof = min((sources[i].degrees_of_freedom for i in group if self.parts[k, i] != 0), default=math.inf)
        return Term(math.sqrt(max(float(variance), 0.0)), dof)

    def _line(self, k: int, i: int, name: str, u: float) -> Contribution:
        source = self.inputs[name]
        share = float(self.parts[k, i] * (self.matrix[i] @ self.parts[k])) / u**2 if u > 0 else None
        return Contribution(
            name, source.value, source.unit, source.distribution, source.standard_uncertainty,
            source.degrees_of_freedom, float(self.slopes[k, i]), abs(float(self.parts[k, i])), share, source.how,
        )  # fmt: skip

    def _second_order(self, k: int, u: float) -> SecondOrder:
        added, shift = float(self.second.variance[k]), float(self.second.shift[k])
        if math.isnan(added) or math.isnan(shift):
            return SecondOrder(None, None, "the model fails within the standard uncertainty of its inputs")
        if u**2 + added < 0:
            return SecondOrder(None, None, "second-order terms outweigh the first: the model bends too much within u")
        return SecondOrder(math.sqrt(u**2 + added), shift)

    def _notes(self, k: int, budget: Budget) -> list[str]:
        notes = [*_about_order(budget), *self._about_slopes(k, budget.standard_uncertainty), *_about_shape(budget)]
        correlated = [group for group in self.groups if len(group) > 1]
        if correlated:
            notes += self._about_correlation(correlated)
        if not (math.isinf(budget.degrees_of_freedom) or budget.degrees_of_freedom.is_integer()):
            k_cut = budget.expanded(truncated=True).k
            notes.append(
                f"effective degrees of freedom (Welch-Satterthwaite) are used as they are; truncated to an integer, "
                f"as JCGM 100, G.4.1 also allows, they would give k = {k_cut:.2f}"
            )
        return notes + [f"{name}: {note}" for name, source in self.inputs.items() for note in source.notes]

    def _about_slopes(self, k: int, u: float) -> list[str]:
        notes = []
        for i, name in enumerate(self.inputs):
            if self.u[i] == 0:
                continue
            part, reach, doubt = abs(self.parts[k, i]), self.reaches[k, i], self.errors[k, i] * self.u[i]
            if max(part, reach) <= _ROUNDING * u:  # what cancels leaves the rounding of its terms
                part = reach = 0.0
            if reach == 0 and part == 0:
                notes.append(
                    f"{name}: zero first-order sensitivity; within its standard uncertainty the result does not change "
                    f"with it alone (beside another uncertain input only the second-order terms or Monte Carlo show it)"
                )
            elif part <= _FLAT_LIMIT * reach:
                notes.append(
                    f"{name}: zero first-order sensitivity, yet within its standard uncertainty the result changes by "
                    f"{reach:.2g}; linear propagation misses that, use the second-order terms or Monte Carlo"
                )
            if doubt > _SLOPE_LIMIT * max(u, part, reach):
                notes.append(
                    f"{name}: its sensitivity depends on the step of the differences by {self.errors[k, i]:.1g}; the "
                    f"model has a kink or a step near {self.values[i]:g}"
                )
        return notes

    def _about_correlation(self, groups: list[list[int]]) -> list[str]:
        names, sources = list(self.inputs), list(self.inputs.values())
        notes = ["shares of correlated inputs are shares of the variance with its covariances; they may be negative"]
        finite = [g for g in groups if any(math.isfinite(sources[i].degrees_of_freedom) for i in g)]
        return notes + [
            f"{', '.join(names[i] for i in group)} are correlated: they enter the effective degrees of freedom as one "
            f"contribution with the smallest of theirs (JCGM 100, G.4.1 presumes independence)"
            for group in finite
        ]


def _about_order(budget: Budget) -> list[str]:
    second, u = budget.second_order, budget.standard_uncertainty
    if second.standard_uncertainty is None:
        return [f"second-order terms could not be computed: {second.why_none}"]
    if abs(second.standard_uncertainty - u) > SECOND_ORDER_LIMIT * u:
        return [
            f"second-order terms matter: with them u is {second.standard_uncertainty:.2g} in place of {u:.2g} "
            f"(JCGM 100, 5.1.2, note, for normal inputs; limit {100 * SECOND_ORDER_LIMIT:g} %, less is lost in "
            f"rounding u to two digits); prefer Monte Carlo"
        ]
    return []


def _about_shape(budget: Budget) -> list[str]:
    if budget.standard_uncertainty == 0:
        return ["the combined standard uncertainty is 0: no share can be given, and no interval claimed"]
    if any(line.share is not None and line.share < 0 for line in budget.contributions):
        return []  # correlated inputs that take from each other: no single one makes the result
    largest = max(budget.contributions, key=lambda line: line.contribution)
    rest = math.sqrt(max(budget.standard_uncertainty**2 - largest.contribution**2, 0.0))
    if largest.distribution not in (GAUSSIAN, STUDENT) and rest <= _DOMINANT_LIMIT * largest.contribution:
        return [
            f"{largest.source} ({largest.distribution}) outweighs all others: the result has about its distribution, "
            f"and a factor from the t distribution does not fit; prefer Monte Carlo"
        ]
    return []


def _factor(matrix: Array) -> Array:
    """Any matrix whose product with its transpose is the correlation matrix; the identity where nothing correlates."""
    if np.array_equal(matrix, np.eye(len(matrix))):
        return matrix
    eigenvalues, vectors = np.linalg.eigh(matrix)
    return np.asarray(vectors * np.sqrt(np.where(eigenvalues > 1e-12, eigenvalues, 0.0)))


def _one_each(
    argument: str, found: str | Sequence[str] | None, outputs: tuple[str, ...], *, same: bool = False
) -> tuple[str, ...]:
    """A word for each output: the outputs' own where none is given, one for all where that makes sense."""
    if found is None:
        return outputs
    words = (found,) * (len(outputs) if same else 1) if isinstance(found, str) else tuple(found)
    if len(words) != len(outputs):
        refuse(argument, found, f"one for each output of the model, {', '.join(outputs)}")
    return words
