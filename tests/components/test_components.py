"""Components of variance: estimates, intervals, words, and what is refused."""

import json
import math

import numpy as np
import pytest
from scipy import stats

from lossstats.components.components import variance_components

TABLE = {
    "article": ["K01"] * 4 + ["K02"] * 4 + ["K03"] * 4,
    "mount": [1, 1, 2, 2] * 3,
    "value": [6.1, 6.2, 6.4, 6.3, 7.0, 7.2, 6.9, 7.0, 5.6, 5.5, 5.9, 5.9],
}
# Mounts differ so much that the articles' means agree better than they could: a component below 0.
NEGATIVE = {**TABLE, "value": [6.0, 6.2, 8.1, 8.0, 5.9, 6.0, 8.2, 8.0, 6.1, 6.3, 7.9, 8.0]}


@pytest.fixture(scope="module")
def found():
    return variance_components(TABLE, ["article", "mount"], unit="W")


def test_estimates_by_hand(found):
    """Closed form: half-differences of the mount means 6.15, 6.35 | 7.1, 6.95 | 5.55, 5.9, and so on."""
    assert found.levels == ("article", "mount", "residual")
    v_r = (0.005 + 0.005 + 0.02 + 0.005 + 0.005 + 0.0) / 6
    v_m = (0.2**2 + 0.15**2 + 0.35**2) / 2 / 3
    v_s = np.var([6.25, 7.025, 5.725], ddof=1)
    assert found.mean_squares == pytest.approx({"article": v_s, "mount": v_m, "residual": v_r})
    assert found.variance == pytest.approx({"article": v_s - v_m / 2, "mount": v_m - v_r / 2, "residual": v_r})
    assert found.sd["mount"] == pytest.approx(math.sqrt(v_m - v_r / 2))
    assert found.degrees_of_freedom == {"article": 2.0, "mount": 3.0, "residual": 6.0}
    assert found.units == {"article": 3, "mount": 6, "residual": 12}
    assert found.mean == pytest.approx(np.mean(TABLE["value"]))
    assert found.standard_uncertainty == pytest.approx(math.sqrt(v_s / 3))
    assert found.total_sd == pytest.approx(math.sqrt(v_s + v_m / 2 + v_r / 2))


def test_interval_of_the_residual_is_that_of_chi_squared(found):
    """Closed form: sd sqrt(nu / chi2); 10 000 draws know the end points to a percent or two."""
    sd, nu = found.sd["residual"], 6
    for confidence in (0.8, 0.95):
        ends = sd * np.sqrt(nu / stats.chi2.isf([0.5 - confidence / 2, 0.5 + confidence / 2], nu))
        assert found.interval("residual", confidence) == pytest.approx(ends, rel=0.04)
    assert found.upper("residual", 0.9) == pytest.approx(sd * math.sqrt(nu / stats.chi2.ppf(0.1, nu)), rel=0.04)
    assert found.planning_sd("residual") == pytest.approx(sd * math.sqrt(nu / stats.chi2.ppf(0.2, nu)), rel=0.02)


def test_interval_of_a_level_against_exact_quadrature(found):
    """Naive second implementation: distribution of the generalised component of mounts on a grid of probabilities."""
    v, nu = found.mean_squares, found.degrees_of_freedom
    p = (np.arange(2000) + 0.5) / 2000
    mounts = v["mount"] * nu["mount"] / stats.chi2.ppf(p, nu["mount"])
    runs = v["residual"] * nu["residual"] / stats.chi2.ppf(p, nu["residual"])
    low, high = np.sqrt(np.quantile((mounts[:, None] - runs / 2).ravel(), [0.025, 0.975]))
    assert found.interval("mount") == pytest.approx((low, high), rel=0.06)


def test_wider_with_more_confidence_and_the_same_again(found):
    again = variance_components(TABLE, ["article", "mount"], unit="W")
    other = variance_components(TABLE, ["article", "mount"], unit="W", rng=2)
    for level in found.levels:
        (a, b), (c, d) = found.interval(level, 0.9), found.interval(level, 0.99)
        assert c <= a < b < d
        assert again.interval(level) == found.interval(level) != other.interval(level)
        assert found.planning_sd(level) > found.sd[level]
    assert (found.seed, other.seed) == (1, 2)


