"""The quick check refuses what the slow one refuses, in its words."""

import math

import numpy as np
import pandas as pd
import pytest

from lossstats.exact_tests.checked_units import checked_units
from lossstats.records.units import unit_values

GOOD = [[1.0, 2.0], np.array([1.0, 2, 3]), {"a": 1, "b": 2.5}, {f"K{i}": float(i) for i in range(40)}, (1.0, 2.0), pd.Series([1.0, 2.0]), [1, np.float32(2)]]  # fmt: skip
BAD = [
    [1.0],
    [1.0, math.nan],
    np.ones((2, 2)),
    list(range(40)),
    np.ones(40),
    {"a": 1.0},
    [[1.0, 2.0], [3.0, 4.0]],
    np.array([]),
    [True, 2.0],
    np.ma.array([1.0, 2.0, 3.0], mask=[False, True, False]),
    pd.Series([1.0, 2.0, 3.0], index=list("aab")),
    {1.0, 2.0},
]


@pytest.mark.parametrize("values", GOOD, ids=range(len(GOOD)))
def test_the_same_values(values):
    assert checked_units("a", values).tolist() == unit_values("a", values).tolist()
    assert checked_units("a", values).dtype == np.float64


@pytest.mark.parametrize("values", BAD, ids=range(len(BAD)))
def test_the_same_words(values):
    with pytest.raises((TypeError, ValueError)) as slow:
        unit_values("a", values)
    with pytest.raises(type(slow.value)) as quick:
        checked_units("a", values)
    assert str(quick.value) == str(slow.value)


def test_the_array_is_a_copy():
    mine = np.array([1.0, 2.0])
    assert checked_units("a", mine) is not mine
