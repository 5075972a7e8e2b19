"""Readings corrected by a calibration line: closed forms, coverage with known truth, and words."""

import json
import math

import numpy as np
import pytest
import statsmodels.api as sm
from uncertainties import correlated_values, ufloat

from lossstats.bench.calibration_line import calibrate_line

LOADS = np.repeat([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], 3)


def readings(rng, slope=1.003):
    return 0.02 + slope * LOADS + np.random.default_rng(rng).normal(0, 0.01, len(LOADS))


@pytest.fixture(scope="module")
def line():
    return calibrate_line(LOADS, readings(1), u_applied=0.002, u_applied_scale=0.001, tolerance=0.05)


def test_prediction_as_a_general_library_has_it(line):
    fit = sm.OLS(line.observed, sm.add_constant(LOADS)).fit()
    found = line.predict(7.0)
    there = fit.get_prediction([1.0, 7.0])
    assert (found.value, found.standard_uncertainty) == pytest.approx((there.predicted_mean[0], there.se_mean[0]))
    assert (found.low, found.high) == pytest.approx(tuple(there.conf_int()[0]), rel=1e-9)


def test_correction_by_linear_propagation_of_correlated_numbers(line):
    matrix = [[line.u_intercept**2, line.covariance], [line.covariance, line.u_slope**2]]
    intercept, slope = correlated_values([line.intercept, line.slope], matrix)
    for repeats in (1, 4):
        expected = (ufloat(6.4, line.residual_sd / math.sqrt(repeats)) - intercept) / slope
        found = line.correct(6.4, readings=repeats)
        assert found.value == pytest.approx(expected.nominal_value, rel=1e-12)
        assert found.components["scatter"] == pytest.approx(expected.std_dev, rel=1e-9)


def test_what_the_loads_have_in_common_is_added(line):
    found = line.correct(6.4)
    parts = found.components
    assert parts["loads"] == 0.002
    assert parts["load scale"] == pytest.approx(0.001 * found.value, rel=1e-12)
    assert found.standard_uncertainty == pytest.approx(math.hypot(*parts.values()), rel=1e-12)
    # Welch-Satterthwaite with one term of finite degrees of freedom (JCGM 100, G.2b)
    assert found.degrees_of_freedom == pytest.approx(16 * (found.standard_uncertainty / parts["scatter"]) ** 4)
    assert calibrate_line(LOADS, readings(1)).correct(6.4).degrees_of_freedom == pytest.approx(16)


def test_corrected_readings_cover_the_true_load():
    """Coverage by simulation: the 95 % interval holds the true load of a new reading."""
    rng, hits, trials = np.random.default_rng(5), 0, 600
    for _ in range(trials):
        made = calibrate_line(LOADS, readings(rng))
        found = made.correct(0.02 + 1.003 * 7.3 + rng.normal(0, 0.01))
        hits += found.low <= 7.3 <= found.high
    assert hits / trials == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / trials))


def test_beyond_the_loads_only_on_request(line):
    with pytest.raises(
        ValueError, match="reading: found one at a load of 11.9.* W; accepted: within the calibrated loads, 0 to 10 W"
    ):
        line.correct(12.0)
    with pytest.raises(
        ValueError, match="applied: found one at a load of 11 W; accepted: within .* or extrapolate=True"
    ):
        line.predict(11.0)
    assert line.correct(12.0, extrapolate=True).standard_uncertainty > line.correct(6.4).standard_uncertainty
    assert line.correct(line.intercept - line.residual_sd).value < 0  # a zero reading scatters below the lowest load


@pytest.mark.parametrize(
    ("reading", "keys", "message"),
    [
        (math.nan, {}, "reading: found nan; accepted: a finite number"),
        (5.0, {"readings": 0}, "readings: found 0; accepted: a whole number of at least 1"),
        (5.0, {"readings": 1.5}, "readings: found 1.5; accepted: a whole number of at least 1"),
    ],
)
def test_readings_that_cannot_be(line, reading, keys, message):
    with pytest.raises(ValueError, match=message):
        line.correct(reading, **keys)


def test_a_slope_that_may_be_zero_corrects_nothing():
    flat = calibrate_line(LOADS, readings(3, slope=0.0))
    with pytest.raises(ValueError, match="slope: found an interval of .* which holds 0; accepted: a line whose slope"):
        flat.correct(0.02)


def test_statement_and_rows(line):
    assert f"At no load the bench reads {line.zero.value:.4f} W (95 % interval " in line.statement
    assert "): within, against ±0.05 W. The largest departure from the line is " in line.statement
    assert line.statement.endswith("which holds for all loads together): linearity within.")
    assert "tolerance           ±0.05 W: zero within, linearity within" in str(line)
    assert "lack of fit p = " in line._repr_html_()
    bare = calibrate_line(LOADS[::3], readings(1)[::3], unit="<N>")
    assert bare.statement.endswith("or the line cannot be told from scatter.")
    assert "&lt;N&gt;" in bare._repr_html_()


def test_dict_is_plain(line):
    record = json.loads(json.dumps(line.to_dict(), allow_nan=True))
    assert record["slope"] == line.slope and len(record["residuals"]) == 18
    assert repr(line).startswith("CalibrationLine(slope=") and "residuals=" not in repr(line)
