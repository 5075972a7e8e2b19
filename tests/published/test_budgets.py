"""Sources and budgets against the worked examples of JCGM 100, JCGM 101 and EA-4/02.

The documents themselves could not be read here. Inputs and printed results are from memory, recomputed: they agree
with each other to the digits printed, which is strong evidence but no independent reading. Where a printed figure is
not that of exact arithmetic, the line says so.
"""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.budgets.budget import propagate
from lossstats.budgets.input_quantity import stated_dof
from lossstats.budgets.source import Source
from lossstats.records.estimate import Term, coverage_factor

# JCGM 100:2008, 4.4.3, table 1: temperature in degrees Celsius.
TEMPERATURES = [96.9, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95,
                101.11, 101.2, 101.57, 101.84, 102.36, 102.72]  # fmt: skip
# JCGM 100:2008, H.2, table H.2: five simultaneous readings.
VOLTS, AMPERES = [5.007, 4.994, 5.005, 4.990, 4.999], [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_repeated_readings_4_4_3():
    source = Source.readings(TEMPERATURES, unit="°C")
    assert source.value == pytest.approx(100.145, abs=0.0005)
    assert source.standard_uncertainty == pytest.approx(0.33, abs=0.005)
    assert source.standard_uncertainty == pytest.approx(0.333, abs=0.0005)
    assert source.standard_uncertainty * math.sqrt(20) == pytest.approx(1.489, abs=0.0005)


@pytest.mark.parametrize(
    ("clause", "source", "printed", "half_a_digit"),
    [
        ("4.3.3", Source.expanded(240e-6, k=3, value=1000.000325), 80e-6, 0.5e-6),
        ("4.3.4", Source.expanded(129e-6, level=0.99, value=10.000742), 50e-6, 0.5e-6),
        ("4.3.5", Source.expanded(0.04, level=0.5, value=10.11), 0.06, 0.005),
        ("4.3.7, example 1", Source.rectangular(0.40e-6, value=16.52e-6), 0.23e-6, 0.005e-6),
        ("4.4.5", Source.rectangular(4.0, value=100.0), 2.3, 0.05),
        ("4.4.6", Source.triangular(4.0, value=100.0), 1.6, 0.05),
        ("F.2.2.1", Source.resolution(1.0), 0.29, 0.005),
    ],
    ids=lambda part: part if isinstance(part, str) else "",
)
def test_type_b_sources(clause, source, printed, half_a_digit):
    assert source.standard_uncertainty == pytest.approx(printed, abs=half_a_digit), clause


def test_fifty_fifty_is_1_48_half_widths_4_3_5():
    assert Source.expanded(1.0, level=0.5).standard_uncertainty == pytest.approx(1.48, abs=0.005)


@pytest.mark.parametrize(
    ("top", "u"), [(0.0, 0.408248290463863), (0.5, 0.45643546458763845), (1.0, 0.5773502691896257)]
)
def test_trapezoid_4_3_9(top, u):
    # Closed form, equation (9a): a^2 (1 + beta^2) / 6.
    assert Source.trapezoid(1.0, top=top).standard_uncertainty == pytest.approx(u, rel=1e-14)


def test_report_7_2_2():
    budget = propagate(
        lambda m: m, {"m": Source.normal(0.00035, value=100.02147, dof=9, unit="g")}, unit="g", output="m_S"
    )
    k, half = budget.expanded(0.95)
    assert k == pytest.approx(2.26, abs=0.005)
    assert half == pytest.approx(0.00079, abs=0.000005)
    assert "100.02147 g" in str(budget) and "0.00035 g" in str(budget) and "0.00079 g, k = 2.26, 95 %" in str(budget)


def test_uncertainty_of_a_standard_deviation_e_4_3():
    # Table E.1: relative standard deviation of s of n readings in percent. Taken as the reliability of u, it must
    # give back about n - 1 degrees of freedom; (G.3) is an approximation, and the percents are rounded.
    printed = {2: 76, 3: 52, 4: 42, 5: 36, 10: 24, 20: 16, 30: 13, 50: 10}
    for n, percent in printed.items():
        assert stated_dof(math.inf, percent / 100) == pytest.approx(n - 1, rel=0.14 if n == 2 else 0.08)


def test_reliability_of_a_quarter_is_eight_degrees_of_freedom_g_4_2():
    assert Source.rectangular(1.0, reliability=0.25).degrees_of_freedom == 8.0


def test_table_g_2():
    printed = {
        1: (12.71, 63.66), 2: (4.30, 9.92), 5: (2.57, 4.03), 8: (2.31, 3.36), 9: (2.26, 3.25), 10: (2.23, 3.17),
        16: (2.12, 2.92), 20: (2.09, 2.85), 50: (2.01, 2.68), 100: (1.984, 2.626),
    }  # fmt: skip
    for dof, (t95, t99) in printed.items():
        half_a_digit = 0.0005 if dof == 100 else 0.005
        assert coverage_factor(Term(1.0, dof), 0.95) == pytest.approx(t95, abs=half_a_digit)
        assert coverage_factor(Term(1.0, dof), 0.99) == pytest.approx(t99, abs=half_a_digit)


def test_product_of_three_g_4_1():
    inputs = {
        "x1": Source.normal(0.0025, value=4.0, dof=9, relative=True),
        "x2": Source.normal(0.0057, value=7.0, dof=4, relative=True),
        "x3": Source.normal(0.0082, value=0.3, dof=14, relative=True),
    }
    budget = propagate(lambda x1, x2, x3: x1 * x2 * x3, inputs)
    assert 100 * budget.standard_uncertainty / budget.value == pytest.approx(1.03, abs=0.005)
    assert budget.degrees_of_freedom == pytest.approx(19.0, abs=0.05)
    # Exact 18.9987: printed t95 belongs to 19, which truncation to 18 would miss.
    assert budget.expanded(0.95).k == pytest.approx(2.09, abs=0.005)
    assert 100 * budget.expanded(0.95).U / budget.value == pytest.approx(2.2, abs=0.05)


def end_gauge():
    """JCGM 100, H.1, in millimetres: length of an end gauge by comparison."""
    parts = {"repeatability": (5.8e-6, 24), "random": (3.9e-6, 5), "systematic": (6.7e-6, 8)}
    return {
        "l_s": Source.normal(25e-6, value=50.000623, dof=18),
        **{name: Source.normal(u, value=215e-6 if name == "repeatability" else 0.0, dof=dof) for name, (u, dof) in parts.items()},
        "alpha_s": Source.normal(1.2e-6, value=11.5e-6),
        "theta": Source.normal(0.41, value=-0.1),
        "dalpha": Source.normal(0.58e-6, dof=50),
        "dtheta": Source.normal(0.029, dof=2),
    }  # fmt: skip


def length(l_s, repeatability, random, systematic, alpha_s, theta, dalpha, dtheta):
    return l_s + repeatability + random + systematic - l_s * (dalpha * theta + alpha_s * dtheta)


def test_end_gauge_h_1():
    budget = propagate(length, end_gauge(), unit="mm", output="l", confidence=0.99)
    nm = 1e-6
    assert budget.value == pytest.approx(50.000838, abs=0.5 * nm)
    assert budget.standard_uncertainty == pytest.approx(32 * nm, abs=0.5 * nm)
    lines = {line.source: line.contribution / nm for line in budget.contributions}
    assert lines["l_s"] == pytest.approx(25, abs=0.1)
    assert math.hypot(*(lines[n] for n in ("repeatability", "random", "systematic"))) == pytest.approx(9.7, abs=0.1)
    assert lines["dalpha"] == pytest.approx(2.9, abs=0.1)
    assert lines["dtheta"] == pytest.approx(16.6, abs=0.1)  # exact 16.675; printed from rounded steps
    assert lines["alpha_s"] == lines["theta"] == 0.0
    assert math.floor(budget.degrees_of_freedom) == 16
    printed = budget.expanded(truncated=True)  # the printed figures are those of truncated degrees of freedom
    assert printed.k == pytest.approx(2.92, abs=0.005)
    assert printed.U / nm == pytest.approx(93, abs=0.5)
    assert budget.expanded().k == pytest.approx(stats.t.ppf(0.995, budget.degrees_of_freedom), rel=1e-9)


def test_end_gauge_second_order_h_1_7():
    # Printed 34 nm; the two terms 11.7 (exact 11.89, from rounded steps) and 1.7 nm.
    budget = propagate(length, end_gauge(), unit="mm")
    nm = 1e-6
    assert budget.second_order.standard_uncertainty == pytest.approx(34 * nm, abs=0.5 * nm)
    added = budget.second_order.standard_uncertainty**2 - budget.standard_uncertainty**2
    assert math.sqrt(added) == pytest.approx(math.hypot(11.89, 1.74) * nm, rel=2e-3)
    assert any("second-order terms matter" in note for note in budget.notes)
    flat = {note.split(":")[0] for note in budget.notes if "zero first-order sensitivity" in note}
    assert flat == {"theta", "alpha_s"}  # they stand beside differences whose estimates are 0


def impedance(V, current, phi):
    return {"R": V / current * np.cos(phi), "X": V / current * np.sin(phi), "Z": V / current}


def test_simultaneous_readings_h_2():
    inputs = {
        "V": Source.readings(VOLTS, unit="V"),
        "current": Source.readings(AMPERES, unit="A"),
        "phi": Source.readings(RADIANS, unit="rad"),
    }
    budgets = propagate(impedance, inputs, simultaneous=[("V", "current", "phi")], unit="Ω")
    means = [(4.999, 0.0005), (19.661e-3, 0.0005e-3), (1.04446, 0.000005)]
    us = [(0.0032, 0.00005), (0.0095e-3, 0.00005e-3), (0.00075, 0.000005)]
    for source, (mean, tolerance), (u, u_tolerance) in zip(inputs.values(), means, us, strict=True):
        assert source.value == pytest.approx(mean, abs=tolerance)
        assert source.standard_uncertainty == pytest.approx(u, abs=u_tolerance)
    printed = {"R": (127.732, 0.071, 0.0005), "X": (219.847, 0.295, 0.001), "Z": (254.260, 0.236, 0.0005)}
    for name, (value, u, tolerance) in printed.items():  # u of X: exact 0.2956, printed 0.295
        assert budgets[name].value == pytest.approx(value, abs=0.0005)
        assert budgets[name].standard_uncertainty == pytest.approx(u, abs=tolerance)
        assert budgets[name].degrees_of_freedom == pytest.approx(4.0)
        assert sum(line.share for line in budgets[name].contributions) == pytest.approx(1.0)
    r = budgets.correlation
    assert [r[0][1], r[0][2], r[1][2]] == pytest.approx([-0.588, -0.485, 0.993], abs=0.0005)
    # Without the correlations u of R would be 0.195.
    assert propagate(impedance, inputs)["R"].standard_uncertainty == pytest.approx(0.19454445, rel=1e-6)


def test_correlations_of_the_readings_h_2():
    from lossstats.budgets.correlation import correlation_matrix

    inputs = {"V": Source.readings(VOLTS), "I": Source.readings(AMPERES), "phi": Source.readings(RADIANS)}
    r = correlation_matrix(inputs, simultaneous=[("V", "I", "phi")])
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.005)


