"""Patterns: what an error shared by runs leaves in a contrast."""

import math

import numpy as np
import pytest

from lossstats.records.estimate import Term
from lossstats.records.pattern import Pattern


def test_what_all_runs_share_cancels_in_a_difference_and_not_in_a_mean():
    pattern = Pattern(np.full(4, 0.3), 8.0)
    assert pattern.term([0.5, 0.5, -0.5, -0.5]) == Term(0.0, 8.0)
    assert pattern.term([0.25] * 4) == Term(0.3, 8.0)


def test_term_is_the_standard_deviation_over_the_shared_number():
    """Naive second way: runs moved by one common normal number."""
    values, weights = np.array([0.4, -0.1, 0.25]), np.array([1.0, 2.0, -0.5])
    shared = np.random.default_rng(1).normal(size=(200_000, 1))
    sd = float(np.std((shared * values) @ weights))
    assert Pattern(values).term(weights).standard_uncertainty == pytest.approx(sd, rel=0.01)


def test_cancellation_is_exact_where_the_products_are():
    assert Pattern(np.array([1e16, 1.0, -1e16])).term([1, 1, 1]) == Term(1.0, math.inf)


def test_one_weight_a_run():
    with pytest.raises(ValueError, match=r"weights: found shape \(2,\); accepted: \(3,\), one weight a run"):
        Pattern(np.ones(3)).term([1, -1])
