"""Simulated readings: closed forms of the noise, the approach, the display and the faults."""

import math

import numpy as np
import pytest

from lossstats.simulator.simulated_readings import Approach, Display, Faults, Noise, simulate_run


def _quiet(level=5.0, **more):
    return simulate_run(level, noise=Noise(0.0), rng=1, **more)


class TestNoise:
    """Moments of AR(1) noise are closed forms: sd, lag correlations phi^k, sd of the mean from the covariance sum."""

    RUNS, SAMPLES = 2000, 60

    @pytest.mark.parametrize("phi", [-0.4, 0.0, 0.3, 0.9])
    @pytest.mark.parametrize("dof", [math.inf, 5.0])
    def test_moments_at_every_sample_from_the_first_on(self, phi, dof):
        noise = Noise(0.02, phi, student_dof=dof).draw(self.SAMPLES, rng=7, runs=self.RUNS)
        assert noise.shape == (self.RUNS, self.SAMPLES)
        # sd of an estimated sd over 2000 runs: 1.6 % normal, 2.9 % for t with 5 degrees of freedom (kurtosis 9)
        tolerance = 0.07 if math.isinf(dof) else 0.15
        assert noise.std(axis=0)[[0, 1, -1]] == pytest.approx(0.02, rel=tolerance)
        for lag in (1, 3):  # correlation at a lag is phi^lag; over 2000 runs of 60 its sd is below 0.006
            early, late = noise[:, :-lag], noise[:, lag:]
            assert (early * late).mean() / (early**2).mean() == pytest.approx(phi**lag, abs=0.02)
        assert abs(noise.mean()) < 4 * Noise(0.02, phi).mean_sd(self.SAMPLES) / math.sqrt(self.RUNS)

    @pytest.mark.parametrize(("correlated_sd", "phi", "white_sd"), [(0.02, 0.6, 0.0), (0.02, 0.9, 0.02), (0.0, 0, 0.1)])
    def test_sd_of_the_mean_is_the_covariance_summed_pair_by_pair(self, correlated_sd, phi, white_sd):
        n = 36
        lags = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
        covariance = correlated_sd**2 * np.power(float(phi), lags) + white_sd**2 * np.eye(n)
        noise = Noise(correlated_sd, phi, white_sd)
        assert noise.mean_sd(n) == pytest.approx(math.sqrt(covariance.mean()), rel=1e-12)
        seen = noise.draw(n, rng=3, runs=4000).mean(axis=1).std()
        assert seen == pytest.approx(noise.mean_sd(n), rel=0.05)  # sd of the estimate 1.1 %

    def test_student_noise_has_the_sd_asked_for_and_longer_tails(self):
        white = Noise(0.0, white_sd=0.02, student_dof=5.0).draw(1000, rng=5, runs=200)
        assert white.std() == pytest.approx(0.02, rel=0.02)
        # P(|t_5| > 4 sqrt(5/3)) = 0.0036 against 0.00006 for a normal: tables of the t distribution
        assert 0.002 < (np.abs(white) > 4 * 0.02).mean() < 0.006

    def test_one_run_is_one_dimensional(self):
        assert Noise().draw(12, rng=1).shape == (12,)

    @pytest.mark.parametrize(
        ("keys", "message"),
        [
            ({"phi": 1.0}, "Noise.phi: found 1.0; accepted: above -1 and below 1"),
            ({"white_sd": -0.1}, "Noise.white_sd: found -0.1; accepted: a finite number of at least 0"),
            ({"correlated_sd": math.nan}, "Noise.correlated_sd: found nan; accepted: a finite number of at least 0"),
            ({"student_dof": 2.0}, "Noise.student_dof: found 2.0; accepted: above 2"),
        ],
    )
    def test_refuses_what_has_no_meaning(self, keys, message):
        with pytest.raises(ValueError, match=message):
            Noise(**keys)


