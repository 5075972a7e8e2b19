"""A level by itself: its interval, and how it is shown."""

import numpy as np
import pytest
from scipy.stats import t as student

from lossstats.one_run.levels import run_level, series_level
from lossstats.records.estimate import Interval

T = np.arange(90) * 10.0


def warm_up(seed=1, amplitude=0.6, tau_s=150.0, sd=0.02, n=90):
    return 5 + amplitude * np.exp(-T[:n] / tau_s) + sd * np.random.default_rng(seed).normal(size=n)


def test_u_and_dof_belong_to_the_interval():
    level = run_level(T, warm_up())
    low, high = level.interval()
    k = student.ppf(0.975, level.degrees_of_freedom)
    assert k * level.standard_uncertainty == pytest.approx((high - low) / 2, rel=1e-9)


def test_the_interval_at_other_confidences():
    level = run_level(T, np.round(warm_up(), 1), resolution=0.1)
    widths = [np.diff(level.interval(c))[0] for c in (0.5, 0.68, 0.9, 0.95, 0.99)]
    assert np.all(np.diff(widths) > 0)
    assert isinstance(level.interval(), Interval)
    mean = series_level(warm_up(amplitude=0.0))
    half = student.ppf(0.995, mean.degrees_of_freedom) * mean.standard_uncertainty
    assert mean.interval(0.99).high == pytest.approx(mean.value + half, rel=1e-12)
    for bad in (0, 1, 1.5):
        with pytest.raises(ValueError, match=r"confidence: found .*; accepted: a number between 0 and 1"):
            level.interval(bad)


def test_a_component_that_averages_out_is_not_shown_in_digits():
    y = warm_up()
    assert "from resolution           negligible" in str(run_level(T, np.round(y / 0.005) * 0.005, resolution=0.005))
    assert "from resolution           0\n" in str(run_level(T, y))
    coarse = series_level(np.round(y[30:] / 0.1) * 0.1, resolution=0.1)
    assert f"{coarse.components['resolution']:.2g}" in str(coarse)
    assert "negligible" not in str(coarse)
