"""Flags: each kind put in by hand and found, and nothing deleted."""

import numpy as np
import pytest

from lossstats.one_run.screening import screen_run

T = np.arange(180) * 5.0


def clean(seed=1, n=180, amplitude=0.6):
    rng = np.random.default_rng(seed)
    return 5 + amplitude * np.exp(-T[:n] / 150) + 0.02 * rng.normal(size=n)


def test_a_spike_is_found_and_kept():
    y = clean()
    y[77] += 0.4
    before = y.copy()
    found = screen_run(T, y)
    assert found.spikes == found.flagged == (77,)
    assert np.array_equal(y, before)
    assert found.samples == 180


def test_two_neighbouring_spikes_are_found():
    y = clean()
    y[[90, 91]] -= 0.5
    assert screen_run(T, y).spikes == (90, 91)


def test_a_spike_at_the_start_is_not_taken_for_an_approach():
    y = clean(amplitude=0.0)
    y[1] -= 1.5
    assert screen_run(T, y).spikes == (1,)


def test_a_steep_start_is_no_spike():
    y = 5 + 2 * np.exp(-T / 20) + 0.02 * np.random.default_rng(3).normal(size=180)
    assert screen_run(T, y).spikes == ()


def test_a_stuck_stretch_is_found():
    y = np.round(clean(amplitude=0.0), 3)
    y[60:85] = 5.004
    found = screen_run(T, y, resolution=0.001)
    assert found.stuck == ((60, 84),)
    assert set(range(60, 85)) <= set(found.flagged)


def test_a_coarse_display_cannot_tell_and_says_so():
    y = np.round(clean(amplitude=0.0) / 0.1) * 0.1
    found = screen_run(T, y, resolution=0.1)
    assert found.stuck == ()
    assert found.notes == ("stuck readings cannot be told from quiet ones at this resolution",)


def test_readings_piled_up_at_a_limit_are_clipped():
    y = np.round(np.minimum(clean(amplitude=0.0), 5.015), 3)
    found = screen_run(T, y, resolution=0.001)
    held = np.flatnonzero(y == 5.015)
    assert len(held) > 20
    assert sorted(i for a, b in found.clipped for i in range(a, b + 1)) == held.tolist()


def test_a_stuck_stretch_at_the_extreme_is_clipped_and_not_stuck_too():
    y = np.round(clean(amplitude=0.0), 3)
    y[60:85] = 0.0
    found = screen_run(T, y, resolution=0.001)
    assert found.clipped == ((60, 84),)
    assert found.stuck == ()


def test_a_gap_is_given_by_its_edges():
    kept = np.r_[0:50, 80:180]
    assert screen_run(T[kept], clean()[kept]).gaps == ((49, 50),)
    assert screen_run(T, clean()).gaps == ()


def test_the_operating_point_out_of_its_limits():
    power = np.full(180, 280.0)
    power[[3, 9]] = 290, 269
    found = screen_run(T, clean(), operating_point={"power_W": power}, limits={"power_W": (270.0, 289.0)})
    assert found.off_point == {"power_W": (3, 9)}
    assert found.flagged == ()
    assert "power_W off point" in str(found)


@pytest.mark.parametrize(
    ("point", "limits", "text"),
    [
        ({}, {"power_W": (1, 2)}, "limits: found 'power_W', which is not a column of operating_point; accepted: none"),
        ({"speed": T}, {"power_W": (1, 2)}, "accepted: speed"),
        ({"p": T[:5]}, {"p": (1, 2)}, r"operating_point\['p'\]: found 5 values; accepted: 180, one a sample"),
        ({"p": T}, {"p": (2, 1)}, r"limits\['p'\]: found 2 to 1; accepted: the lowest value first"),
    ],
)
def test_limits_that_do_not_fit_are_refused(point, limits, text):
    with pytest.raises(ValueError, match=text):
        screen_run(T, clean(), operating_point=point, limits=limits)


def test_a_step_found_but_not_given_is_named():
    found = screen_run(T, np.round(clean(), 2))
    assert "readings lie on steps of 0.01" in found.notes[0]
    assert "no resolution was given" in found.notes[0]


def test_equal_readings_are_screened_without_a_fit():
    found = screen_run(T, np.full(180, 5.0), resolution=0.01)
    assert found.spikes == ()
    assert found.samples == 180


def test_the_three_faces():
    y = clean()
    y[77] += 0.4
    found = screen_run(T, y)
    assert "spikes" in str(found)
    assert "77" in str(found)
    assert "<table>" in found._repr_html_()
    assert found.to_dict()["spikes"] == [77]