class TestApproach:
    def test_two_exponentials_by_hand(self):
        time_s, values = _quiet(approach=Approach((0.6, 0.4), (60.0, 300.0)), samples=181)
        assert values[0] == pytest.approx(6.0)
        minute, five = values[np.flatnonzero(time_s == 60.0)[0]], values[np.flatnonzero(time_s == 300.0)[0]]
        assert minute == pytest.approx(5 + 0.6 / math.e + 0.4 * math.exp(-0.2))
        assert five == pytest.approx(5 + 0.6 * math.exp(-5) + 0.4 / math.e)

    def test_creep_ends_at_the_level(self):
        _, values = _quiet(approach=Approach(creep=-0.05))
        assert values[0] == pytest.approx(5.05)
        assert values[-1] == 5.0
        assert np.diff(values) == pytest.approx(-0.05 / 179)
        assert _quiet(approach=Approach(creep=-0.05), samples=1)[1].tolist() == [5.0]

    def test_scaled_from_another_distance(self):
        assert Approach((0.4,), (60.0,), 0.1).scaled(0.5) == Approach((0.2,), (60.0,), 0.1)

    def test_refuses_unequal_lengths_and_times_not_above_zero(self):
        with pytest.raises(ValueError, match="found 1 amplitudes and 0 time constants; accepted: one time constant"):
            Approach((0.1,))
        with pytest.raises(ValueError, match="Approach.time_constants_s: found 0.0; accepted: a finite number above 0"):
            Approach((0.1,), (0.0,))


class TestDisplay:
    @pytest.mark.parametrize("step", [0.005, 0.01, 0.1, 0.25, 1.0, 5.0, 1e-05])
    def test_readings_are_the_floats_nearest_to_whole_steps_and_print_short(self, step):
        values = Display(step).show(np.random.default_rng(2).normal(6.5, 3.0, 2000))
        counts = np.rint(values / step)
        assert np.all(np.abs(values - counts * step) <= 4 * np.spacing(np.abs(values)))
        decimals = max(0, -math.floor(math.log10(step))) + 1
        assert all(float(f"{value:.{decimals}f}") == value for value in values.tolist())

    def test_nearest_step_and_no_negative_zero(self):
        shown = Display(0.5).show(np.array([-0.2, 0.26, 0.74, 6.9]))
        assert shown.tolist() == [0.0, 0.5, 0.5, 7.0]
        assert not np.signbit(shown[0])

    def test_clips_at_the_ends_of_the_range(self):
        assert Display(0.0, -1.0, 7.0).show(np.array([-3.0, 2.0, 9.0])).tolist() == [-1.0, 2.0, 7.0]

    def test_refuses_a_range_upside_down(self):
        with pytest.raises(ValueError, match=r"Display.lowest: found 2.0; accepted: below highest, here 1.0"):
            Display(0.0, 2.0, 1.0)


class TestFaults:
    def test_spike_stuck_and_gap_are_where_they_were_put(self):
        clean_s, clean = simulate_run(samples=60, rng=4, display=Display(0.005))
        faults = Faults(spikes=((10, 0.5),), stuck=((20, 29),), gaps=((40, 44),))
        time_s, values = simulate_run(samples=60, rng=4, display=Display(0.005), faults=faults)
        assert len(values) == 55
        assert time_s.tolist() == [*clean_s[:40], *clean_s[45:]]
        assert values[10] == pytest.approx(clean[10] + 0.5)
        assert np.all(values[20:30] == clean[19])
        untouched = [*range(10), *range(11, 20), *range(30, 40)]
        assert values[untouched].tolist() == clean[untouched].tolist()
        assert values[40:].tolist() == clean[45:].tolist()

    def test_a_spike_does_not_pass_the_end_of_the_range(self):
        _, values = _quiet(display=Display(0.0, highest=6.0), faults=Faults(spikes=((3, 9.0),)), samples=5)
        assert values.tolist() == [5.0, 5.0, 5.0, 6.0, 5.0]

    def test_stuck_from_the_first_sample_repeats_it(self):
        _, values = simulate_run(samples=9, rng=1, faults=Faults(stuck=((0, 4),)))
        assert len(set(values[:5].tolist())) == 1


def test_same_seed_same_readings_other_seed_others():
    one, same, other = (simulate_run(rng=seed)[1].tobytes() for seed in (1, 1, 2))
    assert one == same
    assert one != other


def test_refuses_a_run_without_samples():
    with pytest.raises(ValueError, match="samples: found 0; accepted: a whole number of at least 1"):
        simulate_run(samples=0, rng=1)
