"""Mandel's h and k, Cochran's and Grubbs' tests: statistic, p, critical values from the distributions themselves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from lossstats.components.nested_table import Array
from lossstats.records.argument_checks import refuse, whole_number
from lossstats.records.rendering import Record, shown_p

STRAGGLER, OUTLIER = 0.05, 0.01  # ISO 5725-2:1994, 7.3.2.1 (from memory)


@dataclass(frozen=True)
class OutlierTest(Record):
    """One test of whether something stands out.

    Attributes
    ----------
    name : str
        Which test.
    suspects : tuple of str
        What it points at.
    statistic : float
        As the test defines it.
    critical_5, critical_1 : float
        Where 5 % and 1 % lie.
    large_stands_out : bool
        Whether the statistic stands out above the critical value; below it for two together (Grubbs).
    p_value : float
        Of a statistic as far out, if all are alike and normal; an upper bound where a test is by Bonferroni.
    """

    name: str
    suspects: tuple[str, ...]
    statistic: float
    critical_5: float
    critical_1: float
    large_stands_out: bool
    p_value: float

    title = "Test of outliers"

    @property
    def mark(self) -> Literal["", "*", "**"]:
        """How the finding is marked.

        Returns
        -------
        str
            ``"**"`` an outlier (p of at most 1 %), ``"*"`` a straggler (at most 5 %), or empty.
        """
        return mark_of(self.p_value)

    @property
    def words(self) -> str:
        """The finding in words.

        Returns
        -------
        str
            For example ``"L03: straggler *"``.
        """
        what = {"": "nothing stands out", "*": "straggler *", "**": "outlier **"}[self.mark]
        return f"{' and '.join(self.suspects)}: {what}" if self.mark else what

    def _rows(self) -> list[tuple[str, str]]:
        critical = f"5 % {self.critical_5:.4f}, 1 % {self.critical_1:.4f}"
        return [(self.name, f"{self.statistic:.4f} ({critical}), p {shown_p(self.p_value)}; {self.words}")]


def mark_of(p_value: float) -> Literal["", "*", "**"]:
    """Mark of a p: straggler or outlier.

    Parameters
    ----------
    p_value : float
        Of the test.

    Returns
    -------
    str
        ``"**"`` up to 1 %, ``"*"`` up to 5 %, else empty.

    Examples
    --------
    >>> mark_of(0.004), mark_of(0.03), mark_of(0.2)
    ('**', '*', '')
    """
    return "**" if p_value <= OUTLIER else "*" if p_value <= STRAGGLER else ""


def mandel_h_limit(laboratories: int, alpha: float) -> float:
    """Critical value of Mandel's h, two-sided.

    Parameters
    ----------
    laboratories : int
        Three or more.
    alpha : float
        Chance that the h of one given laboratory lies beyond, if all are alike.

    Returns
    -------
    float
        Of the absolute value of h.

    Notes
    -----
    ISO 5725-2:1994, 7.3.1, tables 6 (1 %) and 7 (5 %): h is t over p - 2 degrees of freedom in disguise.

    Examples
    --------
    >>> round(mandel_h_limit(8, 0.01), 2), round(mandel_h_limit(8, 0.05), 2)
    (2.06, 1.75)
    """
    from scipy.special import stdtrit

    p = whole_number("laboratories", laboratories, 3)
    t = -float(stdtrit(p - 2, alpha / 2))
    return (p - 1) * t / math.sqrt(p * (t * t + p - 2))


def mandel_k_limit(dof: float, dof_of_all: float, alpha: float) -> float:
    """Critical value of Mandel's k.

    Parameters
    ----------
    dof : float
        Degrees of freedom of the laboratory's standard deviation.
    dof_of_all : float
        Of all laboratories together, this one included.
    alpha : float
        Chance that the k of one given laboratory lies above, if all are alike.

    Returns
    -------
    float
        Of the standard deviation over the pooled one.

    Notes
    -----
    ISO 5725-2:1994, 7.3.1, tables 6 (1 %) and 7 (5 %) for equal numbers; what is printed there may be off by one in the
    last digit. The share of the laboratory in the sum of squares is a beta variate, which serves unequal numbers too.

    Examples
    --------
    >>> round(mandel_k_limit(2, 16, 0.01), 2)  # 8 laboratories, 3 values each
    1.96
    """
    from scipy.special import betaincinv

    if not 0 < dof < dof_of_all:
        refuse("dof", dof, f"above 0 and below dof_of_all, here {dof_of_all:g}")
    return math.sqrt(dof_of_all / dof * float(betaincinv(dof / 2, (dof_of_all - dof) / 2, 1 - alpha)))


def cochran_test(sds: Array, dofs: Array, names: Sequence[str]) -> OutlierTest:
    """Test whether the largest standard deviation stands out.

    Parameters
    ----------
    sds : ndarray, shape (laboratories,)
        Standard deviations, two or more, not all 0.
    dofs : ndarray, shape (laboratories,)
        Their degrees of freedom.
    names : sequence of str
        Of the laboratories.

    Returns
    -------
    OutlierTest
        The statistic is the share of the laboratory in the sum of squares, which for equal numbers is Cochran's C.

    Raises
    ------
    ValueError
        If there are fewer than two, or none scatters.

    Notes
    -----
    ISO 5725-2, 7.3.3 and table 4 (from memory, recomputed), by Bonferroni, which is within 0.0001 of exact here. For
    unequal numbers the laboratory with the smallest p is taken ('t Lam 2010, from memory): the plain share of the
    variances has no table then.
    """
    from scipy.special import betainc, betaincc, betaincinv

    squares = dofs * sds**2
    if len(sds) < 2 or not squares.sum() > 0:
        refuse("sds", sds.tolist(), "two standard deviations or more, not all 0")
    shares = squares / squares.sum()
    halves = dofs / 2, (dofs.sum() - dofs) / 2
    p = betaincc(*halves, shares)
    # Where several p are 0 the one furthest out in its own lower tail decides.
    worst = int(np.lexsort((-betainc(*halves, shares), -shares, p))[0])
    a, b = (float(half[worst]) for half in halves)
    critical_5, critical_1 = (float(betaincinv(a, b, 1 - alpha / len(sds))) for alpha in (STRAGGLER, OUTLIER))
    p_value = chance(len(sds) * float(p[worst]))
    return OutlierTest("Cochran", (names[worst],), float(shares[worst]), critical_5, critical_1, True, p_value)  # noqa: FBT003


def grubbs_limit(number: int, alpha: float, *, sides: Literal[1, 2] = 2) -> float:
    """Critical value of Grubbs' test of one mean.

    Parameters
    ----------
    number : int
        Means, three or more.
    alpha : float
        Chance that it is exceeded, if all are alike and normal.
    sides : {1, 2}, default 2
        2: either the highest or the lowest is suspected, as ISO 5725-2 tabulates; 1: the side is fixed beforehand.

    Returns
    -------
    float
        Of the distance from the mean in standard deviations.

    Notes
    -----
    ISO 5725-2, 7.3.4 and table 5 (from memory, recomputed); Grubbs (1969), Technometrics 11, 1. By Bonferroni, which is
    exact where two means cannot both lie so far out on one side.

    Examples
    --------
    >>> round(grubbs_limit(8, 0.05, sides=1), 3), round(grubbs_limit(10, 0.05), 3)
    (2.032, 2.29)
    """
    from scipy.special import stdtrit

    p = whole_number("number", number, 3)
    t = -float(stdtrit(p - 2, alpha / (sides * p)))
    return (p - 1) / math.sqrt(p) * math.sqrt(t * t / (p - 2 + t * t))


def grubbs_test(means: Array, names: Sequence[str], *, high: bool) -> OutlierTest:
    """Test whether the highest or the lowest mean stands out.

    Parameters
    ----------
    means : ndarray, shape (laboratories,)
        Three or more, not all equal.
    names : sequence of str
        Of the laboratories.
    high : bool
        The highest, else the lowest.

    Returns
    -------
    OutlierTest
        The statistic is its distance from the mean of all in standard deviations.

    Raises
    ------
    ValueError
        If there are too few means, or they do not differ.
    """
    from scipy.special import stdtr

    n, deviations, sd = deviations_of(means, 3)
    place = int(np.argmax(deviations) if high else np.argmin(deviations))
    statistic = abs(float(deviations[place])) / sd
    # The critical value turned round: t from G.
    rest = max((n - 1) ** 2 / n - statistic**2, 0.0)
    t = statistic * math.sqrt((n - 2) / rest) if rest > 0 else math.inf
    p_value = chance(2 * n * float(stdtr(n - 2, -t)))
    limits = [grubbs_limit(n, alpha) for alpha in (STRAGGLER, OUTLIER)]
    name = f"Grubbs, {'highest' if high else 'lowest'} mean"
    return OutlierTest(name, (names[place],), statistic, limits[0], limits[1], True, p_value)  # noqa: FBT003


def deviations_of(means: Array, fewest: int) -> tuple[int, Array, float]:
    """Number, deviations from their mean, and standard deviation of means.

    Parameters
    ----------
    means : ndarray, shape (laboratories,)
        As given to a test.
    fewest : int
        How many the test needs.

    Returns
    -------
    tuple of int, ndarray, float
        In this order.

    Raises
    ------
    ValueError
        If there are too few, or they do not differ.
    """
    n = len(means)
    if n < fewest or not np.ptp(means) > 0:
        refuse("means", means.tolist(), f"{fewest} means or more that differ")
    deviations = means - means.mean()
    return n, deviations, math.sqrt(float(np.sum(deviations**2)) / (n - 1))


def chance(bound: float) -> float:
    """Keep a p within its limits.

    Parameters
    ----------
    bound : float
        A probability, or a bound of one by Bonferroni.

    Returns
    -------
    float
        Above 0, at most 1.
    """
    return min(max(bound, 2.3e-308), 1.0)
