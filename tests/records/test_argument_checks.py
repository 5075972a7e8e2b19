"""Checks of numbers that a user states: the text says argument, found, accepted."""

import math

import numpy as np
import pytest

from lossstats.records.argument_checks import (
    above_zero,
    finite_number,
    not_negative,
    open_share,
    readings_of,
    refuse,
    seed_of,
    whole_number,
)


def test_refuse_says_argument_found_and_accepted():
    with pytest.raises(ValueError, match=r"^k: found -1; accepted: a number above 0$"):
        refuse("k", -1, "a number above 0")


@pytest.mark.parametrize("found", [math.nan, math.inf, "3", True, None, [1.0, 2.0]])
def test_not_a_finite_number(found):
    with pytest.raises(ValueError, match="^value: found .*; accepted: a finite number$"):
        finite_number("value", found)


def test_plain_floats_come_back():
    assert type(finite_number("value", np.float64(2.5))) is float
    assert finite_number("value", 3) == 3.0


@pytest.mark.parametrize(
    ("check", "found", "accepted"),
    [
        (not_negative, -1e-9, "a finite number of at least 0"),
        (above_zero, 0, "a finite number above 0"),
        (open_share, 0.0, "a number between 0 and 1, both excluded"),
        (open_share, 1.0, "a number between 0 and 1, both excluded"),
    ],
    ids=["not negative", "above 0", "share of 0", "share of 1"],
)
def test_out_of_range(check, found, accepted):
    with pytest.raises(ValueError, match=f"^x: found {float(found)!r}; accepted: {accepted}$"):
        check("x", found)


@pytest.mark.parametrize("check", [not_negative, above_zero, open_share], ids=["not negative", "above 0", "share"])
def test_a_number_that_is_none_is_told_the_whole_rule(check):
    with pytest.raises(ValueError, match="^x: found nan; accepted: a .*number (of|above|between)"):
        check("x", math.nan)


@pytest.mark.parametrize("found", [1, 2.5, math.nan, math.inf, "3", True, None])
def test_not_a_whole_number_of_at_least_2(found):
    with pytest.raises(ValueError, match="^n: found .*; accepted: a whole number of at least 2$"):
        whole_number("n", found, 2)


def test_whole_numbers_come_back_as_int():
    assert [type(whole_number("n", found, 2)) for found in (2, 3.0, np.int64(4), np.float64(5))] == [int] * 4


@pytest.mark.parametrize("found", [-1, 1.5, math.inf, "1", None, True])
def test_not_a_seed(found):
    with pytest.raises(ValueError, match="^rng: found .*; accepted: a Generator, or a whole number of at least 0"):
        seed_of(found)


def test_a_generator_is_asked_for_a_seed_once():
    assert (seed_of(7), seed_of(np.int64(7))) == (7, 7)
    first, second = np.random.default_rng(3), np.random.default_rng(3)
    assert seed_of(first) == int(second.integers(2**63))
    assert first.bit_generator.state == second.bit_generator.state


def test_edges_that_pass():
    assert not_negative("x", 0) == 0.0


def test_too_few_readings_and_where_a_bad_one_stands():
    with pytest.raises(ValueError, match=r"^values: found \[3.0\]; accepted: at least 2 readings"):
        readings_of("values", [3.0])
    with pytest.raises(ValueError, match=r"^values\[1\]: found nan; accepted: a finite number"):
        readings_of("values", [3.0, math.nan])
    with pytest.raises(ValueError, match="^values: found 7; accepted: at least 2 readings"):
        readings_of("values", 7)
