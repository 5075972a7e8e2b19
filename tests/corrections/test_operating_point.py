"""Operating point: levels brought to nominal, what the doubt of doing so does, and how a run kept its point."""

import math

import numpy as np
import pytest

from lossstats.corrections.operating_point import bring_to_nominal, point_of_run, reading_pattern
from lossstats.one_run.levels import window_level

LEVELS = np.array([7.1, 6.9, 5.6, 5.4])
POWER = np.array([286.0, 283.5, 280.0, 277.0])
TEMPERATURE = np.array([22.5, 21.0, 20.0, 18.5])
FORMS = [
    pytest.param(POWER, 280.0, {"exponent": 1.2}, id="power"),
    pytest.param(TEMPERATURE, 20.0, {"relative_slope": -0.01}, id="temperature"),
]


def changed(form, by):
    return {name: value + by for name, value in form.items()}


def test_power_form_by_hand():
    """6.0 W at 300 W and k = 2 is 6 (280/300)^2 W at 280 W."""
    brought = bring_to_nominal([6.0, 5.0], [300.0, 280.0], 280.0, exponent=2.0)
    assert brought.levels == pytest.approx([6.0 * (14 / 15) ** 2, 5.0], rel=1e-14)
    assert brought.factor == pytest.approx([(14 / 15) ** 2, 1.0], rel=1e-14)


def test_exponential_form_by_hand():
    """A loss that falls by 1 % a kelvin, measured 3 K too warm, is higher at nominal."""
    brought = bring_to_nominal([6.0], [23.0], 20.0, relative_slope=-0.01)
    assert brought.levels == pytest.approx([6.0 * math.exp(0.03)], rel=1e-14)


def test_zero_of_a_temperature_scale_does_not_matter():
    celsius = bring_to_nominal(LEVELS, TEMPERATURE, 20.0, relative_slope=-0.01, u=0.002)
    kelvin = bring_to_nominal(LEVELS, TEMPERATURE + 273.15, 293.15, relative_slope=-0.01, u=0.002)
    assert kelvin.levels == pytest.approx(celsius.levels, rel=1e-12)
    assert kelvin.pattern.values == pytest.approx(celsius.pattern.values, abs=1e-12)


def test_true_sensitivity_brings_levels_home():
    truth = np.array([7.0, 6.8, 5.5, 5.6])
    brought = bring_to_nominal(truth * (POWER / 280.0) ** 1.3, POWER, 280.0, exponent=1.3)
    assert brought.levels == pytest.approx(truth, rel=1e-14)


@pytest.mark.parametrize(("point", "nominal", "form"), FORMS)
def test_pattern_is_the_derivative_by_the_sensitivity(point, nominal, form):
    """Central difference as the second way."""
    h, u = 1e-5, 0.25
    up = bring_to_nominal(LEVELS, point, nominal, **changed(form, h)).levels
    down = bring_to_nominal(LEVELS, point, nominal, **changed(form, -h)).levels
    brought = bring_to_nominal(LEVELS, point, nominal, **form, u=u, degrees_of_freedom=9)
    assert brought.pattern.values == pytest.approx((up - down) / (2 * h) * u, rel=1e-8)
    assert brought.pattern.degrees_of_freedom == 9


@pytest.mark.parametrize(("point", "nominal", "form"), FORMS)
@pytest.mark.parametrize(("scale", "offset"), [(0.01, 0.0), (0.0, 0.4)])
def test_reading_pattern_is_the_derivative_by_the_reading(point, nominal, form, scale, offset):
    h = 1e-6

    def at(error):
        return bring_to_nominal(LEVELS, point * (1 + error * scale) + error * offset, nominal, **form).levels

    pattern = reading_pattern(bring_to_nominal(LEVELS, point, nominal, **form), scale=scale, offset=offset)
    assert pattern.values == pytest.approx((at(h) - at(-h)) / (2 * h), rel=1e-6)


