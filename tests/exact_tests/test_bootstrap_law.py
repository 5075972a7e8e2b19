"""The exact bootstrap against listing every resample."""

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lossstats.exact_tests.bootstrap_law import exact_limits, exact_uncertainty
from lossstats.exact_tests.lattice import on_lattice

values = st.lists(st.integers(-30, 30), min_size=2, max_size=4).filter(lambda v: len(set(v)) > 1)


def listed(sample):
    return np.array([sum(c) / len(sample) for c in product(sample, repeat=len(sample))])


def ends(law, confidence):
    """Greatest value with at most half of the risk strictly below it, and its mirror, with ties within 1e-9."""
    ordered, allowed = np.sort(law), (1 - confidence) / 2 * len(law)
    rank = max(math.ceil(allowed - 1e-6), 1)
    return ordered[rank - 1], ordered[-rank]


@given(values, st.sampled_from([0.5, 0.8, 0.9, 0.95]))
@settings(max_examples=50, deadline=None)
def test_mean(sample, confidence):
    lattice = on_lattice("a", (np.array(sample) * 0.005,))
    law = listed(sample) * 0.005
    assert exact_limits(lattice, confidence) == pytest.approx(ends(law, confidence), abs=1e-12)
    assert exact_uncertainty(lattice) == pytest.approx(law.std(), rel=1e-9)


@given(values, values, st.sampled_from([0.5, 0.9, 0.95]))
@settings(max_examples=40, deadline=None)
def test_difference_of_groups_of_any_size(x, y, confidence):
    lattice = on_lattice("a", (np.array(x) * 0.01, np.array(y) * 0.01))
    law = np.round((listed(x)[:, None] - listed(y)).ravel() * 0.01, 12)
    assert exact_limits(lattice, confidence) == pytest.approx(ends(law, confidence), abs=1e-12)
    assert exact_uncertainty(lattice) == pytest.approx(law.std(), rel=1e-9)
    swapped = on_lattice("a", (np.array(y) * 0.01, np.array(x) * 0.01))
    low, high = exact_limits(lattice, confidence)
    assert exact_limits(swapped, confidence) == (-high, -low)


def test_too_many_steps_are_refused():
    lattice = on_lattice("a", (np.array([0.0, 1e5, 1.0]), np.array([0.0, 1e5 + 1])))
    with pytest.raises(ValueError, match="method: found 'exact' with .* possible sums; accepted: at most 4000000"):
        exact_limits(on_lattice("a", (np.arange(50) * 40_000.0 + np.arange(50) % 3,)), 0.95)
    assert exact_limits(lattice, 0.5)[0] < 0
