"""Integrated autocorrelation time: equal to the direct sums, true on average where the truth is known, small in memory."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from scipy.signal import lfilter
from statsmodels.tsa.stattools import acf

from lossstats.one_run import autocorrelation
from lossstats.one_run.autocorrelation import autocorrelation_time, autocorrelation_times


def ar1(phi, n, seed=1):
    """Stationary from its first reading."""
    rng = np.random.default_rng(seed)
    start = rng.normal() / np.sqrt(1 - phi**2)
    return lfilter([1.0], [1.0, -phi], rng.normal(size=n), zi=[phi * start])[0]


def sokal_window(r):
    """Plain second implementation of the window: the smallest M with M >= 5 tau(M)."""
    tau = 1.0
    for m in range(len(r)):
        tau = 1 + 2 * np.sum(r[1 : m + 1])
        if m >= 5 * tau:
            break
    return tau, m


def by_direct_sums(y):
    d = y - y.mean()
    return sokal_window(np.array([np.sum(d[k:] * d[: len(d) - k]) for k in range(len(d))]) / np.sum(d * d))


def by_statsmodels(y, lags=None):
    return sokal_window(acf(y, nlags=len(y) - 1 if lags is None else lags, fft=True))


@pytest.mark.parametrize("phi", [-0.3, 0.0, 0.6, 0.95])
@pytest.mark.parametrize("n", [10, 11, 36, 257, 1000, 1709])
def test_short_series_equal_the_direct_sums(n, phi):
    y = 6 + 0.02 * ar1(phi, n)
    time = autocorrelation_time(y)
    tau, window = by_direct_sums(y)
    assert time.value == pytest.approx(tau, rel=1e-12, abs=1e-13)
    assert (time.window, time.samples) == (window, n)


@pytest.mark.parametrize("phi", [0.0, 0.9, 0.99, 0.999])
@pytest.mark.parametrize("n", [16_384, 16_385, 20_479, 20_480, 20_481, 65_536, 65_537, 131_072 + 255, 200_003])
def test_long_series_of_any_length_equal_statsmodels(n, phi):
    # at 0.999 the window is longer than the lags tried first, and at 20 480 samples longer than any segment
    y = 6 + 0.02 * ar1(phi, n)
    time = autocorrelation_time(y)
    tau, window = by_statsmodels(y, 20_000 if phi == 0.999 else 3_000)
    assert time.value == pytest.approx(tau, rel=1e-12)
    assert time.window == window


@pytest.mark.parametrize("n", [65, 72, 80, 127, 128, 129, 4_001])
def test_sums_over_seams_equal_the_direct_sums(n, monkeypatch):
    # segments of 64 readings, three at once, so that every kind of end comes up in a short series
    monkeypatch.setattr(autocorrelation, "SEGMENT_REACHES", 8)
    monkeypatch.setattr(autocorrelation, "SAMPLES_AT_ONCE", 3 * 64)
    y = 5 + np.random.default_rng(n).normal(size=n)
    sums = autocorrelation._autocovariance_sums(y, y.mean(), 8)
    d = y - y.mean()
    direct = [np.sum(d[k:] * d[: n - k]) for k in range(9)]
    np.testing.assert_allclose(sums, direct, rtol=0, atol=1e-12 * direct[0])


def test_large_readings_with_small_scatter_keep_their_digits():
    y = ar1(0.9, 50_000)
    assert autocorrelation_time(1e6 + y).value == pytest.approx(autocorrelation_time(y).value, rel=1e-8)


def test_strided_and_whole_number_readings_are_taken_as_they_are():
    y = np.round(1000 * ar1(0.8, 40_000))
    expected = autocorrelation_time(y[::2].copy()).value
    assert autocorrelation_time(y[::2]).value == expected
    assert autocorrelation_time(y[::2].astype(np.int64)).value == expected


@pytest.mark.parametrize(("phi", "n", "runs"), [(0.0, 5_000, 400), (0.5, 5_000, 400), (0.9, 20_000, 400)])
def test_it_is_the_closed_form_on_average_and_scatters_as_stated(phi, n, runs):
    # Closed form (1 + phi)/(1 - phi); taking the mean out makes it too small by the part (2 M + 1)/n.
    times = [autocorrelation_time(ar1(phi, n, seed)) for seed in range(runs)]
    truth = (1 + phi) / (1 - phi)
    values = np.array([time.value for time in times])
    lost = np.mean([(2 * time.window + 1) / n for time in times])
    standard_error = values.std(ddof=1) / np.sqrt(runs)
    assert abs(values.mean() - truth * (1 - lost)) < 4 * standard_error
    stated = np.mean([time.standard_uncertainty for time in times])
    assert 0.85 * stated < values.std(ddof=1) < 1.15 * stated  # its own relative error is 0.035
    assert np.mean([time.effective_samples for time in times]) == pytest.approx(n / truth, rel=0.05)


def test_the_mean_scatters_as_the_effective_samples_say():
    means, worth = zip(
        *((y.mean(), autocorrelation_time(y).effective_samples) for y in (ar1(0.8, 4_000, s) for s in range(500))),
        strict=True,
    )
    sd = 1 / np.sqrt(1 - 0.8**2)
    assert np.std(means) == pytest.approx(sd / np.sqrt(np.mean(worth)), rel=0.12)  # 500 runs: 3.2 %, four times that


def test_a_series_too_short_is_told():
    assert autocorrelation_time(ar1(0.9, 5_000)).notes == ()
    (note,) = autocorrelation_time(ar1(0.9, 300)).notes
    assert "300 samples are fewer than 10 windows, 50 autocorrelation times" in note
    assert "likely too small" in note


def test_it_is_too_small_in_series_too_short():
    values = autocorrelation_times(np.array([ar1(0.9, 190, seed) for seed in range(300)])).value
    assert values.mean() < 0.8 * 19


def test_neighbours_that_alternate_have_no_time():
    time = autocorrelation_time(np.tile([1.0, 2.0], 500) + 1e-3 * ar1(0, 1000))
    assert time.value < 0
    assert time.standard_uncertainty is None
    assert time.effective_samples is None
    assert "neighbouring readings alternate" in time.notes[-1]
    assert "none" in str(time)


def test_a_run_on_its_way_has_the_duration_of_the_approach():
    t = np.arange(900)
    y = 6 + np.exp(-t / 150) + 0.02 * ar1(0.0, 900)
    assert autocorrelation_time(y).value > 100  # of white noise


@pytest.mark.parametrize("level", [0.0, 0.1, 6.2, 1e9])
@pytest.mark.parametrize("n", [10, 300, 70_001])
def test_a_constant_series_is_refused(level, n):
    with pytest.raises(
        ValueError, match=r"values: found \d+ readings all equal to .*; accepted: readings that scatter"
    ):
        autocorrelation_time(np.full(n, level))


def test_two_neighbouring_numbers_are_scatter_enough():
    y = np.where(ar1(0.0, 400) > 0, 6.2, np.nextafter(6.2, 7))
    assert autocorrelation_time(y).value == pytest.approx(1, abs=0.6)


@pytest.mark.parametrize(
    ("values", "text"),
    [
        (np.zeros((3, 20)), "values: found an array of 2 dimensions"),
        (np.arange(9), "values: found 9 samples; accepted: at least 10"),
        ([*range(20), np.nan, 1.0], r"values: found nan at sample 20 \(counted from 0\)"),
        ([*range(20), np.inf, -np.inf], "values: found inf at sample 20"),
        ([0.0, 1e-170] * 10, "values: found a range of 1e-170; accepted: 1e-140 to 1e140"),
        ([0.0, 1e160] * 10, r"values: found a range of 1e\+160; accepted: 1e-140 to 1e140"),
    ],
)
def test_what_is_no_series_is_refused(values, text):
    with pytest.raises(ValueError, match=text):
        autocorrelation_time(values)


@pytest.mark.parametrize(("runs", "n"), [(1, 10), (500, 36), (30, 2_000), (3, 5_000)])
def test_a_batch_equals_its_runs_one_by_one(runs, n):
    rows = np.array([6 + ar1(0.7, n, seed) for seed in range(runs)])
    times = autocorrelation_times(rows)
    assert len(times) == runs
    for i, row in enumerate(rows):
        alone = autocorrelation_time(row)
        assert times.value[i] == pytest.approx(alone.value, rel=1e-12, abs=1e-13)
        assert (times.window[i], times[i].notes) == (alone.window, alone.notes)
        for name in ("standard_uncertainty", "effective_samples"):
            number = getattr(alone, name)
            assert getattr(times[i], name) == (number and pytest.approx(number, rel=1e-12))
            expected = np.nan if number is None else number
            assert getattr(times, name)[i] == pytest.approx(expected, rel=1e-12, nan_ok=True)


def test_a_batch_says_where_a_number_is_absent():
    times = autocorrelation_times([np.tile([1.0, 2.0], 20), ar1(0.5, 40)])
    assert np.isnan(times.standard_uncertainty).tolist() == [True, False]
    assert times[0].standard_uncertainty is None
    assert "unknown" in str(autocorrelation_times([np.tile([1.0, 2.0], 20)]))


@pytest.mark.parametrize(
    ("rows", "text"),
    [
        ([np.arange(12.0), np.arange(13.0)], "rows: found no rectangle of numbers .*; accepted: .* equal length"),
        (np.arange(20.0), r"rows: found an array of 1 dimensions; accepted: an array of shape \(runs, n\)"),
        (np.zeros((4, 9)), "rows: found 4 runs of 9 samples; accepted: at least one run, of at least 10 samples"),
        (np.zeros((0, 20)), "rows: found 0 runs of 20 samples"),
        ([[0.0, 1e160] * 10], r"rows: row 0: found a range of 1e\+160; accepted"),
        ([[*range(12)], [6.2] * 12], "rows: row 1: found 12 readings all equal to 6.2"),
        ([[*range(12)], [*range(11), np.nan]], "rows: row 1: found nan at sample 11"),
        (np.ones((2, 3_000)), "rows: row 0: found 3000 readings all equal to 1"),
    ],
)
def test_what_is_no_batch_is_refused(rows, text):
    with pytest.raises(ValueError, match=text):
        autocorrelation_times(rows)


def test_results_are_shown_as_text_html_and_dict():
    time = autocorrelation_time(ar1(0.9, 300))
    assert "lags summed" in str(time)
    assert "<th" in time._repr_html_()
    assert set(time.to_dict()) >= {"value", "standard_uncertainty", "effective_samples", "window", "samples", "notes"}
    times = autocorrelation_times([ar1(0.9, 300, seed) for seed in range(3)])
    assert "3 of 300 samples" in str(times)
    assert "the value likely too small" in times._repr_html_()
    assert len(times.to_dict()["value"]) == 3


def test_memory_does_not_grow_with_the_series():
    autocorrelation_time(ar1(0.0, 20_000))  # what is imported on the way stays out of the figure
    y = ar1(0.9, 2_000_000)
    tracemalloc.start()
    autocorrelation_time(y)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 4e6  # the series takes 16 MB
