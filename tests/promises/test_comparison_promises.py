"""Comparisons of unit values: size and coverage by simulation and by exact quadrature."""

import math

import numpy as np
import pytest
from scipy import special, stats

from lossstats.comparison.comparison import compare_crossover, compare_groups, compare_pairs
from lossstats.exact_tests.resampling import sign_flip

TRIALS = 1000


def allowance(p, trials=TRIALS):
    return 3 * math.sqrt(p * (1 - p) / trials)


def welch_size(n1, n2, ratio, nodes=80):
    """Size of Welch's test at 5 % for normal units, by quadrature over both sample variances: no simulation."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = (x + 1) / 2, w / 2
    a = (stats.chi2.ppf(x, n1 - 1) / (n1 - 1) / n1)[:, None]
    b = (ratio**2 * stats.chi2.ppf(x, n2 - 1) / (n2 - 1) / n2)[None, :]
    dof = (a + b) ** 2 / (a**2 / (n1 - 1) + b**2 / (n2 - 1))
    limit = stats.t.ppf(0.975, dof) * np.sqrt(a + b)
    return float(w @ (2 * special.ndtr(-limit / math.sqrt(1 / n1 + ratio**2 / n2))) @ w)


@pytest.mark.parametrize("n", [3, 4, 6, 10])
def test_paired_coverage(n):
    rng = np.random.default_rng(100 + n)
    article = rng.normal(7, 0.3, (TRIALS, n))
    before, after = article + rng.normal(0, 0.1, (TRIALS, n)), article - 0.5 + rng.normal(0, 0.1, (TRIALS, n))
    results = [compare_pairs(b, a).difference for b, a in zip(before, after, strict=True)]
    held = np.mean([d.low <= 0.5 <= d.high for d in results])
    assert held == pytest.approx(0.95, abs=allowance(0.95))


@pytest.mark.parametrize(("n1", "n2", "ratio", "size"), [(3, 3, 1, 0.0351), (4, 4, 1, 0.0411), (5, 5, 4, 0.0535), (3, 10, 1, 0.0642), (2, 6, 1, 0.0748)])  # fmt: skip
def test_welch_has_its_exact_size(n1, n2, ratio, size):
    """Welch (1947) holds 5 % only about: the size of normal units is known exactly, and ours must have that one."""
    assert welch_size(n1, n2, ratio) == pytest.approx(size, abs=6e-4)
    rng = np.random.default_rng(n1 * 100 + n2)
    false = [compare_groups(rng.normal(7, 1, n1), rng.normal(7, ratio, n2)).p_value < 0.05 for _ in range(TRIALS)]
    assert np.mean(false) == pytest.approx(size, abs=allowance(size))


@pytest.mark.parametrize(("n", "level"), [(6, 1 - 2 / 64), (8, 1 - 12 / 256)])
def test_sign_flip_interval_has_its_exact_level(n, level):
    """96.9 % and 95.3 % for symmetric differences, whatever their shape: here heavy tails."""
    rng, trials = np.random.default_rng(n), 4000
    ends = [sign_flip(rng.standard_t(3, n)).interval(0.95) for _ in range(trials)]
    assert np.mean([low <= 0 <= high for low, high in ends]) == pytest.approx(level, abs=allowance(level, trials))


@pytest.mark.parametrize("u_ratio", [0.3, 1.0])
def test_gain_error_is_carried(u_ratio):
    """A gain error common to all units: 94.5 to 96.7 % with the term (u_B / u_A up to 1), far less without."""
    rng = np.random.default_rng(9)
    n, saving, sd = 6, 0.5, 0.1
    u_gain = u_ratio * sd * math.sqrt(2 / n) / saving
    held, without = [], []
    for _ in range(TRIALS):
        gain = 1 + rng.normal(0, u_gain)
        before, after = rng.normal(7, sd, n) * gain, rng.normal(7 - saving, sd, n) * gain
        c = compare_groups(before, after, shared={"gain": u_gain}).difference
        plain = compare_groups(before, after).difference
        held.append(c.low <= saving <= c.high)
        without.append(plain.low <= saving <= plain.high)
    assert 0.945 - allowance(0.95) <= np.mean(held) <= 0.967 + allowance(0.95)
    if u_ratio == 1.0:
        assert np.mean(without) < 0.93


@pytest.mark.parametrize(("truth", "limit"), [(0.0, 0.05), (0.25, 0.025), (-0.25, 0.025)])
def test_wrong_verdicts(truth, limit):
    """Saves or costs at truth 0 in at most 5 %; equal at |truth| = M in at most 2.5 %."""
    rng = np.random.default_rng(12)
    verdicts = []
    for _ in range(TRIALS):
        before = rng.normal(7, 0.1, 6)
        verdicts.append(compare_pairs(before, before - truth + rng.normal(0, 0.15, 6), matters=0.25).verdict.kind)
    wrong = {"saves", "costs"} if truth == 0 else {"no difference that matters"}
    assert np.mean([v in wrong for v in verdicts]) <= limit + allowance(limit)


def test_samples_taken_for_replicates_would_be_wrong_in_most_trials():
    """Why runs and samples are refused: 3 articles, 36 correlated samples each, no true difference, Welch on samples."""
    rng = np.random.default_rng(13)
    false = 0
    for _ in range(200):
        groups = []
        for _ in range(2):
            articles = rng.normal(7, 0.3, (3, 1))
            noise = rng.normal(0, 0.02, (3, 36))
            groups.append((articles + noise).ravel())
        false += stats.ttest_ind(*groups, equal_var=False).pvalue < 0.05
        with pytest.raises(ValueError, match="not replicates"):
            compare_groups(*groups)
    assert false / 200 > 0.6


@pytest.mark.parametrize(("n_ab", "n_ba", "period"), [(3, 3, 0.0), (4, 3, 0.3), (5, 5, 0.3)])
def test_crossover_coverage(n_ab, n_ba, period):
    """94 to 97.5 % whatever the period effect (Welch holds its level only about at 3 against 3)."""
    rng = np.random.default_rng(14)
    n, held = n_ab + n_ba, []
    turned = np.arange(n) >= n_ab
    for _ in range(TRIALS):
        article = rng.normal(7, 0.3, n)
        before = article - np.where(turned, period, 0) + rng.normal(0, 0.1, n)
        after = article - 0.5 - np.where(turned, 0, period) + rng.normal(0, 0.1, n)
        d = compare_crossover(before, after, turned).difference
        held.append(d.low <= 0.5 <= d.high)
    assert 0.94 - allowance(0.95) <= np.mean(held) <= 0.975 + allowance(0.95)
