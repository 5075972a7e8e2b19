"""Spread by source from trial folders with known truth, from references, from nested tables; bad input."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from scipy import stats

from lossstats.planning.pilot import components_from_trials
from lossstats.planning.planned_design import PlannedDesign
from lossstats.simulator.simulate import Bench, Noise, Readings, lay_out, simulate_trial
from lossstats.trial_folder.trial import read_trial

EXAMPLES = Path(__file__).parents[2] / "example_runs"


def test_example_with_remounts():
    """Invented trial with known truth: change 0.1, mount 0.06 with run 0.02, article 0.3 W; each within its 99 % range."""
    found = components_from_trials(EXAMPLES / "flour_dust")
    assert set(found.components) == {"mount", "change", "article", "readings"}
    for name, true in (("mount", math.hypot(0.06, 0.02)), ("change", 0.1), ("article", 0.3)):
        sd, dof = found.components[name]
        low, high = (sd * math.sqrt(dof / q) for q in stats.chi2.ppf([0.995, 0.005], dof))
        assert low < true < high
    assert found.reference_sd == pytest.approx(0.06) and found.reference_dof == 20  # stated in its trial.toml
    assert "no run was repeated in a mount: mount contains run" in found.notes
    assert found.components["readings"].standard_uncertainty < 0.02
    assert "plan with" in str(found) and "<table" in found._repr_html_()
    assert found.table.planning_sd["change"] > found.table.sd["change"]


def test_what_it_finds_goes_into_a_plan():
    found = components_from_trials(EXAMPLES / "flour_dust")
    plan = PlannedDesign("paired", 6, found.components, mounts=2, references=4, reference_sd=found.reference_sd)
    assert plan.inflation > 1
    sd, dof = found.components["change"]
    assert found.planning_sd()["change"] == pytest.approx(sd * math.sqrt(dof / stats.chi2.ppf(0.2, dof)))


def test_refits_of_the_reference_stand_in_for_mounts():
    found = components_from_trials(read_trial(EXAMPLES / "four_oils"))
    assert found.notes[0].startswith("no mount was repeated: refit and run of the reference article stand in")
    sd, readings = (found.components[name].standard_uncertainty for name in ("mount", "readings"))
    assert math.hypot(sd, readings) == pytest.approx(0.05) and found.components[
        "mount"
    ].degrees_of_freedom == pytest.approx(20)


def quick(design, rng, **keys):
    plan = lay_out(design, **keys)
    quiet = Readings(samples=30, noise=Noise(0.002))
    plan = replace(plan, readings=quiet, bench=Bench(), articles=replace(plan.articles, mount_sd=0.1, run_sd=0.0))
    trial, _ = simulate_trial(plan, rng=rng)
    settling = replace(trial.settings.settling, still_moving="use with a note")
    return replace(trial, settings=replace(trial.settings, settling=settling))


def test_trials_are_pooled_and_the_change_needs_pairs():
    groups = quick("independent", 1, articles=4, mounts=2, references_every=None)
    alone = components_from_trials(groups)
    assert "change" not in alone.components and "half the variance of their change" in alone.notes[-1]
    with pytest.raises(ValueError, match="'change' among them"):
        PlannedDesign("paired", 4, alone.components)
    controlled = quick("controls", 2, articles=3, controls=3, mounts=2, references_every=None)
    both = components_from_trials([groups, controlled])
    assert len(both.trials) == 2 and len(controlled.settings.comparison.controls) == 3
    assert both.components["mount"].degrees_of_freedom == pytest.approx(8 + 12)
    alone_controls = components_from_trials(controlled).components
    assert "change" in alone_controls and alone_controls["mount"].degrees_of_freedom == pytest.approx(12)


def test_bad_input_is_named():
    with pytest.raises(ValueError, match="found nothing repeated, neither runs nor mounts nor articles"):
        components_from_trials(EXAMPLES / "one_chain")
    with pytest.raises(ValueError, match="folders_or_trials: found none; accepted: at least one trial"):
        components_from_trials([])
    with pytest.raises(ValueError, match="^assurance: found 1.0; accepted: a number between 0 and 1"):
        components_from_trials(EXAMPLES / "flour_dust").planning_sd(1.0)
    trial = quick("independent", 1, articles=2, references_every=None)
    other = replace(trial, settings=replace(trial.settings, trial=replace(trial.settings.trial, unit="kW")))
    with pytest.raises(ValueError, match="found the units W, kW; accepted: one and the same"):
        components_from_trials([trial, other])
