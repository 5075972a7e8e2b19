"""Degrees of freedom and relative amounts as stated: what passes, and what is refused."""

import math

import pytest

from lossstats.budgets.input_quantity import absolute, stated_dof


def test_what_is_stated_comes_back():
    assert stated_dof(math.inf) == math.inf
    assert stated_dof(4) == 4.0
    assert absolute("u", 0.1, -20.0, relative=True) == pytest.approx(2.0)
    assert absolute("u", 0.1, -20.0, relative=False) == 0.1


@pytest.mark.parametrize("found", [0, -3, math.nan, -math.inf, "many", True])
def test_bad_dof(found):
    with pytest.raises(ValueError, match="^dof: found .*; accepted: degrees of freedom above 0, or infinity$"):
        stated_dof(found)


def test_dof_and_reliability_exclude_each_other():
    with pytest.raises(ValueError, match=r"^reliability: found 0.2; accepted: nothing beside dof = 5"):
        stated_dof(5, 0.2)


@pytest.mark.parametrize("found", [0, 1, 1.5, -0.2])
def test_bad_reliability(found):
    with pytest.raises(ValueError, match="^reliability: found .*; accepted: a number between 0 and 1"):
        stated_dof(math.inf, found)


def test_relative_to_nothing():
    with pytest.raises(ValueError, match=r"^value: found 0.0; accepted: another value than 0 where u is relative"):
        absolute("u", 0.1, 0.0, relative=True)