def test_mass_ea_s2():
    # EA-4/02, S2, in grams: a weight of nominally 10 kg. The mean of the three differences, 0.020 g.
    inputs = {
        "standard": Source.expanded(0.045, k=2, value=10000.005),
        "drift": Source.rectangular(0.015),
        "difference": Source.pooled(0.025, dof=math.inf, count=3, value=0.020),
        "eccentricity": Source.rectangular(0.010),
        "buoyancy": Source.rectangular(0.010),
    }
    budget = propagate(lambda **g: sum(g.values()), inputs, unit="g")
    lines = [1000 * line.contribution for line in budget.contributions]
    assert lines == pytest.approx([22.5, 8.66, 14.4, 5.77, 5.77], abs=0.05)
    assert budget.value == pytest.approx(10000.025, abs=0.0005)
    assert 1000 * budget.standard_uncertainty == pytest.approx(29.3, abs=0.05)
    assert round(2000 * budget.standard_uncertainty) == 59


def test_resistor_ea_s3():
    # EA-4/02, S3, in ohms: a resistor by substitution.
    inputs = {
        "R_s": Source.normal(0.0025, value=10000.053),
        "dR_d": Source.rectangular(0.010, value=0.020),
        "dR_ts": Source.rectangular(0.00275),
        "r_c": Source.triangular(1.0e-6, value=1.0),
        "r": Source.readings([1.0000104, 1.0000107, 1.0000106, 1.0000103, 1.0000105]),
        "dR_tx": Source.rectangular(0.0055),
    }
    budget = propagate(lambda R_s, dR_d, dR_ts, r_c, r, dR_tx: (R_s + dR_d + dR_ts) * r_c * r - dR_tx, inputs, unit="Ω")
    lines = [1000 * line.contribution for line in budget.contributions]
    assert lines == pytest.approx([2.5, 5.8, 1.6, 4.1, 0.7, 3.2], abs=0.05)
    assert budget.value == pytest.approx(10000.178, abs=0.0005)
    assert 1000 * budget.standard_uncertainty == pytest.approx(8.33, abs=0.005)
    assert round(2000 * budget.standard_uncertainty) == 17


