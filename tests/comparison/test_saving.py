"""Percent by the log ratio and by Fieller: coverage by simulation, and where no ratio exists."""

import math

import numpy as np
import pytest

from lossstats.comparison.comparison import compare_groups, compare_pairs
from lossstats.comparison.saving import fieller_percent


def test_fieller_is_where_the_t_of_the_difference_is_the_quantile():
    rng = np.random.default_rng(4)
    before, after = rng.normal(7, 1, 5), rng.normal(5.5, 1, 5)
    low, high = fieller_percent(before, after, paired=True, confidence=0.9)
    for end in (low, high):
        d = after - (1 - end / 100) * before
        assert abs(d.mean() / (d.std(ddof=1) / math.sqrt(5))) == pytest.approx(2.1318467863, rel=1e-8)  # t, 4 dof, 90 %


def test_fieller_has_no_finite_interval_near_zero():
    # Fieller (1954): with b / u_b = 1.67 below the quantile the set is not an interval.
    before = 1 + 0.6 * np.array([-1, 0, 1]) * math.sqrt(3)
    assert fieller_percent(before, np.array([0.9, 1.0, 1.1]), paired=False) is None


@pytest.mark.parametrize(
    ("compare", "design", "cv"), [(compare_pairs, "paired", 0.03), (compare_pairs, "paired", 0.15), (compare_groups, "independent", 0.15)]
)  # fmt: skip
def test_coverage_of_percent(compare, design, cv):
    """5 units, levels 7 and 5.5 W: 95 % intervals of the percentage hold the truth in 94.5 to 97 % (3 standard errors)."""
    rng = np.random.default_rng(6)
    trials, held = 800, 0
    for _ in range(trials):
        article = rng.normal(0, 0.8 * cv, 5)
        own = rng.normal(0, 0.6 * cv, (2, 5))
        if design == "independent":
            article = rng.normal(0, 0.8 * cv, (2, 5))
        before, after = np.array([[7.0], [5.5]]) * (1 + article + own)
        percent = compare(before, after).percent
        held += percent.low <= 100 * (1 - 5.5 / 7) <= percent.high
    allowance = 3 * math.sqrt(0.95 * 0.05 / trials)
    assert 0.945 - allowance <= held / trials <= 0.97 + allowance


@pytest.mark.parametrize(("zero", "noted"), [(0.5, False), (1.5, True)])
def test_a_level_hardly_known_is_told_beside_its_percentage(zero, noted):
    """At 7 W a zero of 0.5 W is 7 %, one of 1.5 W is 21 % of the level; a gain cancels in the ratio."""
    c = compare_pairs([7.1, 6.8, 7.3, 6.9], [6.6, 6.4, 6.7, 6.5], shared={"zero": zero, "gain": 0.3})
    assert any("itself uncertain by 21 %" in note for note in c.notes) == noted
    assert c.percent is not None
