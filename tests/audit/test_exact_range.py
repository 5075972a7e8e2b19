"""Exact ranges against a linear-programming library, and by hand where ends only touch."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import linprog

from lossstats.audit.exact_range import Limit, exact_range, make_range

F = Fraction


def limits_of(rows, bounds, *, strict=False):
    return [Limit(tuple(map(F, row)), F(bound), strict) for row, bound in zip(rows, bounds, strict=True)]


def test_against_linear_programming():
    rng = np.random.default_rng(7)
    seen = {"empty": 0, "open": 0, "closed": 0}
    for _ in range(120):
        rows, bounds = rng.integers(-5, 6, (7, 3)), rng.integers(-6, 12, 7)
        form = rng.integers(-3, 4, 3)
        found = exact_range(limits_of(rows.tolist(), bounds.tolist()), tuple(map(F, form.tolist())))
        ends = [linprog(s * form, A_ub=rows, b_ub=bounds, bounds=(None, None), method="highs") for s in (1, -1)]
        feasible = linprog(np.zeros(3), A_ub=rows, b_ub=bounds, bounds=(None, None), method="highs").status == 0
        assert (found is not None) == feasible
        if found is None:
            seen["empty"] += 1
            continue
        for end, sign, ours in zip(ends, (1, -1), (found.low, found.high), strict=True):
            if end.status == 0:
                seen["closed"] += 1
                assert ours == pytest.approx(sign * end.fun, abs=1e-6)
            else:
                seen["open"] += 1
                assert ours == -sign * np.inf
    assert min(seen.values()) > 10, seen


def test_ends_that_only_touch_are_neither_lost_nor_gained():
    # x >= 1/3 and x <= 1/3: one point; with a strict limit none.
    rows, bounds = [[3], [-3]], [1, -1]
    found = exact_range(limits_of(rows, bounds), (F(1),))
    assert found.ends == (F(1, 3), F(1, 3))
    assert exact_range(limits_of(rows, bounds, strict=True), (F(1),)) is None
    # 0.1 + 0.2 is 0.3 here, and not in binary floating point.
    tenths = [Limit((F(1), F(0)), F("0.1")), Limit((F(0), F(1)), F("0.2")), Limit((F(-1), F(-1)), F("-0.3"))]
    assert exact_range(tenths, (F(1), F(1))).ends == (F("0.3"), F("0.3"))


def test_a_limit_that_never_holds_empties_the_range():
    assert exact_range([Limit((F(0),), F(-1))], (F(1),)) is None
    assert exact_range([Limit((F(0),), F(0), strict=True)], (F(1),)) is None
    assert exact_range([Limit((F(0),), F(0))], (F(1),)).ends == (None, None)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (None, None, "any value in W"), (F(2), None, "at least 2.00 W"), (None, F(310, 41), "at most 7.56 W"),
        (F(1, 3), F(1, 3), "0.3333 W"), (F(-1), F(20), "−1 to 20 W"), (F(15, 2), F(310, 41), "7.500 to 7.561 W"),
    ],
)  # fmt: skip
def test_words(low, high, words):
    assert make_range(low, high).words("W") == words


def test_fractions_are_kept_as_text():
    found = make_range(F(15, 2), F(310, 41))
    assert (found.exact_low, found.exact_high) == ("15/2", "310/41")
    assert make_range(None, None).exact_low == ""
