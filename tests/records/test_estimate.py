"""Combination of contributions, floors, and the interval of an estimate."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.records.estimate import (
    Spread,
    Term,
    combine,
    coverage_factor,
    equivalence_p,
    make_estimate,
    two_sided_p,
    wider_scatter,
)


def test_combination_is_jcgm_100():
    terms = [Term(0.03, 4), Term(0.01, 9), Term(0.02)]
    u = math.sqrt(0.03**2 + 0.01**2 + 0.02**2)
    assert combine(terms) == pytest.approx((u, u**4 / (0.03**4 / 4 + 0.01**4 / 9)))
    assert combine([Term(0.02)]).degrees_of_freedom == math.inf
    assert combine([Term(1e-100, 3), Term(1e-100, 3)]).degrees_of_freedom == pytest.approx(6)  # no underflow
    assert combine([]) == (0.0, math.inf)


def test_p_is_dual_to_the_interval():
    spread = Spread(Term(0.1, 5), floor=0.02, shared={"gain": Term(0.05, 12)})
    p = two_sided_p(0.31, spread)
    ends = make_estimate(0.31, spread, 1 - p, unit="W")
    assert ends.low == pytest.approx(0, abs=1e-9)


def spreads(number, rng):
    """Scatter, floor and a shared term of every relative size and few or many degrees of freedom."""
    for _ in range(number):
        scatter, floor, shared = (
            float(rng.choice([0, 0.01, 0.05, 0.1, 0.3]) * rng.uniform(0.5, 1.5)) for _ in range(3)
        )
        dof = float(rng.choice([1, 2, 4, 9, 30, math.inf]))
        terms = {"drift": Term(shared, float(rng.choice([2, 5, math.inf])))} if rng.random() < 0.7 else {}
        yield Spread(Term(scatter, dof), floor, terms)


def test_p_and_interval_say_the_same():
    """The definition: below 1 - c where the interval of c leaves 0 out, below half of it where it lies within."""
    rng = np.random.default_rng(1)
    late = 0
    for spread in spreads(800, rng):
        value, matters = rng.normal(0, 0.5), abs(rng.normal(0, 0.6)) + 1e-3
        p, p_within = two_sided_p(value, spread), equivalence_p(value, matters, spread)
        for confidence in (0.5, 0.8, 0.9, 0.95, 0.99, 0.999):
            ends = make_estimate(value, spread, confidence, unit="W")
            for told, shown in (
                (p < 1 - confidence, ends.low > 0 or ends.high < 0),
                (p_within < (1 - confidence) / 2, ends.low > -matters and ends.high < matters),
            ):
                assert shown or not told
                late += shown and not told
    # Beside a shared term of few degrees of freedom an interval of more confidence can be the shorter one, where it is
    # the first to take scatter for the floor: there p goes with the longer one.
    assert late <= 15


def test_a_shared_term_of_few_degrees_of_freedom_leaves_p_with_its_interval():
    spread = Spread(Term(0.04, 4), 0.0, {"drift": Term(0.11, 2)})
    u, dof = combine([Term(0.04, 4), Term(0.11, 2)])
    assert two_sided_p(0.45, spread) == pytest.approx(2 * stats.t.sf(0.45 / u, dof), rel=1e-12)


def test_without_any_uncertainty():
    certain = Spread(Term(0.0, 3))
    assert two_sided_p(0.0, certain) == 1.0
    assert two_sided_p(0.1, certain) < 1e-300
    assert equivalence_p(0.1, 0.2, certain) < 1e-300
    assert equivalence_p(0.3, 0.2, certain) == 1.0


def test_p_is_never_zero():
    assert two_sided_p(1e6, Spread(Term(1e-3, 50))) > 0


def test_the_wider_of_scatter_and_floor():
    narrow = Spread(Term(0.01, 5), floor=0.05)
    assert narrow.units(0.95) == Term(0.05)
    assert narrow.components(0.95) == {"readings": 0.05}
    wide = Spread(Term(0.05, 2), floor=0.07)  # t of 2 degrees of freedom makes the scatter the wider one
    assert wide.units(0.95) == Term(0.05, 2)
    assert wide.units(0.5) == Term(0.07)


def test_percent_is_the_log_scale_seen_from_outside():
    e = make_estimate(math.log(0.9), Spread(Term(0.02, 7)), 0.95, unit="%", kind="saved share")
    t = stats.t.ppf(0.975, 7)
    assert e.value == pytest.approx(10)
    assert e.low == pytest.approx(100 * (1 - 0.9 * math.exp(t * 0.02)))
    assert e.high == pytest.approx(100 * (1 - 0.9 * math.exp(-t * 0.02)))
    assert e.standard_uncertainty == pytest.approx(100 * 0.9 * 0.02)
    gain = make_estimate(math.log(1.1), Spread(Term(0.02, 7)), 0.95, unit="%", kind="gained share")
    assert gain.value == pytest.approx(10)
    assert gain.low < gain.value < gain.high


def test_coverage_factor_takes_fractions():
    assert coverage_factor(Term(1, 3.7), 0.95) == pytest.approx(stats.t.ppf(0.975, 3.7))
    assert coverage_factor(Term(1), 0.95) == pytest.approx(1.959963984540054)


def test_more_units_do_not_shrink_what_is_shared():
    spread = wider_scatter(Spread(Term(0.1, 5), 0.02, {"drift": Term(0.05)}), 0.5, 2)
    assert spread == Spread(Term(0.05, 10), 0.01, {"drift": Term(0.05)})


def test_renderings():
    e = make_estimate(0.4251, Spread(Term(0.0512, 5)), 0.95, unit="W")
    assert "95 % interval         0.293 to 0.557 W" in str(e)
    assert e.to_dict()["components"] == {"scatter": 0.0512}
    assert "<table>" in e._repr_html_()
