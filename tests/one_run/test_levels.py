"""Levels: what a user sees of one run."""

import functools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lossstats.one_run.level import Level
from lossstats.one_run.levels import run_level, series_level, window_level
from lossstats.one_run.stationary import stationary_mean

T = np.arange(90) * 10.0


def warm_up(seed=1, amplitude=0.6, tau_s=150.0, sd=0.02, n=90):
    return 5 + amplitude * np.exp(-T[:n] / tau_s) + sd * np.random.default_rng(seed).normal(size=n)


def same(a: Level, b: Level) -> bool:
    numbers = ("value", "standard_uncertainty", "degrees_of_freedom", "effective_samples")
    return all(getattr(a, name) == pytest.approx(getattr(b, name), rel=1e-9) for name in numbers)


def test_the_level_of_a_run():
    level = run_level(T, warm_up())
    low, high = level.interval()
    assert low < 5 < high
    assert level.value == pytest.approx(5, abs=0.02)
    assert level.components == {"noise": level.standard_uncertainty, "resolution": 0.0}
    assert level.samples == 90
    assert 20 < level.effective_samples <= 90
    assert level.approach is not None
    assert level.approach.at([0.0])[0] == pytest.approx(5.6, abs=0.05)
    assert level.window_mean is not None
    assert level.window_mean.window_start_s == 600
    assert not level.extrapolated
    assert level.end_value is None


def test_no_approach_where_a_level_from_the_start_is_the_likelier():
    assert run_level(T, warm_up(amplitude=0.0)).approach is None


def test_resolution_is_combined_per_side_in_quadrature():
    y = np.round(warm_up(amplitude=0.0) / 0.05) * 0.05
    with_step, without = series_level(y, resolution=0.05), series_level(y)
    u_q = with_step.components["resolution"]
    assert u_q > 0
    expected = math.hypot(without.interval().high - without.value, 0.95 * math.sqrt(3) * u_q)
    assert with_step.interval().high - with_step.value == pytest.approx(expected, rel=1e-12)
    assert with_step.standard_uncertainty == pytest.approx(math.hypot(without.standard_uncertainty, u_q), rel=1e-12)
    ratio = with_step.standard_uncertainty / without.standard_uncertainty
    # JCGM 100, G.4.1 with infinitely many degrees of freedom of the resolution
    assert with_step.degrees_of_freedom == pytest.approx(without.degrees_of_freedom * ratio**4, rel=1e-12)


def test_a_resolution_of_zero_is_believed_but_a_lattice_is_named():
    level = run_level(T, np.round(warm_up(), 2))
    assert level.components["resolution"] == 0
    assert "readings lie on steps of 0.01, but no resolution was given" in level.notes[0]


@pytest.mark.parametrize("reduce", [lambda y, **k: run_level(T, y, **k), series_level])
def test_equal_readings_have_the_uncertainty_of_the_display(reduce):
    level = reduce(np.full(90, 5.0), resolution=0.01)
    assert level.value == 5
    # JCGM 100, F.2.2.1
    assert level.standard_uncertainty == pytest.approx(0.01 / math.sqrt(12), rel=1e-15)
    assert math.isinf(level.degrees_of_freedom)
    assert level.interval().high == pytest.approx(5 + 0.95 * 0.005, rel=1e-12)
    assert "all readings equal" in level.notes[0]
    with pytest.raises(
        ValueError, match=r"all 90 readings are 5 and no resolution is given; accepted: the display step"
    ):
        reduce(np.full(90, 5.0))


def test_a_run_that_has_not_levelled_out_is_marked():
    level = run_level(T, 5 + np.exp(-T / 1800) + 0.02 * np.random.default_rng(1).normal(size=90))
    assert level.extrapolated
    assert level.end_value == pytest.approx(5 + np.exp(-890 / 1800), abs=0.03)
    assert level.rate_per_min == pytest.approx(-60 / 1800 * np.exp(-890 / 1800), rel=0.3)
    assert any("has not levelled out" in note for note in level.notes)
    assert "value at the end" in str(level)


def test_few_effective_readings_are_named():
    y = np.cumsum(np.random.default_rng(7).normal(size=24))
    assert any("independent ones" in note for note in series_level(y).notes)


