"""Operating point and drift taken out of simulated trials whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.corrections import corrected_levels
from lossstats.simulator.simulate import Articles, Bench, LinearDrift, Noise, Readings, declare, lay_out, simulate_trial
from lossstats.simulator.simulated_plan import Power
from lossstats.simulator.simulated_readings import Approach
from lossstats.trial_folder.settings import OperatingPoint

QUIET = Readings(samples=60, interval_s=10.0, approach=Approach((0.2,), (60.0,)), noise=Noise(0.005, 0.3))


def trial_of(correction, *, exponent=1.0, design="paired", articles=6, run_spread=0.02, seed=4, **point):
    plan = lay_out(design, articles=articles, references_every=2)
    plan = replace(
        plan,
        articles=Articles(saving=0.5, article_sd=0.2, change_sd=0.02, mount_sd=0.02, run_sd=0.01),
        bench=Bench((LinearDrift(0.02),)),
        readings=QUIET,
        power=Power("input_power_W", 280.0, 20.0, run_spread=run_spread, within_sd=0.2, step=0.1, exponent=exponent),
    )
    settings = declare(plan)
    settings = replace(
        settings,
        operating_point={"input_power_W": OperatingPoint(280.0, 20.0, correction, **point)},
        drift=replace(settings.drift, reference_repeatability=0.03),
    )
    return simulate_trial(replace(plan, settings=settings), rng=seed)


def test_a_known_sensitivity_takes_the_scatter_of_the_operating_point_out():
    """At 7 W an input power that varies by 2 % scatters a level by 0.14 W; corrected, what is left is the mounts."""
    plain, truth = trial_of("none")
    known, _ = trial_of("power", sensitivity=1.0, sensitivity_u=0.1)
    before, after = analyse(plain).comparison.difference, analyse(known).comparison.difference
    assert after.standard_uncertainty < before.standard_uncertainty / 2
    assert abs(after.value - truth.saving_of_articles) < 0.05
    assert after.low < truth.saving < after.high


def test_its_doubt_stands_in_the_budget_as_far_as_the_conditions_differ():
    trial, _ = trial_of("power", sensitivity=1.0, sensitivity_u=0.3)
    table = analyse(trial).budget.table
    assert "operating point: input_power_W" in table.index
    exact, _ = trial_of("power", sensitivity=1.0)
    assert "operating point: input_power_W" not in analyse(exact).budget.table.index


def test_levels_shown_are_those_at_the_nominal_point():
    trial, truth = trial_of("power", sensitivity=1.0)
    result = analyse(trial)
    for run in result.runs:
        if run.role == "test":
            assert run.corrected == pytest.approx(truth.articles[run.article][run.condition], abs=0.15)


def test_references_come_to_the_nominal_point_too():
    """Drift is small here: references at nominal scatter by mounts alone, not by 2 % of 6 W."""
    trial, _ = trial_of("power", sensitivity=1.0, seed=9)
    settings = replace(trial.settings, drift=replace(trial.settings.drift, reference_repeatability=None))
    plain, _ = trial_of("none", seed=9)
    loose = replace(plain.settings, drift=replace(plain.settings.drift, reference_repeatability=None))
    with_it = analyse(replace(trial, settings=settings)).drift.reference_repeatability
    without = analyse(replace(plain, settings=loose)).drift.reference_repeatability
    assert with_it < without / 2


@pytest.mark.parametrize("design", ["paired", "independent"])
def test_a_fitted_power_is_found_and_told(design):
    trial, truth = trial_of("fitted power", exponent=0.8, design=design, articles=8, seed=6)
    result = analyse(trial)
    d = result.comparison.difference
    assert d.low < truth.saving < d.high
    plain = analyse(trial_of("none", exponent=0.8, design=design, articles=8, seed=6)[0]).comparison.difference
    if design == "paired":
        assert d.standard_uncertainty < plain.standard_uncertainty / 2
        assert d._spread.scatter.degrees_of_freedom < 7
    assert any("exponent" in note and note.startswith("input_power_W: ") for note in result.notes)
    row = result.budget.table.loc["fitted exponent: input_power_W"]
    assert row["contribution"] == 0 and "within the scatter" in row["stated"]
    assert row["kind"] == "A"  # statistics of these runs (JCGM 100, 0.7)


def test_a_trial_that_cannot_bear_a_regression_is_refused_with_the_reason():
    trial, _ = trial_of("fitted power", articles=4)
    with pytest.raises(
        ValueError, match=r"operating_point\.input_power_W: no power can be fitted to these runs: too few units"
    ):
        analyse(trial)
    trial, _ = trial_of("fitted power", run_spread=0.0)
    with pytest.raises(ValueError, match="hardly varies"):
        analyse(trial)


def test_a_zero_run_is_taken_off_before_the_factor():
    """A bench with a zero of 1 W: loss 7 W at 2 % more power reads 8.14 W; (8.14 - 1) / 1.02 is 7 again."""
    plan = lay_out("paired", articles=3, references_every=None, zeros=True)
    plan = replace(
        plan,
        articles=Articles(7.0, 0.5, article_sd=0.0, change_sd=0.0, mount_sd=0.0, run_sd=0.0),
        bench=Bench(zero=1.0),
        readings=Readings(samples=60, noise=Noise(0.002, 0.0), approach=Approach()),
        power=Power("p_W", 280.0, 20.0, run_spread=0.03, exponent=1.0),
    )
    settings = replace(declare(plan), operating_point={"p_W": OperatingPoint(280.0, 20.0, "power", 1.0)})
    trial, _ = simulate_trial(replace(plan, settings=settings), rng=2)
    for run in analyse(trial).runs:
        if run.role == "test":
            assert run.corrected == pytest.approx(
                7.0 if run.condition == settings.comparison.before else 6.5, abs=0.005
            )


def test_patterns_are_carried_through_drift_and_zero():
    """An error that every run has alike cancels with its references; one that grows with time is straightened out."""
    trial, _ = trial_of("none")
    drift = analyse(trial).drift
    n = drift.nominal_levels.size
    np.testing.assert_allclose(drift.carried(np.full(n, 0.3)), 0.3, atol=1e-12)  # the origin keeps it
    assert drift.carried(np.zeros(n)).any() == False  # noqa: E712


def one_article(left_out=()):
    """Eight mounts of one article in each condition, numbered alike."""
    plan = lay_out("single", mounts=8, references_every=2)
    plan = replace(
        plan,
        runs=tuple(run for k, run in enumerate(plan.runs) if k not in left_out),
        articles=Articles(saving=0.5, change_sd=0.0, mount_sd=0.03, run_sd=0.01),
        readings=QUIET,
        power=Power("input_power_W", 280.0, 30.0, run_spread=0.02, within_sd=0.2, step=0.1, exponent=0.8),
    )
    settings = replace(declare(plan), operating_point={"input_power_W": OperatingPoint(280.0, 30.0, "fitted power")})
    return analyse(simulate_trial(replace(plan, settings=settings), rng=3)[0])


def test_mounts_numbered_alike_are_no_blocks_of_a_fitted_power():
    """Mount 3 before and mount 3 after have nothing in common: 16 values less 2 conditions less 1 are 13."""
    result = one_article()
    (note,) = [n for n in result.notes if "exponent was fitted" in n]
    assert note.startswith("input_power_W")
    scatter = result.comparison.difference._spread.scatter
    assert 7 * 13 / 14 < scatter.degrees_of_freedom <= 13
    assert one_article(left_out=(1,)).comparison.n == (7, 8)


def test_untouched_articles_do_not_disturb_a_fitted_power():
    """The saving of the treated is no scatter: it would make the exponent less certain, and the result by a half."""
    plan = lay_out("controls", articles=8, controls=6, references_every=None)
    plan = replace(
        plan,
        articles=Articles(saving=1.5, article_sd=0.2, change_sd=0.02, mount_sd=0.02, run_sd=0.01),
        bench=Bench(),
        readings=QUIET,
        power=Power("input_power_W", 280.0, 30.0, run_spread=0.02, before_shift=0.01, within_sd=0.2, exponent=0.8),
    )
    declared = declare(plan)
    points = {
        "fitted": OperatingPoint(280.0, 30.0, "fitted power"),
        "known": OperatingPoint(280.0, 30.0, "power", 0.8),
    }
    u = {}
    for name, point in points.items():
        settings = replace(declared, operating_point={"input_power_W": point})
        difference = analyse(simulate_trial(replace(plan, settings=settings), rng=8)[0]).comparison.difference
        u[name] = difference.standard_uncertainty
    assert u["fitted"] < 1.3 * u["known"]


def test_steps_of_a_fitted_power_that_do_not_come_to_rest_are_refused(monkeypatch):
    """Two steps are fewer than the tolerance of 1e-9 takes."""
    trial, _ = trial_of("fitted power", exponent=0.8, articles=8, seed=6)
    monkeypatch.setattr(corrected_levels, "_MOST_STEPS", 2)
    with pytest.raises(
        ValueError, match=r"operating_point\.input_power_W: .* after 2 steps the exponent still moves by"
    ):
        analyse(trial)
