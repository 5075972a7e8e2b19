"""One p for all conditions: against scipy, statsmodels and a plain second implementation."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.multivariate.multivariate_ols import _MultivariateOLS
from statsmodels.stats.anova import AnovaRM

from lossstats.several.overall import blocked_test, welch_anova

RNG = np.random.default_rng(8)
GROUPS = {name: RNG.normal(6, 0.2 * k, 3 + k) for k, name in enumerate("ABCD", start=1)}


def test_welch_equals_scipy():
    found, reference = welch_anova(GROUPS), stats.f_oneway(*GROUPS.values(), equal_var=False)
    assert found.statistic == pytest.approx(reference.statistic, rel=1e-12)
    assert found.p_value == pytest.approx(reference.pvalue, rel=1e-12)
    assert found.p_value == pytest.approx(stats.f.sf(found.statistic, *found.degrees_of_freedom), rel=1e-12)
    assert welch_anova(list(GROUPS.values())) == found


def test_welch_of_two_groups_is_the_welch_t():
    a, b = GROUPS["A"], GROUPS["D"]
    found, reference = welch_anova([a, b]), stats.ttest_ind(a, b, equal_var=False)
    assert found.statistic == pytest.approx(reference.statistic**2)
    assert found.degrees_of_freedom == pytest.approx((1, reference.df))


def test_welch_refusals():
    with pytest.raises(ValueError, match="groups: found 1; accepted: two or more"):
        welch_anova([[1.0, 2.0]])
    with pytest.raises(ValueError, match="group 2: found units that do not scatter at all; accepted: values with some"):
        welch_anova([[1.0, 2.0], [3.0, 3.0]])
    with pytest.raises(ValueError, match=r"B: found 1 value\(s\); accepted: at least 2"):
        welch_anova({"A": [1.0, 2.0], "B": [3.0]})


def test_many_articles_by_hotelling():
    values = RNG.normal(6, 0.3, (4, 9)) + RNG.normal(0, 1, 9) + np.arange(4)[:, None] * 0.2
    found = blocked_test(values)
    differences = (values[1:] - values[0]).T
    # The same hypothesis as a multivariate linear model: the mean vector of the differences is 0.
    reference = _MultivariateOLS(differences, np.ones((9, 1))).fit().mv_test([("mean", np.eye(1))])
    assert found.p_value == pytest.approx(reference.results["mean"]["stat"].loc["Wilks' lambda", "Pr > F"], rel=1e-9)
    assert found.degrees_of_freedom == (3, 6)
    # Whichever condition the differences are taken from.
    assert blocked_test(values[::-1]).statistic == pytest.approx(found.statistic)


def test_few_articles_by_linear_model():
    values = RNG.normal(6, 0.3, (5, 4)) + RNG.normal(0, 1, 4)
    table = pd.DataFrame(
        [(c, a, values[c, a]) for c in range(5) for a in range(4)], columns=["condition", "article", "value"]
    )
    reference = AnovaRM(table, "value", "article", within=["condition"]).fit().anova_table.loc["condition"]
    found = blocked_test(values)
    assert found.statistic == pytest.approx(reference["F Value"])
    assert found.p_value == pytest.approx(reference["Pr > F"])
    assert found.degrees_of_freedom == (4, 12)
    assert "scatter alike" in found.method


def test_differences_without_scatter_are_refused():
    values = np.tile([6.0, 6.5, 7.0, 7.5], (3, 1)) + np.array([[0.0], [0.1], [0.2]])
    with pytest.raises(ValueError, match="values: found differences between conditions that do not scatter"):
        blocked_test(values)
    with pytest.raises(ValueError, match="values: found differences within articles that do not scatter"):
        blocked_test(np.vstack([values, values + 0.05]))


def test_shown():
    text = str(welch_anova(GROUPS))
    assert "Any difference at all" in text and "degrees of freedom  3 and" in text
    assert "<th" in welch_anova(GROUPS)._repr_html_()
