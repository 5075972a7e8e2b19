"""Reference articles against each other: values from differences, the known article held; tells who has worn."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lossstats.records.estimate import Estimate, Spread, Term, check_confidence, combine, make_estimate
from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ReferenceComparison(Record):
    """Values of reference articles from differences between them.

    Attributes
    ----------
    values : dict of str to Estimate
        Every article that is not held known.
    weights : dict of str to tuple of float
        What each difference counts in each value, in the order given (the design's solution).
    repeatability_factor : dict of str to float
        Standard deviation of a value over that of one difference.
    between_factor : dict of str to float
        Standard deviation of a value over that of one fitting of an article, where each is fitted once.
    residuals : tuple of float
        Differences less their fitted values.
    residual_sd : float
        Standard deviation of one difference, from the residuals.
    degrees_of_freedom : int
        Differences less unknown articles.
    known : dict of str to float
        The articles held.
    unit : str
        Unit of all of them.
    """

    values: dict[str, Estimate]
    weights: dict[str, tuple[float, ...]]
    repeatability_factor: dict[str, float]
    between_factor: dict[str, float]
    residuals: tuple[float, ...]
    residual_sd: float
    degrees_of_freedom: int
    known: dict[str, float]
    unit: str

    title = "Reference articles compared"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [(f"{name}, held", f"{value:g} {self.unit}") for name, value in self.known.items()]
        for name, found in self.values.items():
            places = decimals_for(found.standard_uncertainty)
            ends = f"{shown(found.low, places)} to {shown(found.high, places)} {self.unit}"
            rows.append((name, f"{shown(found.value, places)} ({100 * found.confidence:g} % interval {ends})"))
        sd = shown(self.residual_sd, decimals_for(self.residual_sd))
        dof = shown_dof(self.degrees_of_freedom)
        return [*rows, ("one difference", f"{sd} {self.unit} about the fit ({dof} degrees of freedom)")]


def compare_references(
    differences: Sequence[tuple[str, str, float]],
    *,
    known: Mapping[str, float],
    u_known: float = 0.0,
    repeatability: Term | None = None,
    between_sd: float = 0.0,
    confidence: float = 0.95,
    unit: str = "W",
) -> ReferenceComparison:
    """Find the values of reference articles from measured differences, one article or more held known.

    Parameters
    ----------
    differences : sequence of (str, str, float)
        First article, second article, first less second; more of them than unknown articles.
    known : mapping of str to float
        Values that are held (the restraint).
    u_known : float, default 0.0
        Standard uncertainty that the held values have in common.
    repeatability : Term, optional
        Standard deviation of one difference and its degrees of freedom, from a base period; left out: from the
        residuals, which have few degrees of freedom.
    between_sd : float, default 0.0
        Standard deviation of one fitting of an article, if each article is fitted once for all its differences; the
        residuals cannot show it.
    confidence : float, default 0.95
        Of the intervals.
    unit : str, default "W"
        Unit of differences and values.

    Returns
    -------
    ReferenceComparison
        Values with intervals.

    Raises
    ------
    ValueError
        If an article is compared with itself, a number is not finite, no held article is among them, an article is
        not tied to a held one, or no difference is left over to check the fit.

    Notes
    -----
    A reference article that wears and a bench that drifts look alike on a chart. Two or three references compared in
    one session tell them apart: a bench that drifts moves all of them.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.3.2 (solutions) and 2.3.4.1.1 (design 1,1,1).
    """
    names = _check(differences, known, u_known, between_sd)
    check_confidence(confidence)
    unknown = [name for name in names if name not in known]
    signs = np.array([[float(name == a) - float(name == b) for name in names] for a, b, _ in differences])
    free = signs[:, [names.index(name) for name in unknown]]
    _check_ties(free, unknown, len(differences))
    held = signs @ np.array([known.get(name, 0.0) for name in names])
    y = np.array([d for _, _, d in differences], dtype=np.float64)
    solution: Array = np.linalg.pinv(free)
    found = solution @ (y - held)
    residuals = y - held - free @ found
    dof = len(y) - len(unknown)
    sd = math.sqrt(float(residuals @ residuals) / dof)
    one = repeatability or Term(sd, dof)
    own = np.linalg.norm(solution, axis=1)
    fitted = np.linalg.norm(solution @ signs, axis=1)
    return ReferenceComparison(
        values={
            name: _estimate(value, one, float(k1), float(k2) * between_sd, u_known, confidence, unit)
            for name, value, k1, k2 in zip(unknown, found.tolist(), own, fitted, strict=True)
        },
        weights={name: tuple(row) for name, row in zip(unknown, solution.tolist(), strict=True)},
        repeatability_factor=dict(zip(unknown, own.tolist(), strict=True)),
        between_factor=dict(zip(unknown, fitted.tolist(), strict=True)),
        residuals=tuple(residuals.tolist()),
        residual_sd=sd,
        degrees_of_freedom=dof,
        known=dict(known),
        unit=unit,
    )


def _estimate(
    value: float, one: Term, factor: float, between: float, u_known: float, confidence: float, unit: str
) -> Estimate:
    scatter = Term(factor * one.standard_uncertainty, one.degrees_of_freedom)
    shared = {name: Term(u) for name, u in (("fittings", between), ("held value", u_known)) if u > 0}
    if combine([scatter, *shared.values()]).standard_uncertainty == 0:
        raise ValueError("differences: found no scatter and no uncertainty; accepted: a repeatability above 0")
    return make_estimate(value, Spread(scatter, shared=shared), confidence, unit=unit)


def _check(
    differences: Sequence[tuple[str, str, float]], known: Mapping[str, float], u_known: float, between_sd: float
) -> list[str]:
    for place, (first, second, difference) in enumerate(differences, start=1):
        if first == second:
            raise ValueError(f"differences, place {place}: found {first!r} against itself; accepted: two articles")
        if not math.isfinite(difference):
            raise ValueError(f"differences, place {place}: found {difference!r}; accepted: a finite number")
    names = list(dict.fromkeys(name for a, b, _ in differences for name in (a, b)))
    stray = [name for name in known if name not in names]
    if stray or not known:
        listed = ", ".join(map(repr, names)) or "none"
        raise ValueError(f"known: found {list(known)}; accepted: one or more of the articles compared, {listed}")
    for name, value in (*known.items(), ("u_known", u_known), ("between_sd", between_sd)):
        if not math.isfinite(value) or (name in ("u_known", "between_sd") and value < 0):
            raise ValueError(f"{name}: found {value!r}; accepted: a finite number, an uncertainty not below 0")
    return names


def _check_ties(free: Array, unknown: Sequence[str], count: int) -> None:
    if count <= len(unknown):
        raise ValueError(
            f"differences: found {count}, and {len(unknown)} unknown; accepted: at least one difference more than "
            "unknown articles, or nothing checks the fit"
        )
    if not unknown or np.linalg.matrix_rank(free) < len(unknown):
        raise ValueError(
            f"differences: found none that ties {' and '.join(unknown) or 'an unknown article'} to a known one; "
            "accepted: every unknown article tied to a known one, directly or through others"
        )
