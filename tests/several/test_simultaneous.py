"""Factors for several comparisons at once: against scipy, statsmodels and simulation-free second ways."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.multitest import multipletests

from lossstats.records.estimate import Term
from lossstats.several.simultaneous import (
    AllPairs,
    AnyCorrelation,
    ManyToOne,
    many_to_one_quantile,
    studentised_range_quantile,
)

EQUAL = math.sqrt(0.5)


@pytest.mark.parametrize("means", [3, 4, 10])
@pytest.mark.parametrize("dof", [1.0, 2.4, 7.7, 60.0])
def test_studentised_range_equals_scipy(means, dof):
    q = studentised_range_quantile(means, dof, 0.95)
    assert stats.studentized_range.cdf(q, means, dof) == pytest.approx(0.95, abs=1e-8)


def test_studentised_range_without_end_of_freedom():
    # Closed form for two means: the range of two is |t| sqrt(2).
    assert studentised_range_quantile(2, math.inf, 0.95) == pytest.approx(stats.norm.ppf(0.975) * math.sqrt(2))
    assert studentised_range_quantile(2, 5, 0.99) == pytest.approx(stats.t.ppf(0.995, 5) * math.sqrt(2), rel=1e-9)
    assert studentised_range_quantile(4, 1e7, 0.95) == pytest.approx(
        studentised_range_quantile(4, math.inf, 0.95), rel=1e-6
    )


@pytest.mark.parametrize("loadings", [(EQUAL,) * 3, (0.95, 0.7, 0.2), (0.3,) * 5])
@pytest.mark.parametrize("dof", [2.2, 16.0])
def test_many_to_one_equals_multivariate_t(loadings, dof):
    """The multivariate t of scipy, by another integration (quasi random, about 1e-5)."""
    q = many_to_one_quantile(loadings, dof, 0.95)
    shape = np.outer(loadings, loadings)
    np.fill_diagonal(shape, 1.0)
    box = np.full(len(loadings), q)
    inside = stats.multivariate_t.cdf(box, shape=shape, df=dof, lower_limit=-box, random_state=1, maxpts=100_000)
    assert inside == pytest.approx(0.95, abs=5e-5)


def test_many_to_one_limits():
    # One comparison is a plain t; comparisons that share nothing are independent given the common variance.
    assert many_to_one_quantile([0.7], 9, 0.95) == pytest.approx(stats.t.ppf(0.975, 9), rel=1e-9)
    sidak = stats.norm.ppf((1 + 0.95**0.25) / 2)
    assert many_to_one_quantile([0.0] * 4, math.inf, 0.95) == pytest.approx(sidak, rel=1e-9)


@given(st.lists(st.floats(0, 0.97), min_size=2, max_size=6), st.floats(1, 40), st.integers(0, 5))
@settings(max_examples=40, deadline=None)
def test_less_shared_is_wider_and_bonferroni_widest(loadings, dof, which):
    term = Term(1.0, dof)
    joint = many_to_one_quantile(loadings, dof, 0.95)
    fewer = [0.0 if i == which else share for i, share in enumerate(loadings)]
    assert joint <= many_to_one_quantile(fewer, dof, 0.95) * (1 + 1e-9)
    assert stats.t.ppf(0.975, dof) <= joint <= AnyCorrelation(len(loadings)).factor(term, 0.95) * (1 + 1e-9)


def test_a_control_of_one_loading_is_cut_on_the_wide_side():
    assert many_to_one_quantile([1.0, 1.0], 8, 0.95) == many_to_one_quantile([0.98, 0.98], 8, 0.95)
    assert many_to_one_quantile([1.0, 1.0], 8, 0.95) > stats.t.ppf(0.975, 8)


@given(st.lists(st.floats(0.01, 6), min_size=1, max_size=7), st.floats(1, 40))
@settings(max_examples=6, deadline=None)
def test_adjusted_p(ratios, dof):
    terms = [Term(1.0, dof)] * len(ratios)
    single = 2 * stats.t.sf(ratios, dof)
    holm = multipletests(single, method="holm")[1]
    assert ManyToOne((0.5,) * len(ratios)).adjusted_p(ratios, terms) == pytest.approx(holm, rel=1e-9)
    assert AnyCorrelation(len(ratios)).adjusted_p([-r for r in ratios], terms) == pytest.approx(holm, rel=1e-9)
    tail = stats.studentized_range.sf(np.array(ratios) * math.sqrt(2), 4, dof)
    assert AllPairs(4).adjusted_p(ratios, terms) == pytest.approx(np.maximum(tail, single), abs=1e-7)


def test_p_is_never_zero():
    for family in (AllPairs(3), ManyToOne((0.5,)), AnyCorrelation(1)):
        assert 0 < family.adjusted_p([1e6], [Term(1.0)])[0] < 1e-15


def test_p_and_interval_of_all_pairs_are_dual():
    family, term = AllPairs(4), Term(1.0, 6.3)
    assert family.adjusted_p([family.factor(term, 0.95)], [term]) == pytest.approx([0.05], abs=1e-9)
