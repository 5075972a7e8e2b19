"""Exponent fitted to the units: against statsmodels, its refusals, and what a comparison must do with it."""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from lossstats.corrections.exponent_fit import fit_exponent
from lossstats.records.estimate import Term

N = 6
NAMES = ["dusty"] * N + ["cleaned"] * N
ARTICLES = [f"K{i:02}" for i in range(N)] * 2


def units(seed=1, n=N, k=1.0, shift=0.01, spread=0.02):
    rng = np.random.default_rng(seed)
    power = 280 * np.exp(np.repeat([shift / 2, -shift / 2], n) + spread * rng.normal(size=2 * n))
    level = np.repeat([7.0, 5.5], n) * (1 + 0.02 * rng.normal(size=2 * n))
    return level * (power / 280) ** k, power


def test_independent_conditions_as_least_squares_by_statsmodels():
    y, p = units()
    fit = fit_exponent(y, p, NAMES, u_point=0.5)
    design = np.column_stack([np.log(p), np.repeat([1, 0], N), np.repeat([0, 1], N)])
    ols = sm.OLS(np.log(y), design).fit()
    assert fit.exponent == pytest.approx(ols.params[0], rel=1e-9)
    assert fit.standard_uncertainty == pytest.approx(ols.bse[0], rel=1e-9)
    assert fit.degrees_of_freedom == ols.df_resid == 2 * N - 3
    assert fit.units == {"dusty": N, "cleaned": N}


def test_within_articles_as_regression_of_log_ratios():
    """Two conditions: ln(before/after) on ln(P before/P after) with an intercept, by scipy."""
    y, p = units()
    y = y * np.tile(np.linspace(0.5, 2, N), 2)  # articles far apart: of no account within articles
    fit = fit_exponent(y, p, NAMES, blocks=ARTICLES, u_point=0.5)
    line = stats.linregress(np.log(p[:N] / p[N:]), np.log(y[:N] / y[N:]))
    assert fit.exponent == pytest.approx(line.slope, rel=1e-9)
    assert fit.standard_uncertainty == pytest.approx(line.stderr, rel=1e-9)
    assert fit.degrees_of_freedom == N - 2


def test_three_conditions_in_any_order():
    rng = np.random.default_rng(4)
    names = ["a", "b", "c"] * 6
    p = 280 * np.exp(0.02 * rng.normal(size=18))
    y = 6 * (1 + 0.02 * rng.normal(size=18)) * (p / 280)
    order = rng.permutation(18)
    fit = fit_exponent(y, p, names, u_point=0.1)
    again = fit_exponent(y[order], p[order], [names[i] for i in order], u_point=0.1)
    assert fit.degrees_of_freedom == 14
    assert again.exponent == pytest.approx(fit.exponent, rel=1e-9)
    blocks = [f"K{i // 3}" for i in range(18)]
    assert fit_exponent(y, p, names, blocks=blocks, u_point=0.1).degrees_of_freedom == 18 - 3 - 6 + 1 - 1


def test_scale_of_level_and_point_does_not_matter():
    y, p = units()
    fit, other = (fit_exponent(f * y, f * p, NAMES, u_point=f * 0.5) for f in (1.0, 1000.0))
    assert other.exponent == pytest.approx(fit.exponent, rel=1e-9)
    assert other.spread == pytest.approx(fit.spread, rel=1e-9)


def test_spread_and_attenuation():
    """Spread within conditions: pooled standard deviation of ln P; attenuation u^2 / spread^2."""
    y, p = units()
    fit = fit_exponent(y, p, NAMES, u_point=0.6)
    pooled = math.sqrt((np.var(np.log(p[:N]), ddof=1) + np.var(np.log(p[N:]), ddof=1)) / 2)
    assert fit.spread == pytest.approx(pooled)
    assert fit.attenuation == pytest.approx((0.6 / stats.gmean(p) / pooled) ** 2)
    assert "draws the exponent toward zero by about" in fit.notes[1]
    assert len(fit_exponent(y, p, NAMES, u_point=0.1).notes) == 1


def test_too_few_units_are_refused():
    y, p = units(n=5)
    fit = fit_exponent(y, p, ["dusty"] * 5 + ["cleaned"] * 5, u_point=0.1)
    assert fit.exponent is None and fit.standard_uncertainty is None and fit.degrees_of_freedom is None
    assert fit.why_refused == (
        "too few units: found 5 units of 'dusty', 5 units of 'cleaned'; a regression takes at least 6 a condition"
    )
    assert "not fitted" in str(fit)
    with pytest.raises(ValueError, match="exponent: none was fitted; too few units"):
        fit.with_scatter(Term(0.1, 8), 0.1)


