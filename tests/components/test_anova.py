"""One-way analysis of variance: against a general library, and groups of unequal size."""

import numpy as np
import pytest
from scipy import stats

from lossstats.components.anova import one_way_anova


@pytest.mark.parametrize("sizes", [(5, 5, 5), (2, 7, 1, 4)])
def test_against_scipy(sizes):
    rng = np.random.default_rng(sum(sizes))
    groups = [rng.normal(6 + k / 5, 1, n) for k, n in enumerate(sizes)]
    found = one_way_anova(groups)
    values = np.concatenate(groups)
    assert sum(found.sums_of_squares) == pytest.approx(np.sum((values - values.mean()) ** 2))
    assert found.degrees_of_freedom == (len(sizes) - 1, sum(sizes) - len(sizes))
    several = [group for group in groups if len(group) > 1]
    within = sum(group.var(ddof=1) * (len(group) - 1) for group in several) / found.degrees_of_freedom[1]
    assert found.residual_sd == pytest.approx(np.sqrt(within))
    library = stats.f_oneway(*groups)
    assert found.statistic == pytest.approx(library.statistic, rel=1e-9)
    assert found.p_value == pytest.approx(library.pvalue, rel=1e-9)


def test_no_scatter_within_is_never_p_zero():
    found = one_way_anova([np.array([1.0, 1.0]), np.array([2.0, 2.0])])
    assert found.statistic == np.inf and found.p_value > 0


def test_equal_values_speak_for_no_difference():
    found = one_way_anova([np.array([6.1, 6.1]), np.array([6.1, 6.1, 6.1])])
    assert (found.statistic, found.p_value, found.residual_sd) == (0.0, 1.0, 0.0)


def test_renderings():
    found = one_way_anova([np.array([1.0, 2.0]), np.array([4.0, 5.0])])
    assert "between groups  sum of squares 9, 1 degrees of freedom, mean square 9" in str(found)
    assert "within groups" in found._repr_html_()


@pytest.mark.parametrize("groups", [[[1.0, 2.0]], [[1.0], [2.0]], [[1.0, 2.0], []]])
def test_refusals(groups):
    with pytest.raises(ValueError, match=r"groups: found sizes \[.*\]; accepted: two groups or more"):
        one_way_anova([np.array(group) for group in groups])