def test_scale_of_the_reading_moves_all_levels_by_one_factor():
    """So it cancels in the percentage and acts as a gain of k times its size on the difference."""
    brought = bring_to_nominal(LEVELS, POWER, 280.0, exponent=1.2)
    pattern = reading_pattern(brought, scale=0.005, degrees_of_freedom=12)
    assert pattern.values / brought.levels == pytest.approx(np.full(4, -1.2 * 0.005), rel=1e-12)
    saving = brought.levels @ [0.5, 0.5, -0.5, -0.5]
    assert pattern.term([0.5, 0.5, -0.5, -0.5]) == pytest.approx((saving * 0.006, 12))


def test_conditions_at_one_point_leave_no_doubt_about_the_exponent():
    """Common error: the difference sees u(k) only through the difference of the operating points."""
    at_one = bring_to_nominal([7.0, 7.0], [285.0, 285.0], 280.0, exponent=1.0, u=0.3)
    assert at_one.pattern.term([1, -1]).standard_uncertainty == 0.0
    assert at_one.pattern.term([1, 0]).standard_uncertainty > 0.03


def test_exact_sensitivity_is_said():
    assert "taken as exactly known" in bring_to_nominal(LEVELS, POWER, 280.0, exponent=1.0).notes[0]
    assert bring_to_nominal(LEVELS, POWER, 280.0, exponent=1.0, u=0.1).notes == ()


@pytest.mark.parametrize(("point", "nominal", "form"), FORMS)
def test_renderings(point, nominal, form):
    brought = bring_to_nominal(LEVELS, point, nominal, **form, u=0.1)
    text = str(brought)
    assert "Levels at the nominal operating point" in text
    assert ("^1.2" in text) if "exponent" in form else ("exp(−(-0.01) (reading − nominal))" in text)
    assert "<table>" in brought._repr_html_()
    assert brought.to_dict()["levels"] == brought.levels.tolist()
    assert brought.to_dict()["pattern"]["values"] == brought.pattern.values.tolist()


@pytest.mark.parametrize(
    ("arguments", "options", "message"),
    [
        (([7.0], [280.0, 281.0], 280.0), {"exponent": 1.0}, "point: found 2 values for 1 levels; accepted: one a run"),
        (([7.0, 6.0], [280.0, -3.0], 280.0), {"exponent": 1.0}, r"point: found -3.0 in run 1 \(counted from 0\); accepted: above 0 in the power form"),
        (([7.0], [280.0], 0.0), {"exponent": 1.0}, "nominal: found 0.0; accepted: above 0 in the power form"),
        (([7.0], [280.0], math.nan), {"relative_slope": 0.1}, "nominal: found nan; accepted: a finite number"),
        (([7.0], [280.0], 280.0), {}, "exponent, relative_slope: found None and None; accepted: one of them"),
        (([7.0], [280.0], 280.0), {"exponent": 1.0, "relative_slope": 0.1}, "found 1.0 and 0.1; accepted: one of them"),
        (([7.0], [280.0], 280.0), {"exponent": math.inf}, "found inf and None; accepted: one of them, finite"),
        (([7.0], [280.0], 280.0), {"exponent": 1.0, "u": -0.1}, "u: found -0.1; accepted: a finite standard uncertainty, 0 or above"),
        (([7.0], [280.0], 280.0), {"exponent": 1.0, "u": math.nan}, "u: found nan"),
        (([7.0], [280.0], 280.0), {"exponent": 1.0, "degrees_of_freedom": 0}, "degrees_of_freedom: found 0; accepted: above 0"),
        (([7.0, math.nan], [280.0, 280.0], 280.0), {"exponent": 1.0}, r"levels: found nan in run 1 \(counted from 0\); accepted: finite"),
        (([], [], 280.0), {"exponent": 1.0}, r"levels: found an array of shape \(0,\); accepted: one value a run"),
        (([[7.0]], [280.0], 280.0), {"exponent": 1.0}, r"levels: found an array of shape \(1, 1\)"),
    ],
)  # fmt: skip
def test_bad_levels(arguments, options, message):
    with pytest.raises(ValueError, match=message):
        bring_to_nominal(*arguments, **options)


