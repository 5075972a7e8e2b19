"""One p for several conditions: is any of them different at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.records.rendering import Record, shown_dof, shown_p
from lossstats.records.units import unit_values

Array = NDArray[np.float64]


_WELCH = "Welch's analysis of variance; variances may differ"


@dataclass(frozen=True)
class OverallTest(Record):
    """Test of no difference between any of the conditions.

    Attributes
    ----------
    statistic : float
        F.
    degrees_of_freedom : tuple of float
        Of its numerator and denominator.
    method : str
        Which test, and what it takes for granted.
    p_value : float
        Of no difference at all.
    """

    statistic: float
    degrees_of_freedom: tuple[float, float]
    method: str
    p_value: float

    title = "Any difference at all"

    def _rows(self) -> list[tuple[str, str]]:
        return [
            ("F", f"{self.statistic:.4g}"),
            ("degrees of freedom", " and ".join(map(shown_dof, self.degrees_of_freedom))),
            ("method", self.method),
            ("p", shown_p(self.p_value)),
        ]


def welch_anova(groups: Any) -> OverallTest:
    """Test whether independent groups have one mean, without equal variances.

    Parameters
    ----------
    groups : mapping {name: values} or sequence of values
        One value a unit in each.

    Returns
    -------
    OverallTest
        Statistic, degrees of freedom, p.

    Raises
    ------
    TypeError
        If runs or samples are passed as units.
    ValueError
        If there are fewer than two groups, fewer than two units in one, a value that is not finite, or a group that
        does not scatter.

    Notes
    -----
    Welch (1951), Biometrika 38, 330; by statsmodels.stats.oneway.anova_oneway.

    Examples
    --------
    >>> welch_anova([[6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3]]).p_value < 0.05
    True
    """
    from statsmodels.stats.oneway import anova_oneway

    named = dict(groups) if isinstance(groups, Mapping) else {f"group {k}": g for k, g in enumerate(groups, start=1)}
    if len(named) < 2:
        raise ValueError(f"groups: found {len(named)}; accepted: two or more")
    values = {str(name): unit_values(str(name), given) for name, given in named.items()}
    for name, found in values.items():
        if np.ptp(found) == 0:
            raise ValueError(f"{name}: found units that do not scatter at all; accepted: values with some scatter")
    test = anova_oneway(list(values.values()), use_var="unequal")
    dof = (float(test.df_num), float(test.df_denom))
    return OverallTest(float(test.statistic), dof, _WELCH, _some(test.pvalue))


def blocked_test(values: Array) -> OverallTest:
    """Test whether conditions measured on the same articles have one mean.

    Parameters
    ----------
    values : ndarray, shape (conditions, articles)
        Unit values.

    Returns
    -------
    OverallTest
        With as many articles as conditions or more: Hotelling's T2 of the differences from the first condition,
        whatever their variances and correlations. With fewer: linear model with a term for each article, which takes
        all differences to scatter alike. The numbers decide which, not the data.

    Raises
    ------
    ValueError
        If the differences do not scatter in some direction, so that there is no such test.

    Notes
    -----
    Hotelling (1931), Annals of Mathematical Statistics 2, 360 (from memory). Linear model by statsmodels.
    """
    k, n = values.shape
    return _hotelling(values) if n >= k else _linear_model(values)


def _hotelling(values: Array) -> OverallTest:
    from scipy.special import fdtrc

    k, n = values.shape
    differences = values[1:] - values[0]
    covariance = np.cov(differences)
    if np.linalg.matrix_rank(covariance) < k - 1:
        raise ValueError(
            "values: found differences between conditions that do not scatter in some direction; accepted: values that "
            "differ by more than rounding"
        )
    mean = differences.mean(axis=1)
    t2 = n * float(mean @ np.linalg.solve(covariance, mean))
    dof = (k - 1.0, n - k + 1.0)
    f = t2 * dof[1] / ((n - 1) * dof[0])
    method = "Hotelling's T² of the differences within articles; they may scatter differently"
    return OverallTest(f, dof, method, _some(fdtrc(*dof, f)))


def _linear_model(values: Array) -> OverallTest:
    from statsmodels.regression.linear_model import OLS

    k, n = values.shape
    condition, article = np.repeat(np.arange(k), n), np.tile(np.arange(n), k)
    blocks = (article[:, None] == np.arange(n)).astype(float)
    design = np.hstack([blocks, (condition[:, None] == np.arange(1, k)).astype(float)])
    full, reduced = OLS(values.ravel(), design).fit(), OLS(values.ravel(), blocks).fit()
    if full.ssr <= 1e-20 * float(np.square(values).sum()):
        raise ValueError("values: found differences within articles that do not scatter; accepted: values that do")
    f, p, _ = full.compare_f_test(reduced)
    dof = (k - 1.0, float(full.df_resid))
    method = "linear model with a term for each article; takes the differences within articles to scatter alike"
    return OverallTest(float(f), dof, method, _some(p))


def _some(p: Any) -> float:
    return max(float(p), 2.3e-308)
