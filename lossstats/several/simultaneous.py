"""Factors that hold for several comparisons at once, and p adjusted for their number."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from lossstats.records.estimate import Term, coverage_factor

Array = NDArray[np.float64]
Content = Callable[[Array], Array]

# Trapezoid rules in smooth variables: the error falls exponentially with the step, and is below 1e-10 here.
_STEP = 0.2
_NORMAL = np.arange(-8.0, 8.0 + _STEP / 2, _STEP)
_NORMAL_WEIGHTS = np.exp(-(_NORMAL**2) / 2) / np.exp(-(_NORMAL**2) / 2).sum()
_TAIL = 1e-12
# Beyond it the steps above are too coarse; a smaller loading errs on the side of the wider interval.
_LARGEST_LOADING = 0.98


class Family(Protocol):
    """A set of comparisons whose intervals are to hold together."""

    def factor(self, term: Term, confidence: float) -> float:
        """Factor on the standard uncertainty of one comparison of the set.

        Parameters
        ----------
        term : Term
            Its standard uncertainty and degrees of freedom.
        confidence : float
            That all intervals of the set hold their true values.

        Returns
        -------
        float
            In place of the t of a single interval.
        """
        ...

    def adjusted_p(self, ratios: Sequence[float], terms: Sequence[Term]) -> list[float]:
        """P of no difference, adjusted for the whole set.

        Parameters
        ----------
        ratios : sequence of float
            Estimate over standard uncertainty, for all comparisons.
        terms : sequence of Term
            Their degrees of freedom.

        Returns
        -------
        list of float
            In the same order; never 0.
        """
        ...


@dataclass(frozen=True)
class AllPairs:
    """All differences of independent means with unequal variances: Games and Howell.

    Attributes
    ----------
    conditions : int
        Number of means.

    Notes
    -----
    Games and Howell (1976), Journal of Educational Statistics 1, 113 (from memory): studentised range of all
    means, with the Welch degrees of freedom of each pair. scipy.stats.tukey_hsd(equal_var=False) does the same;
    its intervals of four conditions take a second, these a few milliseconds.
    """

    conditions: int

    def factor(self, term: Term, confidence: float) -> float:
        """Quantile of the studentised range over the square root of 2.

        Parameters
        ----------
        term : Term
            Its degrees of freedom count.
        confidence : float
            Of the set.

        Returns
        -------
        float
            The factor.
        """
        return studentised_range_quantile(self.conditions, term.degrees_of_freedom, confidence) / math.sqrt(2)

    def adjusted_p(self, ratios: Sequence[float], terms: Sequence[Term]) -> list[float]:
        """Upper tail of the studentised range, dual to the intervals.

        Parameters
        ----------
        ratios : sequence of float
            Estimate over standard uncertainty.
        terms : sequence of Term
            Degrees of freedom.

        Returns
        -------
        list of float
            Never below the p of the pair alone, so never 0.
        """
        content = _range_content(self.conditions)
        singles = _single_p(ratios, terms)
        tails = [
            1 - _studentised(content, abs(ratio) * math.sqrt(2), term.degrees_of_freedom)
            for ratio, term in zip(ratios, terms, strict=True)
        ]
        return [min(1.0, max(tail, single)) for tail, single in zip(tails, singles, strict=True)]


@dataclass(frozen=True)
class ManyToOne:
    """Differences of independent means from one control, variances unequal.

    Attributes
    ----------
    loadings : tuple of float
        One a comparison: root of the share of the control in its variance. The correlation of two comparisons is
        the product of their loadings.

    Notes
    -----
    Dunnett (1955), J. Am. Stat. Assoc. 50, 1096, for equal variances; with estimated variances and the Welch
    degrees of freedom of each comparison after Hasler and Hothorn (2008), Biometrical Journal 50, 793 (both from
    memory).
    """

    loadings: tuple[float, ...]

    def factor(self, term: Term, confidence: float) -> float:
        """Two-sided quantile of the largest of the correlated t.

        Parameters
        ----------
        term : Term
            Its degrees of freedom count.
        confidence : float
            Of the set.

        Returns
        -------
        float
            The factor.
        """
        return many_to_one_quantile(self.loadings, term.degrees_of_freedom, confidence)

    def adjusted_p(self, ratios: Sequence[float], terms: Sequence[Term]) -> list[float]:
        """Adjust the p of the single Welch tests by Holm's procedure.

        Parameters
        ----------
        ratios : sequence of float
            Estimate over standard uncertainty.
        terms : sequence of Term
            Degrees of freedom.

        Returns
        -------
        list of float
            Holm (1979), Scandinavian Journal of Statistics 6, 65.
        """
        return _holm(_single_p(ratios, terms))


@dataclass(frozen=True)
class AnyCorrelation:
    """Comparisons whose correlations are not known: Bonferroni intervals and Holm's p.

    Attributes
    ----------
    comparisons : int
        Their number.
    """

    comparisons: int

    def factor(self, term: Term, confidence: float) -> float:
        """T at the confidence that is left for each of them.

        Parameters
        ----------
        term : Term
            Its degrees of freedom count.
        confidence : float
            Of the set.

        Returns
        -------
        float
            The factor.
        """
        return coverage_factor(term, 1 - (1 - confidence) / self.comparisons)

    def adjusted_p(self, ratios: Sequence[float], terms: Sequence[Term]) -> list[float]:
        """Adjust the p of the single tests by Holm's procedure.

        Parameters
        ----------
        ratios : sequence of float
            Estimate over standard uncertainty.
        terms : sequence of Term
            Degrees of freedom.

        Returns
        -------
        list of float
            Holm (1979), Scandinavian Journal of Statistics 6, 65.
        """
        return _holm(_single_p(ratios, terms))


def studentised_range_quantile(means: int, degrees_of_freedom: float, confidence: float) -> float:
    """Quantile of the studentised range.

    Parameters
    ----------
    means : int
        Number of means.
    degrees_of_freedom : float
        Of the variance; may be infinite.
    confidence : float
        Probability below the quantile.

    Returns
    -------
    float
        As scipy.stats.studentized_range.ppf, to 1e-8 and in a hundredth of its time.

    Examples
    --------
    >>> round(studentised_range_quantile(4, 16, 0.95), 3)
    4.046
    """
    pairs = means * (means - 1) // 2
    return _quantile(_range_content(means), degrees_of_freedom, confidence, pairs, math.sqrt(2))


def many_to_one_quantile(loadings: Sequence[float], degrees_of_freedom: float, confidence: float) -> float:
    """Two-sided quantile of the largest of several t that share a control.

    Parameters
    ----------
    loadings : sequence of float
        One a comparison, 0 to 1; the correlation of two comparisons is the product of theirs.
    degrees_of_freedom : float
        Of the common variance; may be infinite.
    confidence : float
        Probability that no |t| exceeds the quantile.

    Returns
    -------
    float
        By deterministic quadrature over the error of the control and the scale: no random numbers.

    Examples
    --------
    Three conditions and a control of five units each, equal variances:

    >>> round(many_to_one_quantile([0.5**0.5] * 3, 16, 0.95), 4)
    2.5923
    """
    return _quantile(_many_to_one_content(loadings), degrees_of_freedom, confidence, len(loadings))


def _range_content(means: int) -> Content:
    """Probability that the range of standard normal means is below w, as a function of w."""
    from scipy.special import ndtr

    below = ndtr(_NORMAL)

    def content(w: Array) -> Array:
        # The largest lies at z, the others between z - w and z.
        others = (below - ndtr(_NORMAL - w[:, None])) ** (means - 1)
        found: Array = means * (others @ _NORMAL_WEIGHTS)
        return found

    return content


def _many_to_one_content(loadings: Sequence[float]) -> Content:
    """Probability that no correlated standard normal exceeds w in size, as a function of w."""
    from scipy.special import ndtr

    share = np.clip(np.asarray(loadings, dtype=float), 0.0, _LARGEST_LOADING)[:, None, None]
    shift, rest = share * _NORMAL, np.sqrt(1 - share**2)

    def content(w: Array) -> Array:
        # Given the error of the control, the comparisons are independent.
        inside = ndtr((w[:, None] - shift) / rest) - ndtr((-w[:, None] - shift) / rest)
        found: Array = inside.prod(axis=0) @ _NORMAL_WEIGHTS
        return found

    return content


def _scales(degrees_of_freedom: float) -> tuple[Array, Array]:
    """Values of s / sigma on an even grid of their logarithm, with weights."""
    from scipy.special import gammainccinv, gammaincinv

    if math.isinf(degrees_of_freedom):
        return np.ones(1), np.ones(1)
    half = degrees_of_freedom / 2
    low, high = (0.5 * math.log(inverse(half, _TAIL) / half) for inverse in (gammaincinv, gammainccinv))
    log_s = np.linspace(low, high, max(40, math.ceil((high - low) / _STEP)))
    log_density = degrees_of_freedom * (log_s - np.expm1(2 * log_s) / 2)
    weights = np.exp(log_density)
    return np.exp(log_s), weights / weights.sum()


def _studentised(content: Content, w: float, degrees_of_freedom: float) -> float:
    s, weights = _scales(degrees_of_freedom)
    return float(weights @ content(w * s))


def _quantile(
    content: Content, degrees_of_freedom: float, confidence: float, comparisons: int, scale: float = 1.0
) -> float:
    from scipy.optimize import brentq

    s, weights = _scales(degrees_of_freedom)

    def excess(w: float) -> float:
        return float(weights @ content(w * s)) - confidence

    # It lies between the t of a single comparison and that of Bonferroni; a little beyond, for rounding.
    term = Term(1.0, degrees_of_freedom)
    low = scale * coverage_factor(term, confidence)
    high = scale * coverage_factor(term, 1 - (1 - confidence) / comparisons)
    return float(brentq(excess, low * (1 - 1e-6), high * (1 + 1e-6), rtol=1e-11))


def _single_p(ratios: Sequence[float], terms: Sequence[Term]) -> list[float]:
    from scipy.special import ndtr, stdtr

    tails = [
        2 * (ndtr(-abs(ratio)) if math.isinf(term.degrees_of_freedom) else stdtr(term.degrees_of_freedom, -abs(ratio)))
        for ratio, term in zip(ratios, terms, strict=True)
    ]
    return [max(float(tail), 2.3e-308) for tail in tails]


def _holm(singles: Sequence[float]) -> list[float]:
    # By hand: statsmodels' multipletests collects garbage in every call, 30 ms each.
    p = np.asarray(singles)
    order = np.argsort(p)
    steps = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(steps, 1.0)
    return [float(x) for x in adjusted]