def test_scale_and_offset(found):
    scaled = variance_components({**TABLE, "value": 10 * np.array(TABLE["value"]) - 3}, ["article", "mount"])
    for level in found.levels:
        assert scaled.sd[level] == pytest.approx(10 * found.sd[level])
        assert scaled.interval(level) == pytest.approx([10 * end for end in found.interval(level)])


def test_a_component_below_zero_stays_in_the_result():
    found = variance_components(NEGATIVE, ["article", "mount"], unit="W")
    assert found.variance["article"] < 0 == found.sd["article"]
    low, high = found.interval("article")
    assert low == 0 < high
    assert found.statement("article").startswith("not distinguishable from 0, at most ")
    assert any("article: the estimate of the variance is below 0" in note for note in found.notes)
    assert found.planning_sd("article") > 0
    assert "not distinguishable" in str(found) and "article" in found.table.index


def test_an_upper_end_is_never_zero():
    """Means of articles that agree exactly say no more than that the articles' scatter is hidden by the mounts'."""
    equal = {**TABLE, "value": [6.0, 6.2, 8.1, 7.9] * 3}
    found = variance_components(equal, ["article", "mount"])
    assert found.mean_squares["article"] == pytest.approx(0, abs=1e-20)
    low, high = found.interval("article")
    assert low == 0 and high > 0.5 * math.sqrt(found.mean_squares["mount"] / 2)
    assert min(found.upper("article", c) for c in (0.3, 0.8, 0.95)) > 0


def test_notes_of_what_tells_little():
    table = {"article": ["A", "A", "B", "C", "C", "C"], "value": [1.0, 1.2, 2.0, 1.6, 1.1, 1.3]}
    found = variance_components(table, ["article"], rng=np.random.default_rng(3))
    assert any("one value only in article B: tells nothing of the residual" in note for note in found.notes)
    assert any("unbalanced" in note for note in found.notes)
    assert any("article: 2 degrees of freedom tell little" in note for note in found.notes)
    assert found.seed is None and any("generator" in note for note in found.notes)


def test_many_single_values_are_counted_not_listed():
    names = [f"K{k:02}" for k in range(9)]
    found = variance_components({"article": [*names, "K00"], "value": np.arange(10.0)}, ["article"])
    assert any("K05 and 3 more: tells nothing" in note for note in found.notes)


def test_renderings(found):
    assert str(found).splitlines()[0] == "Components of variance"
    assert "0.082 (0.053 to 0.179) W; 12 values, 6 degrees of freedom" in str(found)
    assert "10000 draws, seed 1" in str(found)
    assert "<th" in found._repr_html_() and "0.082 (0.053 to 0.179) W" in found._repr_html_()
    table = found.table
    assert list(table.index) == ["article", "mount", "residual"]
    assert table.loc["mount", "sd"] == found.sd["mount"] and table.loc["mount", "high"] == found.interval("mount").high
    assert json.loads(json.dumps(found.to_dict()))["sd"] == found.sd
    assert "array" not in repr(found) and "float64" not in repr(found)


def test_labels_are_escaped():
    found = variance_components({"<b>": "AABB", "value": [1.0, 2.0, 3.0, 5.0]}, ["<b>"])
    assert "&lt;b&gt;" in found._repr_html_() and "<b>" not in found._repr_html_()


def test_refusals(found):
    with pytest.raises(ValueError, match="level: found 'bench'; accepted: one of article, mount, residual"):
        found.interval("bench")
    for call in (found.interval, found.upper, found.planning_sd, found.statement):
        with pytest.raises(ValueError, match="confidence: found 95; accepted: a number between 0 and 1"):
            call("mount", 95)
    with pytest.raises(ValueError, match="draws: found 100; accepted: a whole number of at least 2000"):
        variance_components(TABLE, ["article"], draws=100)
    with pytest.raises(ValueError, match="column 'value': found values that do not differ at all within any article"):
        variance_components({"article": "AABB", "value": [1, 1, 2, 2]}, ["article"])
    with pytest.raises(ValueError, match="found no column 'mount'"):
        variance_components({"article": "AABB", "value": [1, 1, 2, 2]}, ["article", "mount"])
    with pytest.raises(ValueError, match="found one article only"):
        variance_components({"article": "AAAA", "value": [1, 1, 2, 2]}, ["article"])
