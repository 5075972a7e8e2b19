"""Restricted maximum likelihood: against closed forms, a general library, and a naive search, boundary included."""

import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import optimize

from lossstats.components.components import variance_components
from lossstats.components.nested_likelihood import likelihood_components

LAYOUT = [[2], [1, 3], [2, 1, 3], [1, 2], [3, 2, 1, 1]]


def simulated(seed, sds, layout=LAYOUT):
    rng = np.random.default_rng(seed)
    rows = []
    for i, mounts in enumerate(layout):
        article = 7 + sds[0] * rng.normal()
        for j, runs in enumerate(mounts):
            mount = article + sds[1] * rng.normal()
            rows += [(f"K{i}", j, mount + sds[2] * rng.normal()) for _ in range(runs)]
    return pd.DataFrame(rows, columns=["article", "mount", "value"])


def naive_criterion(table, ratios):
    """Second implementation: minus the restricted log-likelihood through an explicit basis of contrasts, no projection."""
    y = table["value"].to_numpy()
    mount = table["article"] + "/" + table["mount"].astype(str)
    shared = [(key.to_numpy()[:, None] == key.to_numpy()).astype(float) for key in (table["article"], mount)]
    n = len(y)
    contrasts = np.linalg.svd(np.ones((1, n)))[2][1:]
    covariance = contrasts @ (np.eye(n) + sum(r * k for r, k in zip(ratios, shared, strict=True))) @ contrasts.T
    z = contrasts @ y
    variance = z @ np.linalg.solve(covariance, z) / (n - 1)
    determinant = np.linalg.slogdet(covariance)[1]
    # An orthonormal basis leaves out the determinant of X'X, here log n.
    return ((n - 1) * (np.log(2 * np.pi * variance) + 1) + determinant + np.log(n)) / 2, variance


@pytest.mark.parametrize("seed", range(6))
def test_against_a_naive_search(seed):
    """A grid, then a simplex from its best point; some of the seeds end at the boundary."""
    table = simulated(seed, (0.1, 0.1, 0.1))
    found = likelihood_components(table, ["article", "mount"])
    grid = [(a, m) for a in (0, 0.1, 0.5, 2, 8) for m in (0, 0.1, 0.5, 2, 8)]
    start = min(grid, key=lambda point: naive_criterion(table, point)[0])
    end = optimize.minimize(
        lambda x: naive_criterion(table, np.square(x))[0], np.sqrt(start), method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-11, "maxiter": 4000},
    )  # fmt: skip
    assert -found.log_likelihood == pytest.approx(end.fun, abs=1e-6)
    sds = np.sqrt(naive_criterion(table, np.square(end.x))[1] * np.array([*np.square(end.x), 1]))
    assert list(found.sd.values()) == pytest.approx(sds, abs=2e-4)


def test_some_of_those_seeds_are_at_the_boundary():
    at = [
        likelihood_components(simulated(seed, (0.1, 0.1, 0.1)), ["article", "mount"]).at_boundary for seed in range(6)
    ]
    assert () in at and any(at)


@pytest.mark.parametrize("seed", [1, 4])
def test_balanced_inside_equals_the_mean_squares(seed):
    """Closed form: for balanced tables with all components above 0 the two estimates are one."""
    table = simulated(seed, (0.3, 0.2, 0.05), [[2, 2, 2]] * 6)
    expected = variance_components(table, ["article", "mount"])
    assert min(expected.variance.values()) > 0
    found = likelihood_components(table, ["article", "mount"])
    assert found.sd == pytest.approx(expected.sd, rel=1e-5)
    assert found.coefficients["mean"] == pytest.approx(expected.mean)
    assert found.standard_errors["mean"] == pytest.approx(expected.standard_uncertainty, rel=1e-5)


def test_balanced_at_the_boundary_pools():
    """Closed form: an article component at 0 leaves one variance of mount means about the mean of all."""
    seeds = (simulated(s, (0.0, 0.3, 0.05), [[2, 2, 2]] * 5) for s in range(3, 30))
    table = next(t for t in seeds if variance_components(t, ["article", "mount"]).variance["article"] < 0)
    found = likelihood_components(table, ["article", "mount"])
    means = table.groupby(["article", "mount"])["value"].mean()
    residual = table.groupby(["article", "mount"])["value"].var().mean()
    assert found.at_boundary == ("article",) and found.sd["article"] == 0
    assert found.sd["mount"] == pytest.approx(np.sqrt(means.var() - residual / 2), rel=1e-5)


def test_interior_fits_against_a_general_library():
    """statsmodels MixedLM, which can be trusted inside the parameter space only."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    compared = 0
    for seed in (11, 12, 13):
        table = simulated(seed, (0.5, 0.5, 0.2), [[2, 3, 2]] * 8)
        found = likelihood_components(table, ["article", "mount"])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fit = MixedLM.from_formula(
                "value ~ 1", groups="article", re_formula="1", vc_formula={"mount": "0 + C(mount)"}, data=table
            ).fit(reml=True)
        if fit.converged and not found.at_boundary:
            compared += 1
            library = np.sqrt([float(fit.cov_re.iloc[0, 0]), float(fit.vcomp[0]), float(fit.scale)])
            assert list(found.sd.values()) == pytest.approx(library, rel=2e-3)
    assert compared >= 2


def test_units_and_three_levels():
    table = simulated(5, (0.4, 0.2, 0.1), [[4, 4], [4, 4], [4, 4], [4, 4]])
    table["run"] = np.tile([1, 1, 2, 2], 8)
    small, large = (
        likelihood_components(table.assign(value=table["value"] * factor), ["article", "mount", "run"])
        for factor in (1, 1e4)
    )
    assert list(small.sd) == ["article", "mount", "run", "residual"]
    assert {k: v / 1e4 for k, v in large.sd.items()} == pytest.approx(small.sd, abs=1e-6)


def test_renderings_and_refusals():
    table = simulated(1, (0.3, 0.2, 0.1))
    found = likelihood_components(table, ["article", "mount"])
    assert "sd, mount" in str(found) and "standard error" in found._repr_html_()
    with pytest.raises(ValueError, match="found a single mount for each article"):
        likelihood_components({"article": "AABB", "mount": [1, 1, 1, 1], "value": [1, 2, 3, 5]}, ["article", "mount"])
    with pytest.raises(ValueError, match="found values that do not differ at all within any article"):
        likelihood_components({"article": "AABB", "value": [1, 1, 2, 2]}, ["article"])
    with pytest.raises(ValueError, match="fixed: found 'each'; accepted: a column with fewer labels"):
        likelihood_components(
            {"article": "AABB", "each": [1, 2, 3, 4], "value": [1, 2, 2, 2]}, ["article"], fixed="each"
        )
    many = {"article": ["A", "B"] * 800, "value": np.arange(1600.0)}
    with pytest.raises(ValueError, match="table: found '1600 values'; accepted: 1500 at most"):
        likelihood_components(many, ["article"])
