"""Transducers as data sheets state them."""

import math

import pytest

from lossstats.budgets.power_bench import PowerBench, ShaftReadings, Transducer


def u_of(transducer, torque=28.0):
    return {name: s.standard_uncertainty for name, s in transducer.errors(torque).items()}


@pytest.mark.parametrize(
    ("sheet", "u"),
    [
        (Transducer(50.0, 0.1, class_of="reading"), 0.001 / math.sqrt(3)),
        (Transducer(50.0, 0.1, class_of="reading", class_as="standard uncertainty"), 0.001),
        (Transducer(50.0, 0.1, class_as="standard uncertainty"), 0.001 * 50 / 28),
        (Transducer(50.0, 0.1), 0.001 * 50 / 28 / math.sqrt(3)),
    ],
)
def test_class_in_four_ways(sheet, u):
    """0.1 % of 50 N m is 0.05 N m, which is 0.179 % of 28 N m."""
    assert u_of(sheet) == {"torque gain": pytest.approx(u, rel=1e-12)}


def test_class_of_full_scale_goes_by_the_torques_under_load():
    """Mean of the sizes weighted by size: (20 x 20 + 30 x 30) / (20 + 30) = 26; a run at no load does not count."""
    sheet = Transducer(50.0, 0.1, class_as="standard uncertainty")
    assert u_of(sheet, [20.0, -30.0])["torque gain"] == pytest.approx(0.05 / 26)
    assert u_of(sheet, [28.0, 28.0, 0.0])["torque gain"] == pytest.approx(0.05 / 28)


def test_temperature_zero_and_speed():
    """0.05 % per 10 K and 8 K at most: 0.04 % as a half width, of the reading for the span, of 50 N m for the zero."""
    sheet = Transducer(50.0, 0.1, zero_Nm=0.01, span_percent_per_10K=0.05, zero_percent_per_10K=0.05, temperature_K=8.0, speed_gain=1e-5)  # fmt: skip
    found = u_of(sheet)
    assert found.pop("torque gain") > 0
    assert found == {
        "temperature span": pytest.approx(0.0004 / math.sqrt(3)),
        "torque zero": 0.01,
        "temperature zero": pytest.approx(0.02 / math.sqrt(3)),
        "speed gain": 1e-5,
    }


def test_degrees_of_freedom_of_the_class():
    errors = Transducer(50.0, 0.1, class_dof=12, speed_gain=1e-5).errors(28.0)
    assert errors["torque gain"].degrees_of_freedom == 12
    assert math.isinf(errors["speed gain"].degrees_of_freedom)


def test_a_perfect_transducer_has_no_errors():
    assert Transducer(50.0, 0.0, torque_step_Nm=0.01).errors(28.0) == {}


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"torque_class_percent": -0.1}, "torque_class_percent: found -0.1; accepted: a finite number of at least 0"),
        ({"zero_Nm": math.nan}, "zero_Nm: found nan; accepted: a finite number of at least 0"),
        ({"full_scale_Nm": 0.0}, "full_scale_Nm: found 0.0; accepted: a finite number above 0"),
        ({"class_dof": 0.0}, "class_dof: found 0.0; accepted: degrees of freedom above 0"),
        ({"class_of": "span"}, "class_of: found 'span'; accepted: 'full scale' or 'reading'"),
        ({"class_as": "k = 2"}, "class_as: found 'k = 2'; accepted: 'half width' or 'standard uncertainty'"),
    ],
)
def test_bad_sheet(arguments, message):
    with pytest.raises(ValueError, match=message):
        Transducer(**({"full_scale_Nm": 50.0, "torque_class_percent": 0.1} | arguments))


def test_torque_beyond_full_scale_or_all_zero():
    with pytest.raises(ValueError, match="torque: found 60 N m; accepted: finite, at most the full scale of 50 N m"):
        Transducer(50.0, 0.1).errors([28.0, -60.0])
    with pytest.raises(ValueError, match="torque: found 0 in all runs; accepted: a torque to which the class"):
        Transducer(50.0, 0.1).errors([0.0, 0.0])
    assert u_of(Transducer(50.0, 0.1, class_of="reading"), 0.0)["torque gain"] > 0


@pytest.mark.parametrize("shared", [-0.1, 1.1, math.nan])
def test_bad_bench(shared):
    sheet = Transducer(50.0, 0.1)
    with pytest.raises(ValueError, match="shared_calibration: found .*; accepted: 0 to 1"):
        PowerBench(sheet, sheet, shared)


def test_bad_readings():
    with pytest.raises(ValueError, match="torque_out_Nm: found nan; accepted: a finite number"):
        ShaftReadings(28.0, 95.0, math.nan, 95.0)
