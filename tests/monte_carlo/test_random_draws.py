"""Draws of each distribution against its closed-form moments and quantiles (scipy.stats)."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.budgets.source import Source
from lossstats.monte_carlo.random_draws import InputDraws, draw_source

N = 200_000
PLACES = (0.001, 0.025, 0.3, 0.5, 0.8, 0.975, 0.999)
VOLTS, AMPERES = (5.007, 4.994, 5.005, 4.990, 4.999), (19.663, 19.639, 19.640, 19.685, 19.678)


def drawn(source, seed=1):
    out = np.empty(N)
    draw_source(source, out, rng=np.random.default_rng(seed))
    return out


LAWS = {
    "Gaussian": (Source.normal(0.3, value=7.0), stats.norm(7.0, 0.3)),
    "t": (Source.student(0.3, 5.0, value=7.0), stats.t(5.0, 7.0, 0.3)),
    "rectangular": (Source.rectangular(0.5, value=7.0), stats.uniform(6.5, 1.0)),
    "triangular": (Source.triangular(0.5, value=7.0), stats.triang(0.5, 6.5, 1.0)),
    "trapezoidal": (Source.trapezoid(0.5, top=0.4, value=7.0), stats.trapezoid(0.3, 0.7, 6.5, 1.0)),
    "arc sine": (Source.arcsine(0.5, value=7.0), stats.arcsine(6.5, 1.0)),
    "between": (Source.between(2.0, 5.0), stats.uniform(2.0, 3.0)),
}


@pytest.mark.parametrize("name", LAWS)
def test_law(name):
    source, law = LAWS[name]
    values = drawn(source)
    # The chance of a p below 1e-4 is 1e-4; the seed is fixed.
    assert stats.kstest(values, law.cdf).pvalue > 1e-4
    for p in PLACES:  # the fraction below a quantile, within four standard deviations of a binomial fraction
        assert abs((values < law.ppf(p)).mean() - p) < 4 * math.sqrt(p * (1 - p) / N)
    assert abs(values.mean() - law.mean()) < 4 * law.std() / math.sqrt(N)
    excess = float(law.stats("k")) if name != "t" else 6.0
    assert abs(values.std() / law.std() - 1) < 4 * math.sqrt((excess + 2) / 4 / N)


def test_inexact_limits():
    # JCGM 101, 6.4.3 (from memory): middle x, u^2 = w^2 / 3 + d^2 / 9 with w the half-width, all within w + d.
    w, d = 0.5, 0.2
    values = drawn(Source.rectangular(w, value=7.0, inexact=d))
    assert abs(values.mean() - 7.0) < 4 * math.sqrt((w * w / 3 + d * d / 9) / N)
    assert values.std() == pytest.approx(math.sqrt(w * w / 3 + d * d / 9), rel=4 / math.sqrt(N))
    assert 7.0 + w < values.max() < 7.0 + w + d
    assert 7.0 - w - d < values.min() < 7.0 - w
    # Closed form: the half-width h is rectangular on w - d .. w + d, and P(|X - x| < w) is 1 for h < w, else w / h.
    inside = 0.5 + w / (2 * d) * math.log((w + d) / w)
    assert abs((abs(values - 7.0) < w).mean() - inside) < 4 * math.sqrt(inside * (1 - inside) / N)


@pytest.mark.parametrize("source", [Source.normal(0.0, value=3.0), Source.rectangular(0.0, value=3.0)])
def test_exact_value_stays(source):
    assert set(drawn(source)) == {3.0}


def filled(inputs, correlation=None, simultaneous=(), seed=2):
    draws = InputDraws(inputs, correlation, simultaneous)
    points = np.empty((len(inputs), N))
    draws.fill(points, rng=np.random.default_rng(seed))
    return points, draws


def test_correlated_gaussian():
    inputs = {
        "a": Source.normal(0.1, value=1.0),
        "b": Source.rectangular(1.0),
        "c": Source.normal(2.0, value=-5.0),
        "d": Source.normal(0.5),
    }
    points, _ = filled(inputs, {("a", "c"): 0.9, ("c", "d"): -0.5, ("a", "d"): -0.2})
    wanted = np.eye(4)
    for i, j, r in ((0, 2, 0.9), (2, 3, -0.5), (0, 3, -0.2)):
        wanted[i, j] = wanted[j, i] = r
    assert np.corrcoef(points) == pytest.approx(wanted, abs=4 / math.sqrt(N))
    assert points.std(axis=1) == pytest.approx([0.1, 1 / math.sqrt(3), 2.0, 0.5], rel=4 / math.sqrt(2 * N))
    assert points[[0, 2, 3]].mean(axis=1) == pytest.approx([1.0, -5.0, 0.0], abs=4 * 2.0 / math.sqrt(N))
    total = stats.kstest(points[0] * 10 + points[2], stats.norm(5.0, math.sqrt(1 + 4 + 2 * 0.9 * 2)).cdf)
    assert total.pvalue > 1e-4  # a sum of jointly Gaussian inputs is Gaussian with this variance


@pytest.mark.parametrize("r", [1.0, -1.0])
def test_full_correlation(r):
    points, _ = filled({"a": Source.normal(0.1), "b": Source.normal(0.3), "c": Source.normal(0.0)}, {("a", "b"): r})
    assert points[1] == pytest.approx(3 * r * points[0], abs=1e-12)


def test_simultaneous_readings_are_multivariate_t():
    # JCGM 102:2011, 5.3.2 (from memory): n = 12, N = 2, 10 degrees of freedom, scale^2 = sum of squares / (12 x 10).
    rng = np.random.default_rng(5)
    x = rng.normal(5.0, 0.1, 12)
    y = 0.5 * x + rng.normal(0.0, 0.05, 12)
    points, draws = filled({"x": Source.readings(x), "y": Source.readings(y)}, simultaneous=[("x", "y")])
    for row, readings in zip(points, (x, y), strict=True):
        scale = math.sqrt(((readings - readings.mean()) ** 2).sum() / (12 * 10))
        assert stats.kstest(row, stats.t(10, readings.mean(), scale).cdf).pvalue > 1e-4
    assert np.corrcoef(points)[0, 1] == pytest.approx(np.corrcoef(x, y)[0, 1], abs=0.01)
    # One stretch for all inputs: their squares are correlated even where they are not. Squared distance / N is F(2, 10).
    centred = points - np.array([[x.mean()], [y.mean()]])
    matrix = np.cov(np.array([x, y])) * 11 / (12 * 10)
    distance = np.einsum("ik,ij,jk->k", centred, np.linalg.inv(matrix), centred) / 2
    assert stats.kstest(distance, stats.f(2, 10).cdf).pvalue > 1e-4
    assert any("multivariate t with 10 degrees of freedom" in note for note in draws.notes)


def test_one_reading_group_of_one_is_the_t_of_supplement_1():
    readings = (5.0, 5.1, 4.9, 5.2)
    alone = drawn(Source.readings(readings))
    scale = np.std(readings, ddof=1) / 2
    assert stats.kstest(alone, stats.t(3, np.mean(readings), scale).cdf).pvalue > 1e-4


def test_few_degrees_of_freedom_are_noted():
    notes = InputDraws({"x": Source.readings([1.0, 2.0, 3.0]), "y": Source.readings([1.0, 1.0])}).notes
    assert any(note.startswith("x: a t distribution with 2 degrees of freedom has no finite") for note in notes)
    assert any(note.startswith("y: all readings are equal") for note in notes)
    assert len(notes) == 2


def test_correlation_of_other_distributions_is_refused():
    inputs = {"a": Source.rectangular(1.0), "b": Source.normal(1.0)}
    with pytest.raises(
        ValueError, match=r"found r\(a, b\) = 0.5 where a is rectangular; accepted: coefficients between Gaussian"
    ):
        InputDraws(inputs, {("a", "b"): 0.5})
    InputDraws(inputs, {("a", "b"): 0.0})


def test_readings_together_cannot_be_joined_to_others():
    inputs = {"V": Source.readings(VOLTS), "I": Source.readings(AMPERES), "z": Source.normal(1.0)}
    with pytest.raises(ValueError, match=r"r\(V, z\) = 0.1 where V is with readings taken together"):
        InputDraws(inputs, {("V", "z"): 0.1}, [("V", "I")])


def test_groups_of_readings_must_not_overlap():
    inputs = {"V": Source.readings(VOLTS), "I": Source.readings(AMPERES), "W": Source.readings(AMPERES)}
    with pytest.raises(
        ValueError, match=r"simultaneous: found 'I'; accepted: each input in one group, such as \('V', 'I', 'W'\)"
    ):
        InputDraws(inputs, simultaneous=[("V", "I"), ("I", "W")])


def test_more_readings_than_inputs():
    inputs = {"a": Source.readings([1.0, 2.0]), "b": Source.readings([1.0, 3.0])}
    with pytest.raises(
        ValueError, match="found '2 readings of each of a, b'; accepted: more readings than inputs in a group, 3"
    ):
        InputDraws(inputs, simultaneous=[("a", "b")])
