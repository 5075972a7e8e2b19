"""Levels against published values and on real records; the source stands beside each."""

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from lossstats.one_run.levels import run_level, series_level, window_level
from lossstats.one_run.noise import variance_inflation
from lossstats.one_run.quantisation import rounding_uncertainty
from lossstats.one_run.screening import screen_run
from lossstats.one_run.settling import find_settled
from lossstats.one_run.stationary import lag_one, mean_of, standard_deviation

DATA = Path(__file__).parent / "data"


def column(name, key):
    return np.genfromtxt(DATA / name, delimiter=",", names=True, skip_header=_header(name))[key]


def _header(name):
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return next(i for i, line in enumerate(lines) if not line.startswith("#"))


def digits(found, certified):
    """Number of matching decimal digits (log relative error), 15 at most."""
    return 15.0 if found == certified else min(15.0, -np.log10(abs(found - certified) / abs(certified)))


# NIST StRD, univariate summary statistics, certified mean, standard deviation and lag-1 autocorrelation; the last
# column is the digits asked of the standard deviation. NumAcc3: binary64 holds the decimals to 9.5 digits only.
CERTIFIED = [
    ("Lew", -177.435, 277.332168044316, -0.307304800605679, 13),
    ("Mavro", 2.001856, 0.000429123454003053, 0.937989183438248, 13),
    ("Michelso", 299.8524, 0.0790105478190518, 0.535199668621283, 13),
    ("PiDigits", 4.5348, 2.86733906028871, -0.00355099287237972, 13),
    ("NumAcc1", 10000002, 1, -0.5, 13),
    ("NumAcc2", 1.2, 0.1, -0.999, 13),
    ("NumAcc3", 1000000.2, 0.1, -0.999, 9.2),
]


@pytest.mark.parametrize(("name", "mean", "sd", "lag", "wanted"), CERTIFIED)
def test_certified_summary_statistics(name, mean, sd, lag, wanted):
    y = column(f"nist_{name}.csv", "value")
    assert digits(mean_of(y), mean) >= 13
    # the certified deviation of Mavro and Michelso belongs to the decimals; in binary64 it has 13.1 and 13.8 digits
    assert digits(standard_deviation(y), sd) >= wanted
    assert digits(lag_one(y), lag) >= min(12, wanted)


@pytest.mark.parametrize(("name", "mean"), [c[:2] for c in CERTIFIED if c[0] != "NumAcc1"])
def test_the_level_of_a_certified_series_is_its_mean(name, mean):
    assert digits(series_level(column(f"nist_{name}.csv", "value")).value, mean) >= 13


def test_a_series_of_three_is_too_short_for_a_level():
    with pytest.raises(ValueError, match="values: found 3 samples; accepted: at least 10"):
        series_level(column("nist_NumAcc1.csv", "value"))


@pytest.mark.parametrize(
    ("phi", "n", "bracket", "effective"),
    [
        (0.3, 20, 1.7959183673490737, 11.136363636350397),
        (0.5, 100, 2.96, 33.78378378378378),
        (0.9, 1000, 18.820000000000004, 53.13496280552602),
    ],
)
def test_variance_of_the_mean_of_ar1_noise(phi, n, bracket, effective):
    # closed form: Anderson (1971); von Storch and Zwiers (1999), 6.6; computed, not a printed number
    assert variance_inflation(phi, n) == pytest.approx(bracket, rel=1e-12)
    assert n / variance_inflation(phi, n) == pytest.approx(effective, rel=1e-12)


@pytest.mark.parametrize(("phi", "tau"), [(0.5, 3.0), (0.9, 19.0)])
def test_integrated_correlation_time_of_ar1_noise(phi, tau):
    # closed form (1 + phi)/(1 - phi): the sum over all lags from minus to plus infinity; half of it elsewhere
    assert variance_inflation(phi, float("inf")) == pytest.approx(tau, rel=1e-12)


def test_a_digital_indication():
    # JCGM 100:2008, F.2.2.1 (from memory, recomputed): u = 0.29 dx, variance dx^2/12
    assert rounding_uncertainty(1.0, 0.0) == pytest.approx(0.29, abs=0.005)
    assert rounding_uncertainty(1.0, 0.0) ** 2 == pytest.approx(1 / 12, rel=1e-14)
    assert series_level(np.full(12, 7.0), resolution=1.0).standard_uncertainty ** 2 == pytest.approx(1 / 12, rel=1e-14)


# Exact mean and standard deviation of round(N(mu, sigma)), unit step: closed form, computed, not printed numbers.
ROUNDED = [
    (0.25, 0.2, 0.10556135658688094, 0.30756298796063336),
    (0.3, 0.5, 0.29782279592854766, 0.5794619769322322),
    (0.3, 1.0, 0.2999999991901083, 1.0408330013618587),
]


