"""What may enter a comparison, and what may not."""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from lossstats.one_run.levels import series_level
from lossstats.records.units import order_of, same_units, unit_values

NAMED = {"K01": 6.1, "K02": 6.4, "K03": 5.9}


@pytest.mark.parametrize(
    "values",
    [[6.1, 6.4, 5.9], (6.1, 6.4, 5.9), np.array([6.1, 6.4, 5.9]), NAMED, pd.Series(NAMED), pd.Series([6.1, 6.4, 5.9])],
    ids=["list", "tuple", "array", "mapping", "named series", "series"],
)
def test_one_value_a_unit_is_taken_as_it_is(values):
    assert unit_values("before", values).tolist() == [6.1, 6.4, 5.9]


def test_thirty_values_need_no_names_and_more_do():
    assert len(unit_values("before", range(30))) == 30
    assert len(unit_values("before", {f"K{i}": float(i) for i in range(31)})) == 31
    with pytest.raises(ValueError, match=r"before: found 31 values without names; accepted: at most 30, or a mapping"):
        unit_values("before", range(31))


@pytest.mark.parametrize(
    ("values", "error", "text"),
    [
        ([6.1], ValueError, r"before: found 1 value\(s\); accepted: at least 2, one a unit of replication"),
        ([6.1, math.nan], ValueError, "before: found nan at position 2; accepted: finite numbers"),
        ([math.inf, 6.1], ValueError, "before: found inf at position 1"),
        (np.ones((2, 2)), TypeError, "before: found a series of values within the values; accepted: one value a unit"),
        ([[6.1, 6.2], [6.3, 6.4]], TypeError, "samples of one run, and runs of one article, are not replicates"),
        ([SimpleNamespace(time_s=[0.0])] * 3, TypeError, "before: found SimpleNamespace objects; accepted: one number"),
        ([series_level(6 + 0.1 * np.sin(np.arange(40)))] * 3, TypeError, "before: found Level objects; accepted: one"),
    ],
)
def test_what_is_no_value_of_a_unit_is_refused(values, error, text):
    with pytest.raises(error, match=text):
        unit_values("before", values)


def test_fewer_units_where_the_caller_takes_fewer():
    assert unit_values("before", [6.1], at_least=1).tolist() == [6.1]


def test_some_units_by_name_or_by_bool():
    assert order_of(NAMED, ["K03", "K01"]).tolist() == [True, False, True]
    assert order_of(pd.Series(NAMED), {"K02"}).tolist() == [False, True, False]
    assert order_of([6.1, 6.4, 5.9], [True, False, True]).tolist() == [True, False, True]
    assert order_of(NAMED, [False, True, False]).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("units", "chosen", "text"),
    [
        (NAMED, ["K04"], "after_first: found 'K04'; accepted: names among K01, K02, K03"),
        (NAMED, [True, False], "after_first: found 2 entries; accepted: 3 bools, one a unit"),
        ([6.1, 6.4], [True], "after_first: found 1 entries; accepted: 2 bools, one a unit"),
    ],
)
def test_units_that_are_not_there_are_refused(units, chosen, text):
    with pytest.raises(ValueError, match=text):
        order_of(units, chosen)


def test_the_same_units_in_the_same_order_pass():
    same_units(NAMED, dict(NAMED))
    same_units(NAMED, [1.0, 2.0, 3.0])
    same_units([1.0, 2.0], (3.0, 4.0))


@pytest.mark.parametrize(
    ("after", "text"),
    [
        ({"K01": 1.0, "K02": 2.0, "K04": 3.0}, r"before, after: found unit\(s\) in one condition only: K03, K04; acc"),
        ({"K02": 1.0, "K01": 2.0, "K03": 3.0}, "found the units in different order; accepted: the same order in both"),
        ([1.0, 2.0], "found 3 and 2 values; accepted: as many in both"),
    ],
)
def test_other_units_or_another_order_are_refused(after, text):
    with pytest.raises(ValueError, match=text):
        same_units(NAMED, after)
