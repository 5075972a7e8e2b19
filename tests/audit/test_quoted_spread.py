"""Standard error from quoted figures: closed forms, and a random search of the rounded spreads (second implementation)."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.audit.quoted_samples import read_samples
from lossstats.audit.quoted_spread import error_of_interval, half_width, standard_errors
from lossstats.records.estimate import Interval, coverage_factor


def test_pairs():
    (error,) = standard_errors(read_samples(n=6, sd="0.25"))
    low, high = error.spans(lambda term: term.standard_uncertainty)
    assert (low, high) == pytest.approx((0.245 / math.sqrt(6), 0.255 / math.sqrt(6)))
    assert {term.degrees_of_freedom for term in error.terms} == {5}
    sd, sem = standard_errors(read_samples(n=6, sd="0.25", sem="0.10"))
    assert sem.spans(lambda term: term.standard_uncertainty) == pytest.approx((0.095, 0.105))
    assert (sd.kind, sem.kind) == ("sd", "sem")
    assert sd.source == "sd '0.25' and n = 6"
    assert standard_errors(read_samples(sd="0.25")) == standard_errors(read_samples(n=1, sd="0.25")) == []


@pytest.mark.parametrize(
    ("n", "sd"),
    [((3, 3), ("0.1", "0.3")), ((2, 6), ("0.1", "0.1")), ((4, 5), ("0.05", "0.25")), ((2, 2), ("0.0", "0.1"))],
)
def test_groups_hold_every_interval_that_the_rounded_spreads_allow(n, sd):
    """Welch's half width at 4000 random true spreads, by scipy's t, lies within and comes near both ends."""
    samples = read_samples(n=n, sd=sd, paired=False)
    (error,) = standard_errors(samples)
    low, high = error.spans(lambda term: coverage_factor(term, 0.95) * term.standard_uncertainty)
    rng = np.random.default_rng(3)
    s1, s2 = (rng.uniform(figure.low, figure.high, 4000) for figure in samples.sd)
    v1, v2 = s1**2 / n[0], s2**2 / n[1]
    dof = (v1 + v2) ** 2 / (v1**2 / (n[0] - 1) + v2**2 / (n[1] - 1))
    half = stats.t.ppf(0.975, dof) * np.sqrt(v1 + v2)
    assert low <= half.min() * 1.0005  # 25 points on an edge: the least in between is missed by less than this
    assert half.max() <= high * 1.0005
    assert half.min() - low < 0.1 * (high - low)
    assert high - half.max() < 0.1 * (high - low)


def test_interval():
    samples = read_samples(n=6, interval="0.30 to 0.70 W")
    assert half_width(samples) == pytest.approx(Interval(0.195, 0.205))
    (error,) = error_of_interval(samples)
    low, high = error.spans(lambda term: term.standard_uncertainty)
    assert (low, high) == pytest.approx((0.195 / stats.t.ppf(0.975, 5), 0.205 / stats.t.ppf(0.975, 5)))
    (open_n,) = error_of_interval(read_samples(interval="0.30 to 0.70 W"))
    assert open_n.source == "the interval, whatever n"
    assert {term.degrees_of_freedom for term in open_n.terms} >= {1, 10, math.inf}
    (welch,) = error_of_interval(read_samples(n=(3, 5), interval="0.30 to 0.70 W", paired=False))
    dof = [term.degrees_of_freedom for term in welch.terms]
    assert (min(dof), max(dof)) == pytest.approx((2, 6))
    assert error_of_interval(read_samples()) == error_of_interval(read_samples(interval="3 to 7 %")) == []
    with pytest.raises(ValueError, match="interval: found none; accepted: two ends"):
        half_width(read_samples())
