"""The units of a planned trial: how many, how much they will vary, and what errors that they share will add."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

from lossstats.planning.planned_checks import as_term
from lossstats.records.estimate import Term, combine

if TYPE_CHECKING:
    from lossstats.planning.planned_design import PlannedDesign


def units_of_groups(plan: PlannedDesign) -> tuple[int, ...]:
    """Count the units of replication of each group of the comparison.

    Parameters
    ----------
    plan : PlannedDesign
        The plan.

    Returns
    -------
    tuple of int
        Pairs; or units a group.
    """
    n = plan.articles
    if plan.design == "crossover":
        return n - n // 2, n // 2
    if plan.design == "controls":
        return n, n if plan.controls is None else plan.controls
    if plan.design == "single":
        return plan.mounts, plan.mounts
    paired = plan.design == "paired" or (plan.design == "several" and plan.blocks)
    return (n,) if paired else (n, n)


def face_values(plan: PlannedDesign) -> tuple[tuple[Term, int], ...]:
    """Standard deviation of the units of each group at face value, and their number.

    Parameters
    ----------
    plan : PlannedDesign
        The plan.

    Returns
    -------
    tuple of (Term, int)
        One a group.
    """
    return tuple(zip(_sds(plan, plan.mounts, plan.runs), plan.units, strict=False))


def planned_spreads(plan: PlannedDesign) -> tuple[tuple[float, int], ...]:
    """Standard deviation of the units of each group as planned with, and their number.

    Parameters
    ----------
    plan : PlannedDesign
        The plan.

    Returns
    -------
    tuple of (float, int)
        One a group.

    Notes
    -----
    More mounts or runs never make a unit vary more, so an upper limit with fewer holds with more. Without that,
    the combined degrees of freedom of a well known and a hardly known component could make them seem to do harm.
    """
    assurance = plan.assurance
    if assurance is None or plan.repeatability is not None:
        return tuple((sd.standard_uncertainty, n) for sd, n in face_values(plan))
    mounts = 1 if plan.design == "single" else plan.mounts
    fewer = [_sds(plan, m, r) for m in range(1, mounts + 1) for r in range(1, plan.runs + 1)]
    limits = (min(upper_limit(sds[group], assurance) for sds in fewer) for group in range(len(plan.units)))
    return tuple(zip(limits, plan.units, strict=True))


def known_term(plan: PlannedDesign) -> Term:
    """Give what a repeatability known from elsewhere does to the difference.

    Parameters
    ----------
    plan : PlannedDesign
        The plan.

    Returns
    -------
    Term
        0 where none is known.
    """
    if plan.repeatability is None:
        return Term(0.0)
    sd, dof = as_term(plan.repeatability)
    return Term(sd * math.sqrt(2 / plan.mounts), dof)


def shared_terms(plan: PlannedDesign, difference: float) -> dict[str, Term]:
    """Give the errors that do not fall with the number of articles, by what they do to the difference.

    Parameters
    ----------
    plan : PlannedDesign
        The plan.
    difference : float
        True difference, of which a gain error takes its share.

    Returns
    -------
    dict of str to Term
        Those above 0.
    """
    terms = {name: as_term(value) for name, value in plan.shared.items()}
    # Both orders, or treated and untouched articles, pass through the same sessions: what a session adds cancels.
    by_session = 0.0 if plan.design in ("crossover", "controls") else 1.0
    factors = {"gain": abs(difference), "zero": 0.0, "rezero": math.sqrt(2) * by_session}
    found = {name: Term(factors.get(name, 1.0) * u, dof) for name, (u, dof) in terms.items()}
    if plan.references:
        # Interpolation between k even references: the mean of a session takes half of the two outer ones.
        k = plan.references
        found["references"] = Term(by_session * plan.reference_sd * math.sqrt(2 * (k - 1.5)) / (k - 1))
    return {name: term for name, term in found.items() if term.standard_uncertainty > 0}


def _sds(plan: PlannedDesign, mounts: int, runs: int) -> tuple[Term, Term]:
    """Standard deviation of a unit of each group, with this many mounts and runs."""
    known = {} if plan.repeatability is None else {"mount": plan.repeatability}
    sds = {name: as_term(value) for name, value in (known or plan.components).items()}
    m, r = mounts, mounts * runs
    if plan.design == "single":
        m, r = 1, runs
    within = {"mount": 1 / m, "run": 1 / r, "readings": 1 / (r * plan.run_length)}
    if len(plan.units) == 2 and plan.design in ("independent", "several"):
        of_unit = {"article": 1.0, "change": 0.5, **within}
    elif plan.design == "single":
        of_unit = within
    else:
        of_unit = {"change": 1.0, **{name: 2 * part for name, part in within.items()}}
    untouched = {name: part for name, part in of_unit.items() if name != "change"}
    return _combined(sds, of_unit), _combined(sds, untouched if plan.design == "controls" else of_unit)


def _combined(sds: dict[str, Term], weights: dict[str, float]) -> Term:
    """Root of the weighted sum of variances, with Welch-Satterthwaite degrees of freedom."""
    return combine(
        [
            Term(math.sqrt(weight) * sds[name].standard_uncertainty, sds[name].degrees_of_freedom)
            for name, weight in weights.items()
            if name in sds
        ]
    )


def upper_limit(sd: Term, assurance: float) -> float:
    """Upper limit of a standard deviation that is itself an estimate.

    Parameters
    ----------
    sd : Term
        The estimate with its degrees of freedom.
    assurance : float
        Chance that the true one is not larger.

    Returns
    -------
    float
        Times the root of ν over the chi-square quantile of 1 - assurance (Browne 1995, Statistics in Medicine 14, 1933,
        from memory).
    """
    return sd.standard_uncertainty * _upper_factor(sd.degrees_of_freedom, assurance)


@lru_cache(maxsize=4096)  # sizes are searched, and every size asks for the same few factors
def _upper_factor(dof: float, assurance: float) -> float:
    from scipy.special import gammaincinv

    return 1.0 if math.isinf(dof) else math.sqrt(dof / (2 * float(gammaincinv(dof / 2, 1 - assurance))))
