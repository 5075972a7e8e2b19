"""Grubbs' test of two means together: printed table, brute simulation, closed form."""

import math

import numpy as np
import pytest

from lossstats.components.grubbs_pairs import grubbs_pair_limit, grubbs_pair_test

NAMES = [f"L{k:02}" for k in range(1, 31)]


@pytest.mark.parametrize(
    ("p", "one", "five"),
    [(4, 0.0000, 0.0002), (5, 0.0018, 0.0090), (6, 0.0116, 0.0349), (7, 0.0308, 0.0708), (8, 0.0563, 0.1101),
     (9, 0.0851, 0.1492), (10, 0.1150, 0.1864)],
)  # fmt: skip
def test_table(p, one, five):
    """ISO 5725-2, table 5, two largest or two smallest (from memory, recomputed)."""
    assert grubbs_pair_limit(p, 0.01) == pytest.approx(one, abs=1.6e-4)
    assert grubbs_pair_limit(p, 0.05) == pytest.approx(five, abs=1.6e-4)


@pytest.mark.parametrize("n", [5, 12, 25])
def test_level_by_simulation(n):
    x = np.sort(np.random.default_rng(n).normal(size=(60_000, n)), axis=1)
    total = x.var(axis=1) * n
    for pair in (x[:, :-2], x[:, 2:]):
        ratio = pair.var(axis=1) * (n - 2) / total
        assert (ratio <= grubbs_pair_limit(n, 0.05)).mean() == pytest.approx(0.025, abs=4 * 0.00064)


def test_four_means_closed_form():
    """The highest of two residuals is sqrt(1/2) of their root sum of squares: no draw enters, the angle does.

    Lower of the pair at distance u above the mean of the others: r / (1 - r) at most 2 u**2, by direct integration.
    """
    g = grubbs_pair_limit(4, 0.05)
    angle = (np.arange(200_000) + 0.5) / 200_000 * math.atan2(1, math.sqrt(0.5))
    u = np.cos(angle) - np.sin(angle) * math.sqrt(0.5)
    bound = 2 * u**2 / (1 + 2 * u**2)
    chance = 6 * math.atan2(1, math.sqrt(0.5)) / math.pi * np.mean(np.sqrt(np.minimum(g, bound)))
    assert chance == pytest.approx(0.025, rel=2e-3)


def test_a_pair_that_hides_itself():
    means = np.array([6.1, 6.15, 6.12, 7.4, 6.05, 7.45, 6.11, 6.08])
    found = grubbs_pair_test(means, NAMES, high=True)
    assert set(found.suspects) == {"L04", "L06"} and found.mark == "**" and found.words == "L06 and L04: outlier **"
    assert found.statistic < found.critical_1 and not found.large_stands_out
    mirrored = grubbs_pair_test(-means, NAMES, high=False)
    assert mirrored.statistic == pytest.approx(found.statistic) and mirrored.suspects == found.suspects
    assert grubbs_pair_test(means, NAMES, high=False).p_value > 0.05


def test_p_and_critical_value_say_the_same():
    for reach in np.linspace(0.1, 3, 30):
        found = grubbs_pair_test(np.array([1, 1.1, 0.9, 1.2, 1 + reach, 1.1 + reach, 0.8]), NAMES, high=True)
        assert (found.p_value <= 0.05) == (found.statistic <= found.critical_5)
        assert (found.p_value <= 0.01) == (found.statistic <= found.critical_1)


def test_refusals():
    with pytest.raises(ValueError, match="means: found .*; accepted: 4 means or more that differ"):
        grubbs_pair_test(np.array([1.0, 2.0, 4.0]), NAMES, high=True)
    with pytest.raises(ValueError, match="number: found 3; accepted: a whole number of at least 4"):
        grubbs_pair_limit(3, 0.05)
