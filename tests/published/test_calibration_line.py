"""Calibration lines against published values; the source stands beside each."""

import numpy as np
import pytest

from lossstats.bench.calibration_line import calibrate_line

# JCGM 100:2008, H.3, tables H.5 and H.6: correction b of a thermometer at t (from memory, recomputed).
T = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.01, 26.511])
B = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.16])


def test_thermometer():
    line = calibrate_line(T - 20, B, unit="°C", load_unit="°C")
    assert line.intercept == pytest.approx(-0.1712, abs=0.5e-4)
    assert line.u_intercept == pytest.approx(0.0029, abs=0.5e-4)
    assert line.slope == pytest.approx(0.00218, abs=0.5e-5)
    assert line.u_slope == pytest.approx(0.00067, abs=0.5e-5)
    assert line.correlation == pytest.approx(-0.930, abs=0.5e-3)
    assert line.residual_sd == pytest.approx(0.0035, abs=0.5e-4)
    at_30 = line.predict(10.0, extrapolate=True)
    assert at_30.value == pytest.approx(-0.1494, abs=0.5e-4)
    assert at_30.standard_uncertainty == pytest.approx(0.0041, abs=0.5e-4)
    assert at_30.degrees_of_freedom == 9


def test_thermometer_without_correlation():
    """H.3.5: counted from the mean temperature the correlation vanishes, and b(30 °C) stays what it is."""
    about_20, about_mean = calibrate_line(T - 20, B), calibrate_line(T - T.mean(), B)
    assert about_mean.correlation == pytest.approx(0, abs=1e-9)
    first = about_20.predict(10.0, extrapolate=True)
    second = about_mean.predict(30 - T.mean(), extrapolate=True)
    assert second.value == pytest.approx(first.value, rel=1e-10)
    assert second.standard_uncertainty == pytest.approx(first.standard_uncertainty, rel=1e-10)


# NIST Statistical Reference Datasets, Norris: ozone monitors against a standard; (indication, standard) and certified
# values.
NORRIS = np.array([
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5), (668.5, 666.3),
    (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4), (0.1, 0.6), (778.1, 775.5),
    (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1), (998.0, 995.8),
    (888.8, 887.6), (119.6, 120.2), (0.3, 0.3), (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2),
    (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9),
    (0.2, 0.5),
])  # fmt: skip


def test_norris_to_twelve_digits():
    line = calibrate_line(NORRIS[:, 1], NORRIS[:, 0])
    certified = {
        "intercept": -0.262323073774029,
        "u_intercept": 0.232818234301152,
        "slope": 1.00211681802045,
        "u_slope": 0.429796848199937e-3,
    }
    for name, value in certified.items():
        assert getattr(line, name) == pytest.approx(value, rel=1e-12), name
    assert line.residual_sd**2 * 34 == pytest.approx(26.6173985294224, rel=1e-12)
    assert (line.degrees_of_freedom, line.readings) == (34, 36)
