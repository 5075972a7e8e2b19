"""A nested table: units numbered within the unit above, and refusals that name the place."""

import math

import numpy as np
import pandas as pd
import pytest

from lossstats.components.nested_table import read_nested_table

TABLE = {"article": ["K01", "K01", "K02", "K02"], "mount": [1, 2, 1, 1], "value": [6.1, 6.3, 5.9, 5.8]}


def test_a_label_counts_within_the_unit_above():
    nested = read_nested_table(TABLE, ["article", "mount"])
    assert nested.names == (("K01", "K02"), ("K01/1", "K01/2", "K02/1"))
    assert [code.tolist() for code in nested.codes] == [[0, 0, 1, 1], [0, 1, 2, 2]]
    assert [parent.tolist() for parent in nested.parents] == [[0, 0], [0, 0, 1], [0, 1, 2, 2]]


def test_a_data_frame_and_whole_numbers_read_as_floats():
    frame = pd.DataFrame({**TABLE, "mount": [1.0, 2.0, 1.0, 1.0]}, index=[7, 7, 8, 8])
    nested = read_nested_table(frame, ["article", "mount"])
    assert nested.names[1] == ("K01/1", "K01/2", "K02/1") and nested.values.tolist() == TABLE["value"]


def test_slashes_in_names_do_not_merge_units():
    nested = read_nested_table({"a": ["x/y", "x", "x"], "b": ["z", "y/z", "z"], "value": [1, 2, 3]}, ["a", "b"])
    assert [code.tolist() for code in nested.codes] == [[0, 1, 1], [0, 1, 2]]


@pytest.mark.parametrize("label", ["", "  ", None, math.nan, pd.NA, pd.NaT])
def test_empty_labels(label):
    table = {**TABLE, "article": ["K01", label, "K02", "K02"]}
    with pytest.raises(ValueError, match="table, row 2, column 'article': found an empty label; accepted: a name"):
        read_nested_table(table, ["article"])


@pytest.mark.parametrize("value", [math.nan, math.inf, "6.1", None, True, pd.NA])
def test_values_that_are_no_finite_numbers(value):
    table = {**TABLE, "value": [6.1, 6.3, value, 5.8]}
    with pytest.raises(ValueError, match="table, row 3, column 'value': found .*; accepted: a finite number"):
        read_nested_table(table, ["article"])


def test_columns_that_are_missing_double_or_unequal():
    with pytest.raises(ValueError, match="found no column 'bench'; accepted: one each; the table has article, mount"):
        read_nested_table(TABLE, ["bench"])
    with pytest.raises(ValueError, match="found no column 'loss_W'"):
        read_nested_table(TABLE, ["article"], value="loss_W")
    double = pd.DataFrame(np.ones((2, 3)), columns=["article", "article", "value"])
    with pytest.raises(ValueError, match="found 2 columns 'article'"):
        read_nested_table(double, ["article"])
    with pytest.raises(ValueError, match="found columns of article 3, value 4 entries; accepted: equally many"):
        read_nested_table({**TABLE, "article": ["K01"] * 3}, ["article"])
    with pytest.raises(ValueError, match="found no row"):
        read_nested_table({"article": [], "value": []}, ["article"])


def test_levels_and_tables_that_are_none():
    with pytest.raises(TypeError, match="levels: found the text 'article'; accepted: a list"):
        read_nested_table(TABLE, "article")
    for levels in ([], ["a", "b", "c", "d"]):
        with pytest.raises(ValueError, match="levels: found .*; accepted: one to 3 names of columns"):
            read_nested_table(TABLE, levels)
    for levels in (["article", "article"], ["value"], ["residual"]):
        with pytest.raises(ValueError, match="levels: found .*; accepted: names that differ"):
            read_nested_table(TABLE, levels)
    with pytest.raises(TypeError, match="table: found list; accepted: a pandas.DataFrame or a mapping"):
        read_nested_table([1.0, 2.0], ["article"])
