"""Bootstrap intervals against scipy and arch, against listing every resample, and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

import lossstats
from lossstats.exact_tests.bootstrapping import bootstrap

RNG = np.random.default_rng(2)
BEFORE = np.round(RNG.gamma(4, 0.15, 12) + 6.8, 2)
AFTER = np.round(RNG.gamma(4, 0.15, 12) + 6.3, 2)
MANY = 200_000


def difference(x, y, axis=-1):
    return x.mean(axis) - y.mean(axis)


def ratio(x, y, axis=-1):
    return x.mean(axis) / y.mean(axis)


def mean(x, axis=-1):
    return x.mean(axis)


@pytest.mark.parametrize("method", ["percentile", "bca"])
@pytest.mark.parametrize(("name", "function", "paired"), [("difference", difference, False), ("ratio", ratio, False), ("difference", difference, True), ("ratio", ratio, True)])  # fmt: skip
def test_two_samples_against_scipy(method, name, function, paired):
    """Same law: limits agree within the Monte Carlo error of 200 000 resamples each."""
    ours = bootstrap(BEFORE, AFTER, statistic=name, method=method, resamples=MANY, rng=1, paired=paired)
    general = bootstrap(BEFORE, AFTER, statistic=function, method=method, resamples=MANY, rng=3, paired=paired)
    # In whole hundredths: ties of sums with the estimate are then ties for scipy as well, which compares floats.
    whole = np.rint(BEFORE * 100), np.rint(AFTER * 100)
    scale = 1 if name == "ratio" else 100
    scipy = stats.bootstrap(whole, function, paired=paired, method=method, n_resamples=MANY, rng=2, batch=20_000)  # fmt: skip
    allowed = 0.025 * ours.standard_uncertainty  # four times the scatter of such a limit, and a step of the lattice
    assert (ours.low, ours.high) == pytest.approx(np.array(scipy.confidence_interval) / scale, abs=2 * allowed)
    assert (general.low, general.high) == pytest.approx((ours.low, ours.high), abs=2 * allowed)
    assert ours.standard_uncertainty == pytest.approx(scipy.standard_error / scale, rel=0.01)
    assert ours.value == pytest.approx(function(BEFORE, AFTER))


@pytest.mark.parametrize("method", ["percentile", "bca"])
@pytest.mark.parametrize(("name", "function"), [("mean", mean), ("median", np.median)])
def test_one_sample_against_scipy(method, name, function):
    sample = BEFORE if name == "mean" else np.sort(BEFORE)[:11]
    ours = bootstrap(sample, statistic=name, method=method, resamples=MANY, rng=1)
    scipy = stats.bootstrap((np.rint(sample * 100),), function, method=method, n_resamples=MANY, rng=2, batch=20_000)
    assert (ours.low, ours.high) == pytest.approx(
        np.array(scipy.confidence_interval) / 100, abs=0.06 * ours.standard_uncertainty
    )


def test_studentised_against_a_plain_loop():
    ours = bootstrap(BEFORE, AFTER, statistic="difference", rng=1, resamples=100_000)
    rng, t = np.random.default_rng(5), []
    x, y = (rng.choice(v, (100_000, 12)) for v in (BEFORE, AFTER))
    u = np.sqrt(x.var(axis=1, ddof=1) / 12 + y.var(axis=1, ddof=1) / 12)
    t = (difference(x, y) - difference(BEFORE, AFTER)) / u
    u0 = math.sqrt(BEFORE.var(ddof=1) / 12 + AFTER.var(ddof=1) / 12)
    ends = difference(BEFORE, AFTER) - np.quantile(t, [0.975, 0.025]) * u0
    assert (ours.low, ours.high) == pytest.approx(ends, abs=0.03 * u0)
    assert ours.standard_uncertainty == pytest.approx(u0)


def test_studentised_against_arch():
    """arch puts the bootstrap standard error outside: narrower by sqrt((n - 1) / n), and so named in the notes."""
    arch = pytest.importorskip("arch.bootstrap")
    ours = bootstrap(BEFORE, AFTER, statistic="difference", rng=1, resamples=100_000)
    other = arch.IndependentSamplesBootstrap(BEFORE, AFTER, seed=1)

    def with_spread(x, y):
        return np.array([x.mean() - y.mean()])

    def spread(_, x, y):
        return np.sqrt([x.var(ddof=1) / len(x) + y.var(ddof=1) / len(y)])

    low, high = other.conf_int(with_spread, 6000, method="studentized", std_err_func=spread).ravel()
    n = len(BEFORE)
    assert (high - low) / (ours.high - ours.low) == pytest.approx(math.sqrt((n - 1) / n), rel=0.04)
    assert "narrower by about sqrt((n - 1) / n)" in ours.notes[0]


@pytest.mark.parametrize("paired", [False, True])
def test_exact_is_where_the_drawn_percentiles_go(paired):
    exact = bootstrap(BEFORE, AFTER, statistic="difference", method="exact", paired=paired)
    drawn = bootstrap(BEFORE, AFTER, statistic="difference", method="percentile", resamples=MANY, rng=1, paired=paired)
    assert (exact.low, exact.high) == pytest.approx((drawn.low, drawn.high), abs=0.03 * drawn.standard_uncertainty)
    assert exact.standard_uncertainty == pytest.approx(drawn.standard_uncertainty, rel=0.01)
    assert exact == bootstrap(BEFORE, AFTER, statistic="difference", method="exact", paired=paired)
    assert exact.resamples is None and exact.seed is None


@given(
    st.lists(st.integers(1200, 1500), min_size=3, max_size=9).filter(lambda v: len(set(v)) > 1),
    st.integers(-200, 200),
    st.randoms(),
)
@settings(max_examples=40, deadline=None)
def test_invariances(whole, shift, random):
    sample = [k * 0.005 for k in whole]
    one = bootstrap(sample, statistic="mean", method="exact")
    moved = bootstrap([(k + shift) * 0.005 for k in whole], statistic="mean", method="exact")
    assert (moved.low, moved.high) == pytest.approx((one.low + shift * 0.005, one.high + shift * 0.005), abs=1e-12)
    shuffled = bootstrap(random.sample(sample, len(sample)), statistic="mean", method="exact")
    assert (shuffled.low, shuffled.high) == (one.low, one.high)
    drawn = bootstrap(sample, statistic="mean", method="percentile", rng=1, resamples=400)
    scaled = bootstrap([4 * x for x in sample], statistic="mean", method="percentile", rng=1, resamples=400)
    assert (scaled.low, scaled.high) == pytest.approx((4 * drawn.low, 4 * drawn.high))


ARTICLES = [name for name in "ABCDEF" for _ in range(3)]
MOUNTS = np.round(np.repeat(RNG.normal(7, 0.3, 6), 3) + RNG.normal(0, 0.02, 18), 3)


def test_whole_articles_are_resampled():
    """Six articles of three mounts: as the bootstrap of six article means; mounts as units are far too narrow."""
    means = MOUNTS.reshape(6, 3).mean(axis=1)
    by_article = bootstrap(MOUNTS, statistic="mean", clusters=ARTICLES, rng=1)
    of_means = bootstrap(means, statistic="mean", rng=1)
    assert (by_article.low, by_article.high) == pytest.approx((of_means.low, of_means.high), rel=1e-9)
    assert by_article.units == (6,)
    wrong = bootstrap(MOUNTS, statistic="mean", rng=1)
    assert wrong.high - wrong.low < 0.7 * (by_article.high - by_article.low)
    for method in ("percentile", "bca"):
        fast = bootstrap(MOUNTS, statistic="mean", method=method, clusters=ARTICLES, rng=1, resamples=20_000)
        plain = bootstrap(MOUNTS, statistic=np.mean, method=method, clusters=ARTICLES, rng=2, resamples=4000)
        assert (plain.low, plain.high) == pytest.approx((fast.low, fast.high), abs=0.12 * fast.standard_uncertainty)


def test_articles_of_two_samples():
    after = MOUNTS[:14] - 0.5
    result = bootstrap(MOUNTS, after, statistic="difference", method="percentile", rng=1, clusters=(ARTICLES, [a.lower() for a in ARTICLES[:14]]))  # fmt: skip
    assert result.units == (6, 5)
    assert result.value == pytest.approx(MOUNTS.mean() - after.mean())
    paired = bootstrap(MOUNTS, MOUNTS - 0.5, statistic="ratio", rng=1, clusters=ARTICLES, paired=True)
    assert paired.units == (6,)
    general = bootstrap(MOUNTS, MOUNTS - 0.5, statistic=ratio, method="percentile", rng=1, clusters=ARTICLES, paired=True, resamples=2000)  # fmt: skip
    assert general.value == pytest.approx(paired.value)


def test_resamples_without_scatter_are_counted():
    """Three units: a resample repeats one unit with chance 3 / 27."""
    result = bootstrap([0.41, 0.52, 0.28], statistic="mean", rng=1, resamples=20_000)
    assert result.dropped == pytest.approx(20_000 / 9, abs=4 * math.sqrt(20_000 / 9))
    assert f"{result.dropped} of 20000 resamples repeat one unit" in result.notes[-2]
    assert math.isfinite(result.low) and math.isfinite(result.high)


def nan_sometimes(x):
    return math.nan if x[0] == x[1] else x.mean()


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: bootstrap([1.0], statistic="mean", rng=1), r"sample: found 1 value\(s\); accepted: at least 2"),
        (lambda: bootstrap([1.0, math.nan], statistic="mean", rng=1), "sample: found nan at position 2"),
        (lambda: bootstrap([1.0, 1.0], statistic="mean", rng=1), "found units that do not scatter at all"),
        (lambda: bootstrap([1.0, 1.0], statistic="mean", method="exact"), "do not scatter at all; accepted: units that differ"),
        (lambda: bootstrap([1.0, 1.0], statistic=np.mean, method="percentile", rng=1), "found the same value in every resample"),
        (lambda: bootstrap([1.0, 2.0], statistic="mean"), "rng, resamples: found None, 10000"),
        (lambda: bootstrap([1.0, 2.0], statistic="mean", rng=1, resamples=10), "at least 100 resamples"),
        (lambda: bootstrap([1.0, 2.0], statistic="mode", rng=1), "statistic: found 'mode'; accepted: mean, median"),
        (lambda: bootstrap([1.0, 2.0], statistic="difference", rng=1), "samples: found 1 for difference; accepted: 2"),
        (lambda: bootstrap(statistic=np.mean, rng=1), "samples: found 0 for mean; accepted: at least 1"),
        (lambda: bootstrap([1.0, 2.0], statistic="mean", method="basic", rng=1), "method: found 'basic'; accepted: studentised"),
        (lambda: bootstrap([1.0, 2.0], statistic="median", rng=1), "found 'studentised' with median; accepted: mean, difference or ratio"),
        (lambda: bootstrap([1.0, 2.0], [1.0, 2.0], statistic="ratio", method="exact"), "found 'exact' with ratio; accepted: mean or difference"),
        (lambda: bootstrap([1.0, 2.0], statistic="mean", paired=True, rng=1), "paired: found True with one sample"),
        (lambda: bootstrap([1.0, 2.0], [1.0, 2.0, 3.0], statistic="difference", paired=True, rng=1), "found 2 and 3 values"),
        (lambda: bootstrap([1.0, 2.0], [-1.0, 1.0], statistic="ratio", rng=1), "found a second mean of 0"),
        (lambda: bootstrap([1.0, 2.0], [-1.0, 1.0, 1.0, 1.0], statistic="ratio", rng=1, method="percentile"), "found no finite number in [0-9]+ of 10000 resamples"),
        (lambda: bootstrap([0.1, 0.7, 0.3], statistic=nan_sometimes, method="percentile", rng=1), "statistic: found no finite number in [0-9]+ of 10000 resamples"),
        (lambda: bootstrap([1.0, 2.0], statistic=lambda _: math.inf, method="percentile", rng=1), "statistic: found inf for the data themselves"),
        (lambda: bootstrap([1.0, 2.0, 2.0, 2.0, 3.0], statistic="median", method="bca", rng=1), "found 'bca' with .* and no change when units are left out; accepted: method='percentile'"),
        (lambda: bootstrap([math.pi, 2.0], statistic="mean", method="exact"), "found 'exact' with values that are no multiples of one step"),
        (lambda: bootstrap([1.0, 2.0], statistic="mean", rng=1, clusters=["A"]), "clusters: found 1 names for 2 values"),
        (lambda: bootstrap([1.0, 2.0], statistic="mean", rng=1, clusters=["A", "A"]), "clusters: found 1 article"),
        (lambda: bootstrap([1.0, math.inf], statistic="mean", rng=1, clusters=["A", "B"]), "sample: found inf at position 2"),
        (lambda: bootstrap([1.0, 2.0], [1.0, 3.0], statistic="difference", rng=1, clusters=("AB", "BC")), "clusters: found B in both samples"),
        (lambda: bootstrap([1.0, 2.0], statistic="mean", method="exact", clusters=["A", "B"]), "clusters: found with method 'exact'"),
        (lambda: bootstrap([1.0, 2.0], statistic="mean", rng=1, confidence=95), "confidence: found 95"),
        (lambda: bootstrap(np.arange(40.0), statistic="mean", rng=1), "not replicates"),
    ],
)  # fmt: skip
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()


def test_public_name():
    assert lossstats.bootstrap is bootstrap
