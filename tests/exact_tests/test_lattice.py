"""Steps found and refused."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossstats.exact_tests.lattice import on_lattice


def steps(*samples, step=None):
    return on_lattice("a", tuple(np.array(s, float) for s in samples), step)


@given(
    st.lists(st.integers(-(10**6), 10**6), min_size=1, max_size=12),
    st.sampled_from(["0.005", "0.01", "0.1", "1", "0.000001", "0.25"]),
)
def test_whole_numbers_come_back(whole, step):
    values = [float(k * Fraction(step)) for k in whole]
    found = steps(values)
    assert [k * found.step for k in found.steps[0].tolist()] == [k * Fraction(step) for k in whole]
    assert found.step.numerator == 1 or (found.step / Fraction(step)).denominator == 1
    given_step = steps(values, step=float(step))
    assert given_step.steps[0].tolist() == whole


def test_the_step_is_common_to_all_samples():
    found = steps([7.10, 7.20], [6.85])
    assert found.step == Fraction("0.05")
    assert [s.tolist() for s in found.steps] == [[142, 144], [137]]


def test_differences_of_readings_are_on_it_in_spite_of_rounding():
    assert 7.10 - 6.84 != 0.26
    assert steps([7.10 - 6.84, 6.84 - 6.61]).step == Fraction("0.01")


@pytest.mark.parametrize(
    "values",
    [
        [6.985 / 3, 7.01 / 3],  # means of three
        [0.1234567, 0.5],  # seven decimals
        [1e-8, 2e-8],  # all would round to 0
        [1e13 + 0.5, 1.0],
    ],
)
def test_values_on_no_lattice(values):
    assert steps(values) is None


def test_more_steps_than_integers_can_add():
    assert steps([1e-6, 5000.0]) is None
    with pytest.raises(ValueError, match="accepted: a coarser step"):
        steps([5000.0], step=1e-6)


@pytest.mark.parametrize("step", [0.0, -1.0, float("nan"), float("inf")])
def test_step_must_be_positive(step):
    with pytest.raises(ValueError, match="step: found .*; accepted: a number above 0"):
        steps([1.0], step=step)


def test_a_value_off_the_step_is_named():
    with pytest.raises(ValueError, match=r"a, step: found 7.012 \(value 3\), which is no multiple of 0.005"):
        steps([7.0, 7.005], [7.012], step=0.005)
