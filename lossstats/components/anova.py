"""One-way analysis of variance: the whole table, where general libraries give F and p only."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lossstats.records.rendering import Record, shown_dof, shown_p

Array = NDArray[np.float64]


@dataclass(frozen=True)
class OneWayAnova(Record):
    """Scatter between groups and within them.

    Attributes
    ----------
    degrees_of_freedom : tuple of float
        Between and within.
    sums_of_squares : tuple of float
        The same.
    mean_squares : tuple of float
        The same.
    residual_sd : float
        Root of the mean square within.
    statistic : float
        F: mean square between over mean square within; infinite where nothing scatters within, 0 where all values are
        equal.
    p_value : float
        Of equal means, equal variances taken for granted.
    """

    degrees_of_freedom: tuple[float, float]
    sums_of_squares: tuple[float, float]
    mean_squares: tuple[float, float]
    residual_sd: float
    statistic: float
    p_value: float

    title = "One-way analysis of variance"

    def _rows(self) -> list[tuple[str, str]]:
        names = ("between groups", "within groups")
        rows = [
            (name, f"sum of squares {ss:.6g}, {shown_dof(dof)} degrees of freedom, mean square {ms:.6g}")
            for name, ss, dof, ms in zip(
                names, self.sums_of_squares, self.degrees_of_freedom, self.mean_squares, strict=True
            )
        ]
        return [*rows, ("F", f"{self.statistic:.4g}"), ("p", shown_p(self.p_value))]


def one_way_anova(groups: Sequence[Array]) -> OneWayAnova:
    """Split the scatter of all values into that between groups and that within.

    Parameters
    ----------
    groups : sequence of ndarray
        Values of each group; two groups or more, one of them with two values or more.

    Returns
    -------
    OneWayAnova
        Sums of squares, degrees of freedom, mean squares, F, p.

    Raises
    ------
    ValueError
        If there are too few groups or values.

    Notes
    -----
    Two passes about group means after the first value is subtracted, so that a common leading part of the values costs
    no digits; checked against the NIST StRD data sets. Means that may be compared with unequal variances:
    `welch_anova`.

    Examples
    --------
    >>> one_way_anova([np.array([1.0, 2.0]), np.array([4.0, 5.0])]).statistic
    18.0
    """
    from scipy.special import fdtrc

    sizes = [len(group) for group in groups]
    if len(sizes) < 2 or min(sizes) < 1 or max(sizes) < 2:
        raise ValueError(f"groups: found sizes {sizes}; accepted: two groups or more, one of them with two values")
    start = float(groups[0][0])
    values = [np.asarray(group, dtype=float) - start for group in groups]
    means = np.array([_mean(group) for group in values])
    n = np.array(sizes, dtype=float)
    grand = math.fsum(n * means) / n.sum()
    between = math.fsum(n * (means - grand) ** 2)
    within = math.fsum(x for group, mean in zip(values, means, strict=True) for x in ((group - mean) ** 2).tolist())
    dof = (len(sizes) - 1.0, float(n.sum()) - len(sizes))
    squares = (between / dof[0], within / dof[1])
    without_scatter = math.inf if squares[0] > 0 else 0.0  # values that are all equal speak for no difference
    statistic = squares[0] / squares[1] if squares[1] > 0 else without_scatter
    p = float(fdtrc(*dof, statistic)) if math.isfinite(statistic) else 0.0
    return OneWayAnova(dof, (between, within), squares, math.sqrt(squares[1]), statistic, max(p, 2.3e-308))


def _mean(values: Array) -> float:
    return math.fsum(values.tolist()) / len(values)
