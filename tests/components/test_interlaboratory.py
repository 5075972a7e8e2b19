"""Repeatability and reproducibility: the standard's formulas by hand, who stands out, and what too few can tell."""

import numpy as np
import pandas as pd
import pytest

from lossstats.components.interlaboratory import repeatability

# Invented: eight benches, three values each; L02 reads high, L05 scatters.
VALUES = {
    "L01": [6.50, 6.53, 6.49], "L02": [7.40, 7.43, 7.38], "L03": [6.61, 6.58, 6.62], "L04": [6.41, 6.44, 6.43],
    "L05": [6.20, 6.95, 6.40], "L06": [6.55, 6.52, 6.57], "L07": [6.47, 6.50, 6.46], "L08": [6.58, 6.60, 6.55],
}  # fmt: skip


def table_of(values, by="laboratory"):
    rows = [(name, x) for name, xs in values.items() for x in xs]
    return pd.DataFrame(rows, columns=[by, "value"])


@pytest.fixture(scope="module")
def found():
    return repeatability(table_of(VALUES), unit="W")


def test_equal_numbers_by_hand(found):
    """Closed form: s_r pooled, s_L from the variance of the laboratory means."""
    y = np.array(list(VALUES.values()))
    s_r = np.sqrt(y.var(axis=1, ddof=1).mean())
    s_l = np.sqrt(y.mean(axis=1).var(ddof=1) - s_r**2 / 3)
    assert (found.s_r, found.s_L) == (pytest.approx(s_r), pytest.approx(s_l))
    assert found.s_R == pytest.approx(np.hypot(s_r, s_l)) and found.general_mean == pytest.approx(y.mean())
    assert found.degrees_of_freedom == (7, 16) and found.mean_number == pytest.approx(3)
    assert found.repeatability_limit == pytest.approx(2.8 * s_r)
    assert found.reproducibility_limit == pytest.approx(2.8 * np.hypot(s_r, s_l))


def test_unequal_numbers_by_hand():
    """Closed form of ISO 5725-2, 7.4.5 (from memory): weighted sum of squares, mean number of values."""
    values = {"A": [6.1, 6.2], "B": [6.9, 6.7, 6.8, 6.6], "C": [6.3], "D": [5.9, 6.1, 6.0]}
    found = repeatability(table_of(values))
    n = np.array([2, 4, 1, 3])
    means = np.array([np.mean(v) for v in values.values()])
    s_r2 = sum(sum((x - np.mean(v)) ** 2 for x in v) for v in values.values()) / (10 - 4)
    grand = n @ means / 10
    number = (10 - (n @ n) / 10) / 3
    s_l2 = (n @ (means - grand) ** 2 / 3 - s_r2) / number
    assert found.general_mean == pytest.approx(grand) and found.mean_number == pytest.approx(number)
    assert found.s_r**2 == pytest.approx(s_r2) and found.s_L**2 == pytest.approx(s_l2)
    assert any(note.startswith("unequal numbers") for note in found.notes)
    assert any(note.startswith("one value only: C") for note in found.notes)
    lab = found.laboratories[2]
    assert (lab.sd, lab.k, lab.k_mark, lab.k_limits) == (None, None, "", None) and "no k" in str(lab)
    assert len({lab.k_limits for lab in found.laboratories}) == 4  # lines by the laboratory's own number


def test_h_and_k_by_hand(found):
    y = np.array(list(VALUES.values()))
    means, sds = y.mean(axis=1), y.std(axis=1, ddof=1)
    assert [lab.h for lab in found.laboratories] == pytest.approx((means - means.mean()) / means.std(ddof=1))
    assert [lab.k for lab in found.laboratories] == pytest.approx(sds * np.sqrt(8) / np.sqrt(np.sum(sds**2)))
    assert found.h_limits == (pytest.approx(1.75, abs=0.005), pytest.approx(2.06, abs=0.005))
    assert found.laboratories[0].k_limits == (pytest.approx(1.67, abs=0.005), pytest.approx(1.96, abs=0.005))
    marks = {lab.name: (lab.h_mark, lab.k_mark) for lab in found.laboratories}
    assert marks["L02"] == ("**", "") and marks["L05"] == ("", "**")
    assert all(mark == ("", "") for name, mark in marks.items() if name not in {"L02", "L05"})


def test_outliers_are_flagged_and_nobody_is_left_out(found):
    marked = {test.name: test.suspects for test in found.tests if test.mark == "**"}
    assert marked == {"Cochran": ("L05",), "Grubbs, highest mean": ("L02",)}
    assert any("L02 stands out alone" in note for note in found.notes)
    assert len(found.laboratories) == 8
    without = found.without
    assert list(without.index) == ["nothing", "L05", "L02", "L05, L02"]
    assert without.loc["nothing", "s_r"] == found.s_r and without.loc["nothing", "laboratories"] == 8
    for left_out in ("L05", "L02", "L05, L02"):
        kept = {name: v for name, v in VALUES.items() if name not in left_out.split(", ")}
        again = repeatability(table_of(kept))
        expected = [len(kept), again.general_mean, again.s_r, again.s_L, again.s_R]
        assert without.loc[left_out].tolist() == pytest.approx(expected)