def test_a_point_that_hardly_varies_is_refused():
    y, p = units()
    limit = fit_exponent(y, p, NAMES, u_point=0.1).spread * stats.gmean(p) / 4
    assert fit_exponent(y, p, NAMES, u_point=0.999 * limit).why_refused == ""
    refused = fit_exponent(y, p, NAMES, u_point=1.001 * limit)
    assert "the point hardly varies" in refused.why_refused
    assert "at least 4 times that uncertainty" in refused.why_refused
    assert "hardly varies" in fit_exponent(y, np.full(2 * N, 280.0), NAMES, u_point=0.0).why_refused


def test_conditions_apart_are_refused():
    y, p = units(shift=0.2, spread=0.01)
    refused = fit_exponent(y, p, NAMES, u_point=0.1)
    assert refused.why_refused.startswith("the conditions do not overlap: 'dusty', 'cleaned' never ran on both sides")


def test_conditions_apart_within_articles_are_refused():
    """Articles differ much in P, so the conditions overlap over all; yet every article ran higher before."""
    y, _ = units()
    p = np.concatenate([np.linspace(270, 290, N) * (1 + 0.01 * np.arange(1, N + 1)), np.linspace(270, 290, N)])
    assert fit_exponent(y, p, NAMES, u_point=0.1).why_refused == ""
    assert "do not overlap" in fit_exponent(y, p, NAMES, blocks=ARTICLES, u_point=0.1).why_refused


def test_with_scatter_by_hand():
    """nu = 9 of 10: variance of the scatter times 10/9, its degrees of freedom times 9/10, and never more than 9."""
    y, p = units()
    fit = fit_exponent(y, p, NAMES, u_point=0.1)
    term = fit.with_scatter(Term(0.06, 8.0), 0.125)
    assert term.standard_uncertainty == pytest.approx(
        math.sqrt(0.06**2 * 10 / 9 + (0.125 * fit.standard_uncertainty) ** 2)
    )
    assert term.degrees_of_freedom == pytest.approx(7.2)
    assert fit.with_scatter(Term(0.06, 30.0), 0.125).degrees_of_freedom == 9


def test_with_scatter_is_the_analysis_of_covariance_at_equal_numbers():
    """Small scatter, equal numbers: the standard error of the condition effect in logs, by statsmodels."""
    y, p = units(seed=2, shift=0.02)
    fit = fit_exponent(y, p, NAMES, u_point=0.1)
    x, before = np.log(p), np.repeat([1.0, 0.0], N)
    ols = sm.OLS(np.log(y), np.column_stack([before, np.ones(2 * N), x])).fit()
    brought = np.log(y) - fit.exponent * x
    scatter = Term(math.sqrt((np.var(brought[:N], ddof=1) + np.var(brought[N:], ddof=1)) / N), 2 * N - 2)
    term = fit.with_scatter(scatter, x[:N].mean() - x[N:].mean())
    assert term.standard_uncertainty == pytest.approx(ols.bse[0], rel=1e-9)
    assert term.degrees_of_freedom == pytest.approx(ols.df_resid)


def test_renderings():
    y, p = units()
    fit = fit_exponent(y, p, NAMES, u_point=0.1)
    assert "Exponent of the operating point, fitted" in str(fit)
    assert "dusty 6, cleaned 6" in str(fit)
    assert "<table>" in fit._repr_html_()
    assert fit.to_dict()["exponent"] == fit.exponent


def bad(**changes):
    y, p = units()
    arguments = {"values": y, "point": p, "condition": NAMES, "blocks": None, "u_point": 0.1} | changes
    return (arguments.pop("values"), arguments.pop("point"), arguments.pop("condition")), arguments


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"values": [7.0, -1.0]}, r"values: found -1.0 at place 1 \(counted from 0\); accepted: finite and above 0"),
        ({"values": [[7.0]]}, "values: found an array of 2 dimensions"),
        ({"point": [280.0, math.nan]}, r"point: found nan at place 1 \(counted from 0\)"),
        ({"point": [280.0]}, "point: found 1 values for 12 levels; accepted: one a level"),
        ({"condition": ["dusty"]}, "condition: found 1 labels for 12 levels; accepted: one a level"),
        ({"condition": ["dusty"] * 12}, r"condition: found \['dusty'\]; accepted: two conditions or more"),
        ({"blocks": ARTICLES[:11]}, "blocks: found 11 labels for 12 levels"),
        ({"blocks": ["K00", *ARTICLES[:11]]}, r"blocks: found 'K00' in \['dusty', 'dusty', 'cleaned'\]; accepted: once in each of \['dusty', 'cleaned'\]"),
        ({"u_point": -0.1}, "u_point: found -0.1; accepted: a finite standard uncertainty, 0 or above"),
    ],
)  # fmt: skip
def test_bad_input(changes, message):
    arguments, options = bad(**changes)
    with pytest.raises(ValueError, match=message):
        fit_exponent(*arguments, **options)
