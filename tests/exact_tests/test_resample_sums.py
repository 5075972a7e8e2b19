"""Resampled sums: their law by listing, and the algebra of ratios of sums."""

import numpy as np
import pytest
from scipy import stats

from lossstats.exact_tests.resample_sums import (
    Part,
    _picks,
    combined_variance,
    jackknife,
    resample_statistic,
    resample_sums,
)


@pytest.mark.parametrize("options", [2, 3, 8, 1000, 2500, 10_000, 40_000, 70_000])
def test_picks_are_equally_likely(options):
    """Counts of the numbers themselves, or of twenty equal classes of them."""
    picked = _picks(np.random.default_rng(1), options, 200_001).astype(np.int64)
    classes = options if options < 20 else 20
    assert len(picked) == 200_001 and picked.min() >= 0 and picked.max() < options
    counts = np.bincount(picked * classes // options, minlength=classes)
    assert stats.chisquare(counts).pvalue > 1e-3


@pytest.mark.parametrize("n", [2, 3, 4, 5, 7, 10, 23, 50, 90])
def test_sums_have_the_moments_of_resampling(n):
    """A sum of n draws with replacement has n times the mean and n times the variance; columns stay together."""
    values = np.random.default_rng(n).gamma(2, 1, n)
    total, twice = resample_sums([values, 2 * values], 40_000, np.random.default_rng(1))
    assert twice == pytest.approx(2 * total)
    u = np.sqrt(n * values.var())
    assert total.mean() == pytest.approx(n * values.mean(), abs=4 * u / 200)
    assert total.std() == pytest.approx(u, rel=0.03)


@pytest.mark.parametrize("columns", [1, 2])
def test_every_resample_of_three_is_as_likely(columns):
    values = [np.array([1.0, 10.0, 100.0])] * columns
    total = resample_sums(values, 54_000, np.random.default_rng(2))[-1]
    found, counts = np.unique(np.round(total), return_counts=True)
    expected = {3: 1, 12: 3, 21: 3, 30: 1, 102: 3, 111: 6, 120: 3, 201: 3, 210: 3, 300: 1}
    assert found.tolist() == sorted(expected)
    assert stats.chisquare(counts, [expected[int(v)] * 2000 for v in found]).pvalue > 1e-3


def test_every_pair_of_resamples_of_two_groups_is_as_likely():
    """Two against two: 16 resamples of four units, drawn by one table of differences."""
    parts = [Part(np.array([0.0, 2.0])), Part(np.array([0.0, 20.0]))]
    shift, _ = resample_statistic(parts, "difference", 32_000, np.random.default_rng(4), squares=False)
    found, counts = np.unique(np.round(shift - 9), return_counts=True)  # less 1 - 10, the difference of the data
    expected = {x - y: (1 + (x == 1)) * (1 + (y == 10)) for x in (0, 1, 2) for y in (0, 10, 20)}
    assert found.tolist() == sorted(expected)
    assert stats.chisquare(counts, [expected[int(v)] * 2000 for v in found]).pvalue > 1e-3


def test_a_mean_has_its_textbook_standard_error():
    values = np.array([7.1, 6.9, 7.4, 7.0])
    part = Part(values)
    assert part.value == pytest.approx(values.mean())
    assert part.variance == pytest.approx(values.var(ddof=1) / 4)
    assert part.jackknife() == pytest.approx([np.delete(values, i).mean() for i in range(4)])
    weighted = Part(values, np.ones(4))
    assert weighted.variance == pytest.approx(part.variance)


def test_a_weighted_part_is_a_ratio_of_sums():
    x, y = np.array([6.1, 6.4, 5.9, 6.6]), np.array([7.0, 7.2, 6.8, 7.4])
    part = Part(x, y)
    assert part.value == pytest.approx(x.mean() / y.mean())
    assert part.jackknife() == pytest.approx([np.delete(x, i).mean() / np.delete(y, i).mean() for i in range(4)])
    # First-order variance of a ratio of paired means.
    r, c = part.value, np.cov(x, y)
    assert part.variance == pytest.approx((c[0, 0] + r * r * c[1, 1] - 2 * r * c[0, 1]) / 4 / y.mean() ** 2)


@pytest.mark.parametrize("weights", [None, np.array([2.0, 1.0, 3.0])])
def test_standard_errors_within_resamples(weights):
    """Each resample's own standard error, against recomputing it from the resample."""
    part = Part(np.array([3.0, 10.0, 38.0]), weights)
    shift, variance = part.resample(4000, np.random.default_rng(3), squares=True)
    known = {}
    for i, j, k in np.ndindex(3, 3, 3):
        pick = [i, j, k]
        other = Part(part.numerators[pick], None if weights is None else weights[pick])
        known[round(other.value - part.value, 9)] = other.variance
    for s, v in zip(shift, variance, strict=True):
        assert v == pytest.approx(known[round(s, 9)], abs=1e-9)


def test_combinations():
    parts = [Part(np.array([6.0, 6.4, 6.2])), Part(np.array([7.0, 7.6]))]
    ratio = [part.value for part in parts]
    assert combined_variance(ratio, [0.01, 0.04], "difference") == pytest.approx(0.05)
    assert combined_variance([6.0, 3.0], [0.01, 0.04], "ratio") == pytest.approx((0.01 + 4 * 0.04) / 9)
    left = jackknife(parts, "ratio")
    assert left[1] == pytest.approx([parts[0].value / 7.6, parts[0].value / 7.0])
    shift, variance = resample_statistic(parts, "ratio", 500, np.random.default_rng(1), squares=False)
    assert variance is None
    assert shift.min() >= 6.0 / 7.6 - ratio[0] / ratio[1] - 1e-12
