"""A calibration line against a general library, and what it refuses."""

import numpy as np
import pytest
import statsmodels.api as sm

from lossstats.bench.calibration_line import calibrate_line

LOADS = np.repeat([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], 3)


def readings(seed=1, sd=0.01, zero=0.02, slope=1.003, bend=0.0):
    noise = np.random.default_rng(seed).normal(0, sd, len(LOADS))
    return zero + slope * LOADS + bend * (LOADS - 5) ** 2 + noise


@pytest.mark.parametrize("offset", [0.0, 1e5])
def test_line_and_covariance_as_ordinary_least_squares(offset):
    x, y = LOADS + offset, readings()
    line = calibrate_line(x, y)
    fit = sm.OLS(y, sm.add_constant(LOADS)).fit()
    turn = np.array([[1.0, -offset], [0.0, 1.0]])  # the same line, its loads counted from elsewhere
    intercept, slope = turn @ fit.params
    covariance = turn @ fit.cov_params() @ turn.T
    assert (line.slope, line.intercept) == pytest.approx((slope, intercept), rel=1e-9)
    assert (line.u_intercept, line.u_slope) == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-9)
    assert line.covariance == pytest.approx(covariance[0, 1], rel=1e-9)
    assert (line.residual_sd, line.degrees_of_freedom) == (pytest.approx(np.sqrt(fit.mse_resid), rel=1e-9), 16)
    if not offset:
        assert (line.zero.low, line.zero.high) == pytest.approx(tuple(fit.conf_int()[0]), rel=1e-9)
        assert (line.sensitivity.low, line.sensitivity.high) == pytest.approx(tuple(fit.conf_int()[1]), rel=1e-9)


def test_zero_and_linearity_against_a_tolerance():
    good = calibrate_line(LOADS, readings(zero=0.0), tolerance=0.05)
    assert (good.zero_is, good.linearity_is) == ("within", "within")
    shifted = calibrate_line(LOADS, readings(zero=0.2), tolerance=0.05)
    assert (shifted.zero_is, shifted.linearity_is) == ("outside", "within")
    bent = calibrate_line(LOADS, readings(bend=0.01), tolerance=0.05)
    assert bent.linearity_is == "outside"
    assert bent.lack_of_fit.p_value < 1e-6
    assert "the loads leave the line by more than repeats scatter" in bent.notes[0]
    assert calibrate_line(LOADS, readings(), tolerance=0.001).linearity_is == "undecided"


def test_without_tolerance_there_is_no_verdict():
    line = calibrate_line(LOADS, readings())
    assert (line.tolerance, line.zero_is, line.linearity_is) == (None, None, None)


def test_a_zero_far_from_the_loads_is_noted():
    assert "the zero is extrapolated" in calibrate_line(LOADS + 1, readings()).notes[0]
    assert calibrate_line(LOADS, readings()).notes == ()


def test_the_fitted_readings_cannot_be_changed():
    line = calibrate_line(LOADS, readings())
    with pytest.raises(ValueError, match="read-only"):
        line.applied[0] = 1


@pytest.mark.parametrize(
    ("applied", "observed", "keys", "message"),
    [
        ([1, 2, 3], [1, 2], {}, r"applied, observed: found shapes \(3,\) and \(2,\); accepted: one indication a load"),
        ([[1, 2, 3]], [[1, 2, 3]], {}, r"found shapes \(1, 3\)"),
        ([1, 2, np.nan], [1, 2, 3], {}, "applied: found nan at place 3; accepted: finite numbers"),
        ([1, 2, 3], [1, np.inf, 3], {}, "observed: found inf at place 2; accepted: finite numbers"),
        ([5, 5, 5], [1, 2, 3], {}, "applied: found all loads equal; accepted: at least 3 different loads"),
        ([1, 1, 2, 2], [1, 2, 3, 4], {}, "applied: found 2 different loads in 4 readings; accepted: at least 3"),
        (
            [1, 2, 3],
            [2, 4, 6],
            {},
            "observed: found indications exactly on a line; accepted: readings with their scatter",
        ),
        ([1, 2, 3], [2, 4, 7], {"tolerance": 0}, "tolerance: found 0.0; accepted: a finite number above 0"),
        ([1, 2, 3], [2, 4, 7], {"u_applied": -1}, "u_applied: found -1.0; accepted: a finite number of at least 0"),
        ([1, 2, 3], [2, 4, 7], {"u_applied_scale": np.nan}, "u_applied_scale: found nan"),
        ([1, 2, 3], [2, 4, 7], {"u_applied_dof": 0}, "u_applied_dof: found 0; accepted: above 0"),
        ([1, 2, 3], [2, 4, 7], {"confidence": 95}, "confidence: found 95; accepted: a number between 0 and 1"),
    ],
)
def test_bad_input(applied, observed, keys, message):
    with pytest.raises(ValueError, match=message):
        calibrate_line(applied, observed, **keys)
