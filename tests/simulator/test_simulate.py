"""Simulated trials: the readings follow from the truth that comes with them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from lossstats.simulator.simulate import (
    Approach,
    Articles,
    Bench,
    BowDrift,
    Display,
    Faults,
    LinearDrift,
    Noise,
    Power,
    Readings,
    WalkDrift,
    lay_out,
    lay_out_blocks,
    simulate_levels,
    simulate_trial,
)
from lossstats.trial_folder.trial import read_trial, write_trial

BENCH = Bench((LinearDrift(0.02), WalkDrift(0.03)), (0.0, 0.1), 0.05, 0.5, gain=0.01, gain_sd=0.005, zero=0.04)
SILENT = Readings(samples=24, zero_samples=24, noise=Noise(0.0))


def _plan(design="paired", **parts):
    return replace(lay_out(design, articles=3, mounts=2, zeros=True), bench=BENCH, **parts)


class TestTruth:
    @pytest.mark.parametrize("design", ["paired", "independent", "single", "controls"])
    def test_silent_readings_are_gain_times_true_level_plus_zero_plus_drift(self, design):
        plan = lay_out(design, articles=3, mounts=2, controls=design == "controls", zeros=True)
        trial, truth = simulate_trial(replace(plan, bench=BENCH, readings=SILENT), rng=3)
        for run in trial.runs:
            expected = (1 + truth.gain) * truth.levels[run.name] + truth.zero + truth.drift[run.name]
            assert run.values == pytest.approx(expected, abs=1e-12)
            assert truth.shown[run.name] == pytest.approx(expected, abs=1e-12)

    def test_with_the_scatter_off_a_run_has_the_level_of_its_article(self):
        articles = Articles(6.5, 0.5, mount_sd=0.0, run_sd=0.0, reference_level=6.2)
        trial, truth = simulate_trial(_plan(articles=articles), rng=4)
        for run in trial.runs:
            levels = {"test": truth.articles.get(run.article, {}).get(run.condition), "reference": 6.2, "zero": 0.0}
            assert truth.levels[run.name] == levels[run.role]

    def test_saving_of_these_articles_is_the_mean_over_them(self):
        _, truth = simulate_trial(_plan(), rng=5)
        savings = [levels["before"] - levels["after"] for levels in truth.articles.values()]
        before = [levels["before"] for levels in truth.articles.values()]
        assert truth.saving_of_articles == pytest.approx(sum(savings) / 3)
        assert truth.saving_of_articles_percent == pytest.approx(100 * sum(savings) / sum(before))
        assert (truth.saving, truth.saving_percent) == (0.5, pytest.approx(100 * 0.5 / 6.5))

    def test_independent_articles_are_in_one_condition_each(self):
        _, truth = simulate_trial(_plan("independent"), rng=6)
        means = {
            condition: np.mean([levels[condition] for levels in truth.articles.values() if condition in levels])
            for condition in ("before", "after")
        }
        assert [len(levels) for levels in truth.articles.values()] == [1] * 6
        assert truth.saving_of_articles == pytest.approx(means["before"] - means["after"])

    def test_untouched_articles_do_not_count_in_the_saving(self):
        plan = replace(lay_out("controls", articles=2, controls=2), articles=Articles(saving=0.5))
        _, truth = simulate_trial(plan, rng=7)
        savings = {name: levels["before"] - levels["after"] for name, levels in truth.articles.items()}
        assert savings["C01"] == savings["C02"] == 0.0
        assert truth.saving_of_articles == pytest.approx((savings["K01"] + savings["K02"]) / 2)

    def test_drift_at_known_times(self):
        bench = Bench((LinearDrift(0.03), BowDrift(0.2, 8.0)), day_shifts=(0.0, 0.1))
        trial, truth = simulate_trial(replace(lay_out("paired", articles=3), bench=bench), rng=1)
        for run in trial.runs:
            hours = run.start.hour - 8 + run.start.minute / 60  # bench days begin at 8 o'clock
            bow = 0.2 * (1 - (hours / 4 - 1) ** 2)  # a parabola with its top at 4 h
            shift = 0.0 if run.bench_day == "2025-03-03" else 0.1
            assert truth.drift[run.name] == pytest.approx(0.03 * hours + bow + shift, abs=1e-12)

    def test_the_same_seed_gives_the_truth_of_the_levels_alone(self):
        _, truth = simulate_trial(_plan(), rng=8)
        levels = simulate_levels(_plan(), rng=8)
        assert list(truth.shown.values()) == levels.shown[0].tolist()

    def test_is_shown_in_words(self):
        _, truth = simulate_trial(_plan(articles=Articles(8.0, 0.6)), rng=5)
        assert "saving, population         0.600 (7.50 %)" in str(truth)
        assert "0.600 (7.50 %)" in truth._repr_html_()
        assert truth.to_dict()["saving"] == 0.6


class TestReadings:
    def test_runs_scatter_about_what_is_shown_as_the_noise_says(self):
        noise = Noise(0.02, 0.5)
        trial, truth = simulate_trial(_plan(readings=Readings(180, 60, noise=noise)), rng=9)
        scores = [(run.values.mean() - truth.shown[run.name]) / noise.mean_sd(len(run.values)) for run in trial.runs]
        # chi-square on 24 runs: 99.8 % of sums lie between 8.08 and 51.2 (tables of the distribution)
        assert len(scores) == 24
        assert 8.08 < sum(score**2 for score in scores) < 51.2
        assert [len(run.values) for run in trial.runs if run.role == "zero"] == [60] * 4

    def test_approach_is_in_test_and_reference_runs_and_varies_from_run_to_run(self):
        readings = replace(SILENT, approach=Approach((0.3,), (30.0,)), approach_spread=0.2)
        trial, truth = simulate_trial(_plan(readings=readings), rng=10)
        starts = {run.name: run.values[0] - truth.shown[run.name] for run in trial.runs}
        zeros = [starts[run.name] for run in trial.runs if run.role == "zero"]
        others = [starts[run.name] for run in trial.runs if run.role != "zero"]
        assert zeros == pytest.approx([0.0] * 4, abs=1e-12)
        assert np.mean(others) == pytest.approx(0.3, abs=4 * 0.06 / math.sqrt(len(others)))
        assert 0.03 < np.std(others) < 0.1

    def test_a_run_can_have_faults_and_an_approach_of_its_own(self):
        plan = _plan(readings=SILENT)
        odd = replace(plan.runs[2], approach=Approach((1.0,), (60.0,)), faults=Faults(((5, 0.5),), gaps=((20, 21),)))
        trial, truth = simulate_trial(replace(plan, runs=(*plan.runs[:2], odd, *plan.runs[3:])), rng=1)
        run = trial.runs[2]
        above = run.values - truth.shown[run.name]
        assert above == pytest.approx(np.exp(-run.time_s / 60.0) + 0.5 * (run.time_s == 25.0), abs=1e-12)
        assert len(run.time_s) == 22

    def test_loss_follows_the_power_sample_by_sample(self):
        power = Power(nominal=280.0, run_spread=0.01, within_sd=1.0, exponent=2.0)
        trial, truth = simulate_trial(_plan(readings=SILENT, power=power), rng=11)
        for run in trial.runs:
            column = run.operating_point["input_power_W"]
            if run.role == "zero":
                assert column.tolist() == [0.0] * 24
                continue
            loss = truth.levels[run.name] * (column / 280.0) ** 2
            expected = (1 + truth.gain) * loss + truth.zero + truth.drift[run.name]
            assert run.values == pytest.approx(expected, abs=1e-12)
            assert np.std(column) > 0.2

    def test_power_column_has_its_own_display_step(self):
        trial, _ = simulate_trial(_plan(power=Power(within_sd=0.4, step=0.1)), rng=12)
        column = trial.runs[1].operating_point["input_power_W"]
        assert [float(f"{value:.1f}") for value in column.tolist()] == column.tolist()


def _bytes(trial):
    return b"".join(run.values.tobytes() for run in trial.runs)


def test_same_seed_same_bytes_other_seed_others():
    trials = [simulate_trial(_plan(), rng=seed) for seed in (1, 1, 2)]
    assert _bytes(trials[0][0]) == _bytes(trials[1][0])
    assert trials[0][1] == trials[1][1]
    assert _bytes(trials[0][0]) != _bytes(trials[2][0])


@pytest.mark.parametrize("step", [0.005, 0.01, 0.25])
def test_a_displayed_trial_survives_writing_and_reading_bit_for_bit(step, tmp_path):
    plan = _plan(readings=Readings(40, 20, display=Display(step)), power=Power(within_sd=0.4, step=0.1))
    trial, _ = simulate_trial(plan, rng=13)
    write_trial(trial, tmp_path / "trial")
    again = read_trial(tmp_path / "trial")
    assert again.settings == trial.settings
    for run, back in zip(trial.runs, again.runs, strict=True):
        assert back.values.tobytes() == run.values.tobytes()
        assert back.time_s.tobytes() == run.time_s.tobytes()
        power, power_back = (r.operating_point["input_power_W"] for r in (run, back))
        assert power_back.tobytes() == power.tobytes()
        assert (back.name, back.start, back.role, back.article) == (run.name, run.start, run.role, run.article)
        assert (back.condition, back.mount, back.remarks) == (run.condition, run.mount, run.remarks)


def test_truth_of_several_conditions():
    plan = lay_out_blocks(["A", "B", "C"], articles=2, savings=(0.4, -0.1), rng=1)
    trial, truth = simulate_trial(replace(plan, readings=SILENT), rng=1)
    assert truth.savings == {"B": 0.4, "C": -0.1} and truth.saving == 0.4
    assert set(truth.articles["K01"]) == {"A", "B", "C"}
    assert "saving, population, C" in str(truth)
    keys = trial.settings.comparison
    assert (keys.design, keys.all_conditions, keys.control, keys.blocks) == ("several", ("A", "B", "C"), "A", "article")
    with pytest.raises(
        ValueError, match="Plan: found 1 further conditions and 0 other_savings; accepted: as many of each"
    ):
        replace(plan, articles=Articles())
