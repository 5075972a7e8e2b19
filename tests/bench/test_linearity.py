"""Lack of fit against nested models fitted by a general library; verdicts against a tolerance."""

import numpy as np
import pytest
import statsmodels.api as sm

from lossstats.bench.linearity import Departure, judge_fit, judge_linearity, place_of
from lossstats.records.estimate import Interval

LOADS = np.repeat([0.0, 2.0, 5.0, 9.0], [2, 3, 2, 4])


def residuals_of(y):
    return sm.OLS(y, sm.add_constant(LOADS)).fit().resid


def test_lack_of_fit_is_the_f_test_of_nested_models():
    y = 0.1 + LOADS + 0.002 * LOADS**2 + np.random.default_rng(1).normal(0, 0.02, len(LOADS))
    fit, departures, why = judge_fit(LOADS, residuals_of(y), 0.95)
    groups = sm.OLS(y, np.equal.outer(LOADS, np.unique(LOADS)).astype(float)).fit()
    f, p, extra = groups.compare_f_test(sm.OLS(y, sm.add_constant(LOADS)).fit())
    assert fit.f == pytest.approx(f, rel=1e-8)
    assert fit.p_value == pytest.approx(p, rel=1e-8)
    assert fit.dof == (int(extra), len(LOADS) - 4)
    assert fit.repeat_sd == pytest.approx(np.sqrt(groups.mse_resid), rel=1e-9)
    assert why == ""
    assert [one.load for one in departures] == [0, 2, 5, 9]


def test_departures_of_all_loads_together_cover_the_truth():
    """Coverage by simulation: the four true departures are 0, all at once, in at least 95 %."""
    rng, hits = np.random.default_rng(2), 0
    hat = sm.add_constant(LOADS) @ np.linalg.pinv(sm.add_constant(LOADS))
    for _ in range(1000):
        y = rng.normal(0, 1, len(LOADS))
        departures = judge_fit(LOADS, y - hat @ y, 0.95)[1]
        hits += all(one.low <= 0 <= one.high for one in departures)
    assert 0.94 <= hits / 1000 <= 0.99  # Bonferroni errs on the wide side


def test_without_repeats_there_is_no_test():
    fit, departures, why = judge_fit(np.arange(5.0), np.array([1.0, -1, 0, 1, -1]), 0.95)
    assert (fit, departures) == (None, ())
    assert why.startswith("every load was applied once; apply each at least twice")


def test_repeats_without_scatter_give_no_test():
    y = LOADS**2
    assert (
        judge_fit(LOADS, residuals_of(y), 0.95)[2] == "repeats agree to the last digit; record finer than they scatter"
    )


@pytest.mark.parametrize(
    ("interval", "words"),
    [
        ((-0.3, 0.3), "within"),
        ((-0.31, 0.2), "undecided"),
        ((-0.5, -0.31), "outside"),
        ((0.31, 0.5), "outside"),
        ((-1, 1), "undecided"),
    ],
)
def test_the_whole_interval_decides(interval, words):
    assert place_of(Interval(*interval), 0.3) == words


def test_one_load_outside_is_enough_and_all_must_be_within():
    within, outside, open_ = Departure(0, 0, -0.1, 0.1), Departure(2, 1, 0.9, 1.1), Departure(5, 0.2, 0.0, 0.4)
    assert judge_linearity((within, outside, open_), 0.3) == "outside"
    assert judge_linearity((within, open_), 0.3) == "undecided"
    assert judge_linearity((within, within), 0.3) == "within"
    assert judge_linearity((), 0.3) == "undecided"