@pytest.mark.parametrize("given", [{}, {"scale": 0.1, "offset": 0.1}, {"scale": -0.1}, {"offset": math.inf}])
def test_bad_reading(given):
    brought = bring_to_nominal(LEVELS, POWER, 280.0, exponent=1.0)
    with pytest.raises(ValueError, match="scale, offset: found .*; accepted: one of them above 0"):
        reading_pattern(brought, **given)


TIMES = np.arange(0.0, 1000.0, 10.0)


def test_mean_of_the_window_and_share_within():
    rng = np.random.default_rng(3)
    power = np.where(TIMES < 500, 290.0, 280.0) + rng.normal(0, 0.5, len(TIMES))
    power[[60, 70, 80]] = 284.0  # three of fifty samples of the window out of 2.8 W
    found = point_of_run(TIMES, power, 500.0, 990.0, nominal=280.0, tolerance=2.8)
    level = window_level(TIMES, power, 500.0, 990.0)
    assert (found.mean, found.standard_uncertainty) == (level.value, level.standard_uncertainty)
    assert found.degrees_of_freedom == level.degrees_of_freedom
    assert found.mean == pytest.approx(power[50:].mean())
    assert (found.samples, found.fraction_within) == (50, 0.94)
    assert found.mean_within
    assert "94 % of 50" in str(found)


def test_window_is_open_to_the_end():
    power = 280 + np.sin(TIMES)
    whole = point_of_run(TIMES, power, 500.0, nominal=280.0, tolerance=2.8)
    assert whole == point_of_run(TIMES, power, 500.0, 990.0, nominal=280.0, tolerance=2.8)


def test_a_mean_out_of_tolerance_is_told_from_samples_out_of_it():
    power = np.where(np.arange(100) % 4 == 0, 290.0, 280.0)
    found = point_of_run(TIMES, power, 0.0, nominal=280.0, tolerance=2.0)
    assert found.fraction_within == 0.75
    assert not found.mean_within
    assert point_of_run(TIMES, power, 0.0, nominal=280.0, tolerance=3.0).mean_within


def test_limits_count_as_within():
    """20.3 is 20 + 0.3 on the display, though not in binary64."""
    found = point_of_run(TIMES, np.full(100, 20.3), 0.0, nominal=20.0, tolerance=0.3, resolution=0.1)
    assert found.fraction_within == 1.0
    assert found.standard_uncertainty == pytest.approx(0.1 / math.sqrt(12), rel=0.2)


def test_absent_uncertainty_is_explained():
    few = point_of_run(TIMES, 280 + np.sin(TIMES), 920.0, nominal=280.0, tolerance=3.0)
    assert few.standard_uncertainty is None
    assert few.notes == ("no uncertainty of the mean: 8 samples in the window, and it takes 10",)
    assert few.mean == pytest.approx(np.mean(280 + np.sin(TIMES[-8:])))
    equal = point_of_run(TIMES, np.full(100, 95.0), 0.0, nominal=95.0, tolerance=1.0)
    assert (equal.mean, equal.standard_uncertainty, equal.degrees_of_freedom) == (95.0, None, None)
    assert "all readings are equal and no display step is given" in equal.notes[0]
    assert "none" in str(equal)
    assert "no display step" in equal._repr_html_()


@pytest.mark.parametrize(
    ("start", "options", "message"),
    [
        (0.0, {"nominal": 280.0, "tolerance": 0.0}, "nominal, tolerance: found 280.0 and 0.0; accepted: finite, the tolerance above 0"),
        (0.0, {"nominal": math.nan, "tolerance": 1.0}, "nominal, tolerance: found nan"),
        (2000.0, {"nominal": 280.0, "tolerance": 1.0}, "window: found no sample from 2000 s; accepted: a part of 0 s to 990 s"),
    ],
)  # fmt: skip
def test_bad_run(start, options, message):
    with pytest.raises(ValueError, match=message):
        point_of_run(TIMES, 280 + np.sin(TIMES), start, **options)