def test_two_codes_in_turn_have_an_uncertainty():
    y = np.tile([5.0, 5.1], 45)
    level = run_level(T, y, resolution=0.1)
    assert level.value == pytest.approx(5.05, abs=0.02)
    assert level.components["noise"] > 0
    assert level.components["resolution"] == pytest.approx(0.1 / math.sqrt(12), rel=1e-12)
    assert any("fewer than three display codes" in note for note in level.notes)


def test_a_run_that_ends_on_one_code_is_known_to_the_display():
    y = np.round((5 + 0.6 * np.exp(-T / 60)) / 0.05) * 0.05
    level = run_level(T, y, resolution=0.05)
    assert level.standard_uncertainty >= 0.05 / math.sqrt(12)
    assert level.interval().low < 5 < level.interval().high


def test_ten_samples_are_enough_and_uneven_times_are_taken_as_they_are():
    rng = np.random.default_rng(8)
    level = run_level(np.arange(10) * 90.0, 5 + 0.02 * rng.normal(size=10))
    assert level.interval().low < 5 < level.interval().high
    t = np.cumsum(rng.exponential(10.0, 90))
    level = run_level(t, 5 + 0.5 * np.exp(-t / 150) + 0.02 * rng.normal(size=90))
    assert level.interval().low < 5 < level.interval().high
    assert level.standard_uncertainty < 0.05


@pytest.mark.parametrize("step", [0.0, 0.01, 0.05])
def test_a_difference_in_the_last_digit_stays_in_the_last_digits(step):
    # other machines round otherwise: no choice inside the method may turn that into another result
    rng = np.random.default_rng(9)
    for n, amplitude in ((24, 0.6), (36, 0.0), (90, 0.6), (90, 0.0)):
        y = warm_up(n, amplitude=amplitude, n=n)
        y = np.round(y / step) * step if step else y
        a = run_level(T[:n], y, resolution=step)
        b = run_level(T[:n], y * (1 + 2e-16 * rng.integers(-2, 3, n)), resolution=step)
        assert same(a, b)


def test_a_declared_window():
    y = warm_up()
    level = window_level(T, y, 500, 890)
    assert level.value == pytest.approx(y[50:].mean(), rel=1e-14)
    assert level.samples == 40
    assert level.standard_uncertainty == stationary_mean(y[50:]).standard_uncertainty
    assert window_level(T, y, 500).value == level.value
    assert window_level(T, y, 500, 900).value == level.value  # one interval beyond the last sample is its end


@pytest.mark.parametrize(
    ("start", "stop", "text"),
    [
        (
            500,
            1200,
            "window: found 500 s to 1200 s; accepted: a start before the stop, both within the run, 0 s to 890 s",
        ),
        (-50, 500, "window: found -50 s to 500 s"),
        (500, 400, "window: found 500 s to 400 s"),
        (800, 880, "window: found 9 samples from 800 s to 880 s; accepted: at least 10"),
    ],
)
def test_a_window_that_does_not_fit_is_refused(start, stop, text):
    with pytest.raises(ValueError, match=text):
        window_level(T, warm_up(), start, stop)


def test_the_first_part_of_another_kind_is_named():
    y = warm_up(amplitude=0.0) + np.where(T < 100, 1.0, 0.0)
    assert any("does not follow the same curve" in note for note in run_level(T, y).notes)


@settings(max_examples=20, deadline=None)
@given(shift=st.floats(-1e3, 1e3), scale=st.floats(1e-2, 1e2), seed=st.integers(0, 1000))
def test_shift_and_scale_carry_through(shift, scale, seed):
    y = np.round(warm_up(seed), 2)
    for reduce in (functools.partial(run_level, T), series_level):
        a, b = reduce(y, resolution=0.01), reduce(shift + scale * y, resolution=0.01 * scale)
        u = scale * a.standard_uncertainty
        assert b.value == pytest.approx(shift + scale * a.value, rel=1e-9, abs=1e-6 * u)
        assert b.standard_uncertainty == pytest.approx(u, rel=1e-6)
        assert b.degrees_of_freedom == pytest.approx(a.degrees_of_freedom, rel=1e-4)