@pytest.mark.parametrize(("mu", "sigma", "mean", "sd"), ROUNDED)
def test_the_bias_of_rounded_readings_is_within_the_resolution_component(mu, sigma, mean, sd):
    rng = np.random.default_rng(1)
    y = np.round(mu + sigma * rng.standard_normal(200_000))
    assert y.mean() == pytest.approx(mean, abs=0.01)
    assert y.std() == pytest.approx(sd, abs=0.01)
    # the component is the root mean square of this bias over all mu, so sqrt(2) of it bounds a sinusoidal bias
    assert abs(mean - mu) <= np.sqrt(2) * rounding_uncertainty(1.0, sigma) * 1.02


def test_sheppards_correction():
    # Sheppard (1898): the variance of grouped values exceeds the true one by w^2/12, once sigma is not small
    assert ROUNDED[2][3] ** 2 - 1 / 12 == pytest.approx(1.0, abs=1e-4)
    assert ROUNDED[0][3] ** 2 - 1 / 12 != pytest.approx(0.04, rel=0.1)  # and not where it is


def test_newcombs_two_outlying_passage_times():
    # Newcomb (1882); Stigler (1977) gives -44 and -2 as the outlying ones among 66, which are not in doubt
    y = column("newcomb.csv", "value")
    found = screen_run(np.arange(66.0), y, resolution=1.0)
    assert y[list(found.spikes)].tolist() == [-44, -2]
    # the mean without them, 27.75, is the value usually quoted (from memory, recomputed)
    assert np.delete(y, found.spikes).mean() == pytest.approx(27.75)


def test_michelsons_hundred_are_not_independent():
    # Five experiments of twenty: means 909.0, 856.0, 845.0, 820.5, 831.5 (recomputed); s/sqrt(100) is 7.9
    level = series_level(column("michelson_1879.csv", "Speed"), resolution=10.0)
    assert level.value == pytest.approx(852.4, rel=1e-13)
    assert level.standard_uncertainty > 1.4 * 7.9
    assert level.effective_samples < 50


STRETCHES = [29, 97, 128, 497, 584]


def stretch(first):
    index, outlet = column("hairdryer_rig.csv", "index"), column("hairdryer_rig.csv", "outlet_V")
    starts = np.flatnonzero(np.diff(index, prepend=-9) != 1)
    begin = int(starts[np.flatnonzero(index[starts] == first)[0]])
    end = begin + int(np.argmax(np.r_[np.diff(index[begin:]), 9] != 1)) + 1
    outlet = outlet[begin + 4 : end]  # the air takes about three samples to reach the outlet
    return np.arange(len(outlet)) * 0.08, outlet


@pytest.mark.parametrize("first", STRETCHES)
def test_a_thermal_transient_is_foreseen_from_its_first_fourteen_readings(first):
    # Hair-dryer laboratory rig (Ljung, System Identification): the last readings of each stretch are the truth here
    t, y = stretch(first)
    level = run_level(t[:14], y[:14])
    low, high = level.interval()
    assert level.approach is not None
    assert 0.2 < level.approach.time_constant_s < 0.6
    assert low < y[-3:].mean() < high
    assert find_settled(t[:14], y[:14], tolerance=0.05).status == "moving"


def test_an_idle_inverter_is_level_and_its_morning_is_not():
    index, power = column("ac_power.csv", "index"), column("ac_power.csv", "ac_power")
    night, morning = power[index >= 870], power[index < 870]
    t = np.arange(len(night)) * 60.0
    level = window_level(t, night, 0.0, resolution=0.0001)
    assert level.value == pytest.approx(night.mean(), rel=1e-12)
    assert level.standard_uncertainty > 2 * night.std(ddof=1) / np.sqrt(len(night))  # slow drift under the noise
    assert find_settled(t, night, tolerance=0.1).status == "settled"
    assert find_settled(t[: len(morning)], morning, tolerance=100.0).status == "moving"


def test_a_riders_seconds_are_not_independent():
    y = column("ride_plateau.csv", "power_W")
    level = series_level(y, resolution=1.0)
    assert level.effective_samples < len(y) / 10
    assert level.standard_uncertainty > 3 * y.std(ddof=1) / np.sqrt(len(y))
    assert level.components["resolution"] < 1e-6  # 48 W of scatter on a 1 W display: rounding averages out


def test_the_normal_probability_behind_the_68_percent_half_width():
    assert norm.cdf(1) == pytest.approx(0.8413447460685429, rel=1e-15)
