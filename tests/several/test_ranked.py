"""Records of a ranking: tables, the leading comparison, and how they are shown."""

import json
import math

import pytest

from lossstats.records.rendering import plain
from lossstats.several.ranked import ControlRatio, Ranking
from lossstats.several.ranking import rank_conditions

VALUES = {"A": [6.5, 6.9, 6.4, 6.6], "B": [6.1, 6.0, 6.3, 5.9], "<C>": [6.6, 6.3, 6.6, 6.8]}


@pytest.fixture(scope="module")
def controlled():
    return rank_conditions(VALUES, control="A", matters=0.2)


def test_tables(controlled):
    assert list(controlled.pairs.columns) == ["first", "second", "difference", "low", "high", "p_adjusted", "verdict"]
    assert controlled.pairs["second"].tolist() == ["B", "<C>"]
    assert list(controlled.ratios.columns) == ["percent", "low", "high"]
    assert controlled.ratios.loc["B", "percent"] == pytest.approx(100 * 24.3 / 26.4)
    assert rank_conditions(VALUES).ratios.empty


def test_ratio_without_meaning_is_nan_in_the_table_and_says_why():
    shifted = rank_conditions({k: [x - 6.4 for x in v] for k, v in VALUES.items()}, control="A")
    assert shifted.ratios["percent"].isna().all()
    assert all("a ratio means nothing" in ratio.why_no_percent for ratio in shifted.control_ratios)
    assert "no percentage: " in str(ControlRatio("B", None, None, None, "of this"))


def test_leading_comparison(controlled):
    assert (controlled.leading.first, controlled.leading.second) == ("A", "B")
    worst = rank_conditions(VALUES, control="B")  # the control itself is the best
    assert worst.leading.second == worst.order[1]
    every = rank_conditions(VALUES)
    assert {every.leading.first, every.leading.second} == set(every.order[:2])


def test_shown(controlled):
    text = str(controlled)
    assert "means, best first" in text and "B against A" in text and "saves" in text
    assert "cannot be told apart" in text and "% of the control" in text
    assert "&lt;C&gt; against A" in controlled._repr_html_() and "<C>" not in controlled._repr_html_()
    assert str(controlled.leading).startswith("Difference of two conditions\n  B against A  0.53 (")


def test_every_number_goes_into_the_record(controlled):
    content = json.loads(json.dumps(plain(controlled)))
    assert content["order"] == list(controlled.order)
    assert content["comparisons"][0]["low"] == controlled.comparisons[0].low
    assert content["overall"]["p_value"] == controlled.overall_p
    assert all(isinstance(x, float) for x in controlled.means.values())


def test_overall_p_may_be_absent():
    flat = rank_conditions({"A": [6.0, 6.0, 6.0], "B": [6.1, 6.2, 6.0], "C": [6.0, 6.1, 6.1]}, resolution=0.1)
    assert isinstance(flat, Ranking) and flat.overall_p is None
    assert flat.why_no_overall == "A: found units that do not scatter at all"
    assert "do not scatter" in str(flat) and not math.isnan(flat.comparisons[0].p_adjusted)
