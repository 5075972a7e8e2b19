"""Settled, moving or undecided."""

import numpy as np
import pytest
from scipy.stats import t as student

from lossstats.one_run.noise import whitening
from lossstats.one_run.settling import _slopes, find_settled

T = np.arange(180) * 5.0
NOISE = 0.02 * np.random.default_rng(6).normal(size=180)


def test_a_level_run_is_settled():
    found = find_settled(T, 5 + NOISE, tolerance=0.05)
    assert found.status == "settled"
    assert found.change_low < found.change < found.change_high
    assert found.to_come_low <= found.to_come <= found.to_come_high
    assert (found.window_start_s, found.window_stop_s) == (600.0, 895.0)


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_slow_approach_is_moving(sign):
    found = find_settled(T, 5 + sign * np.exp(-T / 360) + NOISE, tolerance=0.05)
    assert found.status == "moving"
    assert sign * found.change < -0.05
    assert sign * found.to_come < -0.02


def test_a_run_that_cannot_be_judged_says_what_could():
    found = find_settled(T, 5 + 10 * NOISE, tolerance=0.01)
    assert found.status == "undecided"
    assert f"a tolerance of {found.tolerance_for_power:.2g} would be answered" in found.notes[0]


def test_without_a_tolerance_the_smallest_that_can_be_answered_is_taken_and_named():
    found = find_settled(T, 5 + NOISE)
    assert found.tolerance == found.tolerance_for_power
    assert "no tolerance given" in found.notes[0]
    assert find_settled(T, 5 + np.exp(-T / 360) + NOISE).status == "moving"


def test_the_slope_is_that_of_dense_least_squares():
    # naive second implementation: generalised least squares with the full covariance matrix
    t, y = T[120:] / 5, NOISE[120:]
    noise = whitening(t, 1.0)
    slope, squared, rss = _slopes(t, y, 60.0, noise)
    x = np.stack([np.ones(60), t / 60], axis=1)
    for p, phi in enumerate(noise.phi):
        if phi < 0:
            continue
        inverse = np.linalg.inv(np.power(phi, np.abs(np.subtract.outer(t, t))))
        unscaled = np.linalg.inv(x.T @ inverse @ x)
        beta = unscaled @ x.T @ inverse @ y
        left = y - x @ beta
        assert slope[p] == pytest.approx(beta[1], rel=1e-8)
        assert 1 / squared[p] == pytest.approx(unscaled[1, 1], rel=1e-8)
        assert rss[p] == pytest.approx(left @ inverse @ left, rel=1e-8)


def test_the_change_has_at_least_the_interval_of_ordinary_least_squares():
    found = find_settled(T, 5 + NOISE, tolerance=0.05)
    x, y = (T[120:] - T[120:].mean()) / 300, NOISE[120:]
    slope = x @ y / (x @ x)
    left = y - y.mean() - slope * x
    half = student.ppf(0.95, 58) * np.sqrt(left @ left / 58 / (x @ x))
    assert found.change == pytest.approx(slope, abs=half / 2)
    assert half < (found.change_high - found.change_low) / 2 < 2 * half  # the correlation is not known to be 0


def test_another_window():
    found = find_settled(T, 5 + NOISE, tolerance=0.05, final_window=0.5)
    assert found.window_start_s == 450.0
    short = find_settled(T[:24] * 7.5, 5 + NOISE[:24], tolerance=0.05, final_window=0.2)
    assert short.window_start_s == T[14] * 7.5  # ten samples at least


def test_a_tolerance_wider_than_everything_settles_and_a_scaled_run_answers_alike():
    y = 5 + np.exp(-T / 360) + NOISE
    assert find_settled(T, y, tolerance=10.0).status == "settled"
    a, b = find_settled(T, y, tolerance=0.05), find_settled(T / 60, 100 * y - 3, tolerance=5.0)
    assert a.status == b.status
    assert b.change == pytest.approx(100 * a.change, rel=1e-8)
    assert b.to_come_low == pytest.approx(100 * a.to_come_low, rel=1e-5)


def test_equal_readings_are_known_to_the_display_step():
    found = find_settled(T, np.full(180, 5.0), resolution=0.01, tolerance=0.05)
    assert found.status == "settled"
    assert (found.change_low, found.change_high) == (-0.01, 0.01)
    assert find_settled(T, np.full(180, 5.0), resolution=0.1, tolerance=0.05).status == "undecided"
    assert "display step" in find_settled(T, np.full(180, 5.0), resolution=0.1).notes[1]
    with pytest.raises(
        ValueError, match="all 180 readings are 5 and no resolution is given; accepted: the display step"
    ):
        find_settled(T, np.full(180, 5.0), tolerance=0.05)


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ({"tolerance": 0.0}, "tolerance: found 0.0; accepted: a number above 0"),
        ({"tolerance": float("nan")}, "tolerance: found nan"),
        ({"final_window": 0.95}, "final_window: found 0.95; accepted: 0.1 to 0.9 of the run"),
        ({"resolution": -1.0}, "resolution: found -1.0"),
    ],
)
def test_a_rule_that_is_none_is_refused(arguments, text):
    with pytest.raises(ValueError, match=text):
        find_settled(T, 5 + NOISE, **arguments)


def test_the_three_faces():
    found = find_settled(T, 5 + NOISE, tolerance=0.05)
    assert "answer" in str(found)
    assert "600 s to 895 s" in str(found)
    assert "<table>" in found._repr_html_()
    assert found.to_dict()["status"] == "settled"