@pytest.mark.parametrize(("r", "u"), [(0.0, 0.35003571246374277), (0.9, 0.11079259903080167), (1.0, 0.005)])
def test_difference_of_two_powers(r, u):
    # Closed form of equation (13), not published: 250 W less 245 W, each to 0.1 %, correlated by r.
    inputs = {
        "drive": Source.normal(0.001, value=250.0, relative=True),
        "driven": Source.normal(0.001, value=245.0, relative=True),
    }
    budget = propagate(lambda drive, driven: drive - driven, inputs, correlation={("drive", "driven"): r})
    assert budget.value == 5.0
    assert budget.standard_uncertainty == pytest.approx(u, abs=1e-12)


# JCGM 101:2008, 9.4.2, table 7 (r = 0) and exact values of 9.4.3 (r = 0.9), in units of 1e-6; u of first order is
# computed, 2 x u.
LOSS = [
    (0.0, 0.0, 0.0, 50.0, 50.0),
    (0.010, 0.0, 100.0, 112.0, 50.0),
    (0.050, 0.0, 500.0, 502.0, 50.0),
    (0.0, 0.9, 0.0, 67.2681, 50.0),
    (0.010, 0.9, 100.0, 120.5197, 50.0),
    (0.050, 0.9, 500.0, 504.5047, 50.0),
]


@pytest.mark.parametrize(("x1", "r", "first", "second", "shift"), LOSS)
def test_comparison_loss_s1_9_4(x1, r, first, second, shift):
    inputs = {"x1": Source.normal(0.005, value=x1), "x2": Source.normal(0.005)}
    budget = propagate(lambda x1, x2: x1**2 + x2**2, inputs, correlation={("x1", "x2"): r} if r else None)
    assert 1e6 * budget.standard_uncertainty == pytest.approx(first, abs=1e-6)
    assert 1e6 * budget.second_order.standard_uncertainty == pytest.approx(second, abs=0.5 if r == 0 else 0.0001)
    assert 1e6 * budget.second_order.shift == pytest.approx(shift, abs=1e-6)
    flat = {note.split(":")[0] for note in budget.notes if "zero first-order sensitivity" in note}
    assert flat == ({"x1", "x2"} if x1 == 0 else {"x2"})
    if first == 0:
        assert any("the combined standard uncertainty is 0" in note for note in budget.notes)
