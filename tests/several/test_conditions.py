"""Unit values of several conditions: what is taken, how blocks are seen, what is refused."""

import pandas as pd
import pytest

from lossstats.several.conditions import check_conditions

BLOCKS = {
    "A": {"K01": 6.1, "K02": 6.4, "K03": 6.9},
    "B": {"K03": 6.5, "K01": 5.9, "K02": 6.0},
    "C": {"K01": 6.2, "K02": 6.6, "K03": 7.0},
}
OTHERS = {"A": {"K01": 6.1, "K02": 6.4}, "B": {"K03": 6.5, "K04": 5.9}, "C": {"K05": 6.2, "K06": 6.6, "K07": 6.8}}
BARE = {"A": [6.1, 6.4], "B": [6.5, 5.9], "C": [6.2, 6.6]}


@pytest.mark.parametrize("blocks", [None, True])
def test_articles_in_every_condition_are_blocks_in_one_order(blocks):
    found = check_conditions(BLOCKS, blocks)
    assert found.blocks
    assert found.values["B"].tolist() == [5.9, 6.0, 6.5]
    assert found.n == {"A": 3, "B": 3, "C": 3}
    assert found.slices() == {"A": slice(0, 3), "B": slice(3, 6), "C": slice(6, 9)}


def test_series_have_names_where_they_have_an_index():
    assert check_conditions({name: pd.Series(values) for name, values in BLOCKS.items()}, None).blocks
    assert not check_conditions({name: pd.Series(values) for name, values in BARE.items()}, None).blocks


def test_other_articles_are_no_blocks():
    assert not check_conditions(OTHERS, None).blocks
    assert not check_conditions(OTHERS, False).blocks
    assert not check_conditions(BARE, None).blocks
    assert check_conditions(OTHERS, None).slices()["C"] == slice(4, 7)


def test_unnamed_values_are_blocks_where_said_so():
    assert check_conditions(BARE, True).blocks
    assert check_conditions(BARE, ["K01", "K02"]).blocks


@pytest.mark.parametrize(
    ("conditions", "blocks", "error", "match"),
    [
        ([[1, 2]], None, TypeError, "conditions: found list; accepted: a mapping {condition: unit values}"),
        ({"A": [1, 2], "B": [2, 3]}, None, ValueError, "conditions: found 2; accepted: three or more; for two use compare_pairs"),
        ({**BARE, "D": [6.0]}, None, ValueError, r"D: found 1 value\(s\); accepted: at least 2, one a unit"),
        ({**BARE, "D": [6.0, float("nan")]}, None, ValueError, "D: found nan at position 2; accepted: finite numbers"),
        ({**BARE, "D": [[6.0, 6.1], [6.0, 6.1]]}, None, TypeError, "D: found a series of values within the values"),
        ({**BLOCKS, "D": {"K01": 6.0, "K02": 6.1}}, True, ValueError, "blocks: found K03 in some conditions only; accepted: every article in every"),
        ({**BLOCKS, "D": {"K01": 6.0, "K02": 6.1}}, None, ValueError, "blocks: found K01 in more than one condition; accepted: every article in every condition, or other"),
        (BLOCKS, False, ValueError, "blocks: found K01 in more than one condition"),
        ({**BLOCKS, "D": [6.0, 6.1, 6.2]}, True, ValueError, "D: found values without names of articles; accepted: names in all"),
        ({**BARE, "D": [6.0, 6.1, 6.2]}, True, ValueError, "blocks: found A 2, B 2, C 2, D 3 values; accepted: as many in every condition"),
        (BARE, ["K01", "K01"], ValueError, "blocks: found an article twice; accepted: every article once"),
        (BARE, ["K01", "K02", "K03"], ValueError, "blocks: found 3 articles and 2 values of A; accepted: as many"),
        (BLOCKS, ["K01", "K02", "K03"], ValueError, "blocks: found names of articles in A as well; accepted: True, or unnamed"),
    ],
)  # fmt: skip
def test_what_is_refused(conditions, blocks, error, match):
    with pytest.raises(error, match=match):
        check_conditions(conditions, blocks)
