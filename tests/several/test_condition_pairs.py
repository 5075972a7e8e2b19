"""Two of several conditions: the same numbers as the comparison of two, and what is shared."""

import math

import numpy as np
import pytest

from lossstats.comparison.comparison import compare_groups, compare_pairs
from lossstats.comparison.saving import SharedCovariance
from lossstats.records.estimate import Spread, Term
from lossstats.several.condition_pairs import Request, Uncertain, family_of, make_pairs
from lossstats.several.conditions import check_conditions
from lossstats.several.simultaneous import AllPairs, AnyCorrelation, ManyToOne

VALUES = {"A": [6.5, 6.9, 6.4, 6.6], "B": [6.1, 6.0, 6.3, 5.9], "C": [6.6, 6.3, 6.6, 6.8]}


def request(control="A", shared=None, **changes):
    given = {
        "confidence": 0.95,
        "matters": None,
        "level_uncertainty": 0.0,
        "resolution": 0.0,
        "better": "lower",
        "unit": "W",
    }
    return Request(control=control, shared=shared or {}, **{**given, **changes})


@pytest.mark.parametrize(("blocks", "compare"), [(False, compare_groups), (True, compare_pairs)])
@pytest.mark.parametrize("better", ["lower", "higher"])
def test_a_pair_has_the_numbers_of_the_comparison_of_two(blocks, compare, better):
    shared = {"gain": 0.01, "zero": 0.05}
    [*_, pair] = make_pairs(check_conditions(VALUES, blocks), request(shared=shared, better=better))
    reference = compare(VALUES["A"], VALUES["C"], shared=shared, better=better)
    spread = pair.difference.spread.combined(0.95)
    assert (pair.first, pair.second) == ("A", "C")
    assert pair.difference.value == pytest.approx(reference.difference.value)
    assert spread.standard_uncertainty == pytest.approx(reference.difference.standard_uncertainty)
    assert spread.degrees_of_freedom == pytest.approx(reference.difference.degrees_of_freedom)
    sign = -1 if better == "lower" else 1
    assert 100 * sign * math.expm1(pair.log_ratio.value) == pytest.approx(reference.percent.value)


def test_all_pairs_or_the_control_with_each():
    checked = check_conditions(VALUES, None)
    assert [(p.first, p.second) for p in make_pairs(checked, request(None))] == [("A", "B"), ("A", "C"), ("B", "C")]
    assert [(p.first, p.second) for p in make_pairs(checked, request("C"))] == [("C", "A"), ("C", "B")]


def test_ratio_has_a_reason_where_it_has_no_meaning():
    shifted = {name: [x - 6.4 for x in values] for name, values in VALUES.items()}
    pairs = make_pairs(check_conditions(shifted, None), request())
    assert all(pair.log_ratio is None and "a ratio means nothing" in pair.why_no_ratio for pair in pairs)


def test_gain_is_common_and_drift_is_not():
    covariance = 0.01 * np.kron(np.eye(3), np.ones((4, 4)))  # each condition shifted as a whole: no scatter shows it
    pairs = make_pairs(
        check_conditions(VALUES, None), request(shared={"gain": 0.02, "drift": SharedCovariance(covariance, 8.0)})
    )
    part = pairs[0].difference
    assert part.common == Term(pytest.approx(0.02 * part.value), math.inf)
    assert part.spread.shared["drift"] == Term(pytest.approx(math.sqrt(0.02)), 8.0)
    assert part.separate.standard_uncertainty == pytest.approx(
        math.hypot(part.spread.scatter.standard_uncertainty, math.sqrt(0.02))
    )


def test_covariance_is_cut_to_the_two_conditions():
    shift = np.zeros((12, 12))
    shift[8:, 8:] = 0.04  # only C is shifted
    pairs = make_pairs(check_conditions(VALUES, None), request(None, shared={"drift": SharedCovariance(shift)}))
    assert [pair.difference.spread.shared.get("drift", Term(0.0)).standard_uncertainty for pair in pairs] == [
        0.0,
        pytest.approx(0.2),
        pytest.approx(0.2),
    ]
    with pytest.raises(
        ValueError, match=r"shared\['drift'\]: found a covariance of shape \(2, 2\); accepted: \(12, 12\)"
    ):
        make_pairs(check_conditions(VALUES, None), request(shared={"drift": SharedCovariance(np.eye(2))}))


def test_half_width_by_hand():
    part = Uncertain(1.0, Spread(Term(0.3, 5), 0.0, {"gain": Term(0.4)}), 0.95)
    assert part.half_width(3.0) == pytest.approx(math.hypot(3.0 * 0.3, 1.959964 * 0.4), rel=1e-6)


def test_family_by_design():
    checked = check_conditions(VALUES, None)
    parts = [pair.difference for pair in make_pairs(checked, request())]
    v = {name: np.var(values, ddof=1) / 4 for name, values in VALUES.items()}
    expected = [math.sqrt(v["A"] / (v["A"] + v[name])) for name in "BC"]
    family = family_of(checked, "A", parts)
    assert isinstance(family, ManyToOne) and family.loadings == pytest.approx(expected)
    assert family_of(checked, None, parts) == AllPairs(3)
    assert family_of(check_conditions(VALUES, True), "A", parts) == AnyCorrelation(2)


def test_zero_scatter_is_refused_and_a_floor_takes_its_place():
    flat = {**VALUES, "B": [6.2] * 4}
    with pytest.raises(
        ValueError,
        match="B: the units do not scatter at all: found a standard deviation of 0; accepted: give resolution=",
    ):
        make_pairs(check_conditions(flat, None), request())
    alike = {**VALUES, "B": [x - 0.3 for x in VALUES["A"]]}
    with pytest.raises(ValueError, match="A, B: the differences within articles do not scatter at all"):
        make_pairs(check_conditions(alike, True), request())
    pairs = make_pairs(check_conditions({k: [6.0] * 4 for k in "ABC"}, None), request(resolution=0.1))
    assert pairs[0].difference.by_readings
    assert pairs[0].difference.separate.standard_uncertainty == pytest.approx(0.1 * math.sqrt(2 / 12))
