"""Chance of what the interval of a planned trial will show, by quadrature over the spread that it will find."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from lossstats.exact_tests.lattice import Array
from lossstats.planning.power import variance_nodes
from lossstats.records.estimate import Term, combine
from lossstats.several.simultaneous import AllPairs, ManyToOne

Factor = Callable[[Array], Array]

_NODES = (1, 161, 41)
FINE_NODES = (1, 2561, 101)  # the chance of an interval within limits has a kink, which costs digits
_MOST_DOF = 1e8  # Student t is normal to nine digits long before


@dataclass(frozen=True, eq=False)
class HalfWidths:
    """Half-widths that the interval may turn out to have, with their chances.

    Attributes
    ----------
    values : ndarray, shape (nodes,)
        Half-widths, in the unit of the measurand.
    weights : ndarray, shape (nodes,)
        Their chances; the sum is 1.
    standard_uncertainty : float
        True one of the estimate about its expectation, shared errors included.
    """

    values: Array
    weights: Array
    standard_uncertainty: float

    def chance_shown(self, difference: float) -> float:
        """Chance that the interval leaves out 0.

        Parameters
        ----------
        difference : float
            True difference.

        Returns
        -------
        float
            Between 0 and 1; 0 counts on either side.
        """
        from scipy.special import ndtr

        shift, limit = difference / self.standard_uncertainty, self.values / self.standard_uncertainty
        return float(self.weights @ (ndtr(shift - limit) + ndtr(-shift - limit)))

    def chance_within(self, difference: float, matters: float) -> float:
        """Chance that the whole interval lies within plus and minus the difference that matters.

        Parameters
        ----------
        difference : float
            True difference.
        matters : float
            The difference that matters, above 0.

        Returns
        -------
        float
            Between 0 and 1.
        """
        from scipy.special import ndtr

        room = np.maximum(matters - self.values, 0.0)  # what is left for the estimate itself, on either side of 0
        high, low = (
            (room - difference) / self.standard_uncertainty,
            (-room - difference) / self.standard_uncertainty,
        )
        return float(self.weights @ (ndtr(high) - ndtr(low)))


def half_widths(scatter: Sequence[Term], shared: Term, factor: Factor, *, nodes: int | None = None) -> HalfWidths:
    """Average over all spreads that the units may show: the half-widths of the interval, with their chances.

    Parameters
    ----------
    scatter : sequence of Term
        True standard uncertainty and degrees of freedom of each group of units; none, one group or two.
    shared : Term
        Errors common to the units, as they will be stated; scatter does not show them.
    factor : callable
        Factor on the standard uncertainty by effective degrees of freedom, both arrays.
    nodes : int, optional
        Nodes a group.

    Returns
    -------
    HalfWidths
        One entry a node of the quadrature.

    Notes
    -----
    Each sample variance is chi-square about its true value, independent of the estimate (normal units). Given the
    variances found, half-width and effective degrees of freedom follow: JCGM 100:2008, equation (G.2b).
    """
    true = combine([*scatter, shared]).standard_uncertainty  # all below is relative to it: no under- or overflow
    count = nodes or _NODES[len(scatter)]
    variance, fourth, chances = np.zeros(()), np.zeros(()), np.ones(())
    for group in scatter:
        ratio, weights = variance_nodes(int(group.degrees_of_freedom), count)
        part = (group.standard_uncertainty / true) ** 2 * ratio
        variance = np.add.outer(variance, part)
        fourth = np.add.outer(fourth, part**2 / group.degrees_of_freedom)
        chances = np.multiply.outer(chances, weights)
    common = (shared.standard_uncertainty / true) ** 2
    total, below = variance + common, fourth + common**2 / shared.degrees_of_freedom
    dof = np.minimum(total**2 / np.maximum(below, 1e-300), _MOST_DOF)
    return HalfWidths((true * factor(dof) * np.sqrt(total)).ravel(), chances.ravel(), true)


def student_factor(confidence: float) -> Factor:
    """Give the factor of a single two-sided interval.

    Parameters
    ----------
    confidence : float
        Between 0 and 1.

    Returns
    -------
    callable
        Student t by degrees of freedom (JCGM 100, G.3.4).
    """
    from scipy.special import stdtrit

    return lambda dof: -np.asarray(stdtrit(dof, (1 - confidence) / 2), dtype=np.float64)


@lru_cache(maxsize=256)
def quick_student_factor(confidence: float, least_dof: float) -> Factor:
    """Give Student's factor for many nodes at once.

    Parameters
    ----------
    confidence : float
        Between 0 and 1.
    least_dof : float
        Smallest number of degrees of freedom that will be asked for.

    Returns
    -------
    callable
        As `student_factor`, interpolated.
    """
    exact = student_factor(confidence)
    return interpolated_factor(lambda dof: float(exact(np.array(dof))), least_dof)


def interpolated_factor(exact: Callable[[float], float], least_dof: float) -> Factor:
    """Make a factor that is dear to compute cheap, over a range of degrees of freedom.

    Parameters
    ----------
    exact : callable
        Factor at one number of degrees of freedom.
    least_dof : float
        Smallest number that will be asked for.

    Returns
    -------
    callable
        Polynomial in 1 / dof through the logarithm at Chebyshev points; within 1e-5 of the exact factor from two
        degrees of freedom on.
    """
    from numpy.polynomial import Chebyshev

    top = 1.0 / least_dof

    def log_factor(inverse: Array) -> Array:
        return np.array([math.log(exact(1 / max(float(x), 1 / _MOST_DOF))) for x in np.atleast_1d(inverse)])

    fit = Chebyshev.interpolate(log_factor, 12, domain=[0.0, top])
    return lambda dof: np.asarray(np.exp(fit(np.clip(1 / dof, 0.0, top))))


@lru_cache(maxsize=64)
def family_factor(
    family: Literal["blocks", "control", "pairs"],
    conditions: int,
    comparisons: int,
    least_dof: float,
    confidence: float,
) -> Factor:
    """Give the factor that holds several intervals together, as the ranking of the finished trial will take it.

    Parameters
    ----------
    family : {"blocks", "control", "pairs"}
        Bonferroni, as paired comparisons correlate in any way; each independent condition against
        a control; all pairs of them.
    conditions : int
        Three or more.
    comparisons : int
        Number of intervals.
    least_dof : float
        Smallest number of degrees of freedom that will be asked for.
    confidence : float
        Of all intervals together.

    Returns
    -------
    callable
        Factor by degrees of freedom; for groups as for equal spreads and sizes.
    """
    if family == "blocks":
        return student_factor(1 - (1 - confidence) / comparisons)
    alike = (math.sqrt(0.5),) * (conditions - 1)
    chosen = ManyToOne(alike) if family == "control" else AllPairs(conditions)
    return interpolated_factor(lambda dof: chosen.factor(Term(1.0, dof), confidence), least_dof)