def test_a_straggler_has_one_star():
    values = {**VALUES, "L02": [6.83, 6.86, 6.81], "L05": [6.48, 6.50, 6.47]}
    found = repeatability(table_of(values))
    highest = next(test for test in found.tests if test.name == "Grubbs, highest mean")
    assert highest.mark == "*" and highest.words == "L02: straggler *" and 0.01 < highest.p_value < 0.05
    assert any(test.name == "Grubbs, two highest means" for test in found.tests)
    assert found.table.loc["L02", "tests"].startswith("Grubbs, highest mean *")


def test_two_that_hide_each_other():
    values = {**VALUES, "L05": [6.52, 6.50, 6.49], "L07": [7.45, 7.43, 7.40]}
    marks = {test.name: test.mark for test in repeatability(table_of(values)).tests}
    assert marks["Grubbs, highest mean"] != "**" and marks["Grubbs, two highest means"] == "**"


def test_intervals(found):
    for name in ("s_r", "s_L", "s_R"):
        low, high = found.interval(name)
        assert low < getattr(found, name) < high
        assert found.interval(name, 0.5).low > low
    assert found.interval("s_r").high < found.interval("s_R").high
    with pytest.raises(ValueError, match='name: found \'s\'; accepted: "s_r", "s_L" or "s_R"'):
        found.interval("s")


def test_laboratories_that_agree_too_well():
    values = {name: [6.4, 6.5, 6.6] if k % 2 else [6.41, 6.49, 6.61] for k, name in enumerate(VALUES)}
    found = repeatability(table_of(values))
    assert found.variance_between < 0 == found.s_L and found.s_R == found.s_r
    assert any("comes out below 0" in note and "taken as 0" in note for note in found.notes)
    assert "not distinguishable from 0, at most" in str(found)
    assert len(found.alternatives) == 1 and "left out" not in str(found)


@pytest.mark.parametrize("by", ["bench", "day", "operator"])
def test_by_bench_day_or_operator(by):
    few = {name: VALUES[name][:2] for name in ("L01", "L03", "L04")}
    found = repeatability(table_of(few, by), by=by, unit="W")
    assert found.table.index.name == by and f"s_r, within a {by}" in str(found)
    assert any(
        note.startswith("3 ") and "are few for s_L and s_R (2 degrees of freedom)" in note for note in found.notes
    )
    assert any("s_r rests on 3 degrees of freedom" in note for note in found.notes)
    assert any("no test of Grubbs of two means together: 3" in note for note in found.notes)


def test_two_laboratories_one_with_one_value():
    found = repeatability(table_of({"A": [6.1, 6.2], "B": [6.5]}))
    assert found.tests == () and found.h_limits is None
    assert all(lab.h is None and lab.k is None for lab in found.laboratories)
    assert any("no test of Cochran" in note for note in found.notes)
    assert any("no h and no test of Grubbs: 2 laboratories, three are the fewest" in note for note in found.notes)
    assert found.table[["h", "k"]].isna().all(axis=None)


def test_equal_means():
    found = repeatability(table_of({"A": [6.0, 6.2], "B": [6.0, 6.2], "C": [6.0, 6.2]}))
    assert any("the means of the laboratories are all the same" in note for note in found.notes)
    assert [lab.h for lab in found.laboratories] == [None] * 3


def test_too_few_left():
    """Three operators, two of them marked: nothing can be said without both, and the result says so."""
    values = {"A": [6.0, 6.0001, 6.0002], "B": [6.0, 6.0001, 6.0002], "C": [7.0, 9.0, 8.0]}
    found = repeatability(table_of(values))
    assert [a.left_out for a in found.alternatives] == [(), ("C",)]
    one = repeatability(table_of({"A": [6.0, 6.0], "B": [6.1, 6.1], "C": [6.2, 6.9]}))
    assert one.alternatives[0].left_out == ()


def test_renderings(found):
    text = str(found)
    assert text.startswith("Repeatability and reproducibility\n") and "L05: outlier **" in text
    assert "nobody; the rows above show" in text and "without L05, L02" in text
    assert "<th" in found._repr_html_() and "outlier **" in found._repr_html_()
    assert found.to_dict()["s_R"] == found.s_R and found.to_dict()["tests"][0]["suspects"] == ["L05"]
    assert "float64" not in repr(found)


def test_refusals():
    with pytest.raises(
        ValueError, match="found no column 'laboratory'; accepted: one each; the table has bench, value"
    ):
        repeatability(table_of(VALUES, "bench"))
    with pytest.raises(ValueError, match="found one laboratory only .L01."):
        repeatability(table_of({"L01": [1.0, 2.0]}))
    with pytest.raises(ValueError, match="a single value for each laboratory, so that laboratory cannot be separated"):
        repeatability(table_of({"A": [1.0], "B": [2.0]}))
    with pytest.raises(ValueError, match="row 2, column 'value': found nan"):
        repeatability(table_of({"A": [1.0, np.nan], "B": [2.0, 2.5]}))
    with pytest.raises(ValueError, match="row 3, column 'laboratory': found an empty label"):
        repeatability(table_of({"A": [1.0, 2.0], "": [2.0, 2.5]}))
    with pytest.raises(ValueError, match="do not differ at all within any laboratory"):
        repeatability(table_of({"A": [1.0, 1.0], "B": [2.0, 2.0]}))
