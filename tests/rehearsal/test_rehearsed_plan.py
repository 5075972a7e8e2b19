"""From a plan to what is simulated. Evidence: what was put in, read off what came out; messages."""

import math
from dataclasses import replace

import pytest
from planned import planned

from lossstats.rehearsal.rehearsed_bench import quiet_bench, usual_bench
from lossstats.rehearsal.rehearsed_plan import make_rehearsed_plan, open_plan, reference_sd
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.plan_file import plan_text, planned_settings, seal_plan
from lossstats.trial_folder.settings import Column, DriftKeys, InstrumentKeys, LogKeys, OperatingPoint, ReadingsKeys
from lossstats.trial_folder.trial_toml import settings_text

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.08, "run": 0.04}


def made(settings=None, *, components=None, saving=0.3, bench=None):
    settings = settings or planned(one_way=True)
    return make_rehearsed_plan(
        settings, lay_out_runs(settings), SPREAD if components is None else components, saving, bench or usual_bench()
    )


def test_settings_are_laid_out_by_their_own_seed():
    settings = planned(one_way=True, seed=7)
    found, order = open_plan(settings)
    assert found is settings
    assert order == lay_out_runs(settings)


def test_a_folder_that_is_not_sealed_yet(tmp_path):
    settings = planned(one_way=True)
    (tmp_path / "trial.toml").write_text(settings_text(settings), encoding="utf-8")
    assert open_plan(tmp_path) == (settings, lay_out_runs(settings))


def test_the_seal_goes_before_what_trial_toml_says_now(tmp_path):
    settings = planned(one_way=True, seed=3, comparison={"difference_that_matters": 0.25})
    plan = seal_plan(settings, lay_out_runs(settings))
    (tmp_path / "plan.json").write_text(plan_text(plan), encoding="utf-8")
    (tmp_path / "trial.toml").write_text(settings_text(planned(one_way=True, seed=4)), encoding="utf-8")
    for given in (tmp_path, str(tmp_path), plan):
        found, order = open_plan(given)
        assert found.comparison.difference_that_matters == 0.25
        assert order.runs == plan.runs and order.seed == 3
        assert order.bench_time_h == lay_out_runs(settings).bench_time_h


@pytest.mark.parametrize("design", ["paired", "several"])
def test_sealed_settings_come_back_whole(design):
    keys = {"conditions": "dusty cleaned oiled", "by": "article"} if design == "several" else {}
    settings = replace(
        planned(design, one_way=True, reference_every=2, **keys), instrument=InstrumentKeys(gain=0.01, gain_dof=8.0),
        operating_point={"input_power_W": OperatingPoint(280.0, 5.0)},
    )  # fmt: skip
    found, _ = open_plan(seal_plan(settings, lay_out_runs(settings)))
    assert found == settings
    assert math.isinf(found.instrument.zero_dof)
    assert planned_settings(found) == planned_settings(settings)


def test_an_article_called_inf_keeps_its_name():
    settings = planned("paired", "inf K02 K03", one_way=True)
    assert open_plan(seal_plan(settings, lay_out_runs(settings)))[0].plan.articles == ("inf", "K02", "K03")


def test_no_plan_is_told_with_what_is_accepted(tmp_path):
    bare = replace(planned(one_way=True), plan=None)
    with pytest.raises(TrialError, match=r"trial\.toml: found no table \[plan\]; accepted: a table \[plan\]"):
        open_plan(bare)
    (tmp_path / "trial.toml").write_text(settings_text(bare), encoding="utf-8")
    with pytest.raises(TrialError, match=r"no table \[plan\]"):
        open_plan(tmp_path)
    with pytest.raises(TrialError, match=r"trial\.toml"):
        open_plan(tmp_path / "nowhere")
    (tmp_path / "trial.toml").write_text("[trial]\nquestion = 3\n", encoding="utf-8")
    with pytest.raises(TrialError, match=r"line 2, key trial\.question"):
        open_plan(tmp_path)
    with pytest.raises(TypeError, match="plan: found a int; accepted: a trial folder, Settings or a SealedPlan"):
        open_plan(3)


def test_runs_are_those_of_the_order():
    settings = planned(one_way=True, wash_hours=1, dry_hours=12, zero_first=True)
    plan = made(settings)
    order = lay_out_runs(settings)
    assert [(r.name, r.start, r.role, r.article, r.condition, r.mount) for r in plan.simulated.runs] == [
        (r.run, r.start, r.role, r.article, r.condition, r.mount) for r in order.runs
    ]
    # Every reference run is a fitting of its own.
    references = [r.mount for r in plan.simulated.runs if r.role == "reference"]
    assert len(set(references)) == len(references) > 2


def test_articles_and_bench_are_those_given():
    settings = replace(
        planned(one_way=True, run_minutes=10.0, zero_minutes=2.0),
        instrument=InstrumentKeys(gain=0.01, zero=0.05), readings=ReadingsKeys(resolution=0.02, interval_s=(2.0, 5.0)),
    )  # fmt: skip
    bench = replace(usual_bench(50.0), reference_level=40.0)
    plan = made(settings, bench=bench).simulated
    a = plan.articles
    assert (a.level, a.reference_level, a.saving) == (50.0, 40.0, 0.3)
    assert (a.article_sd, a.change_sd, a.mount_sd, a.run_sd) == (0.3, 0.1, 0.08, 0.04)
    assert (plan.bench.gain_sd, plan.bench.zero_sd, plan.bench.drift) == (0.01, 0.05, bench.drift)
    assert (plan.bench.day_shift_sd, plan.bench.drift_at_zero) == (0.5, 0.5)
    r = plan.readings
    assert (r.samples, r.zero_samples, r.interval_s, r.display.step) == (300, 60, 2.0, 0.02)
    assert r.noise == bench.noise and r.approach == bench.warm_up and r.approach_spread == 0.3


def test_readings_set_the_scatter_of_a_level():
    plan = made(components={"change": 0.1, "readings": 0.03}).simulated
    assert plan.readings.noise.mean_sd(plan.readings.samples // 3) == pytest.approx(0.03)
    assert plan.readings.noise.phi == 0.5
    quiet = made(components={"change": 0.1, "readings": 0.03}, bench=quiet_bench()).simulated
    assert quiet.readings.noise.mean_sd(quiet.readings.samples // 3) == pytest.approx(0.03)


def test_the_saving_is_the_difference_that_matters_where_none_is_given():
    assert made(planned(one_way=True, comparison={"difference_that_matters": 0.2}), saving=None).saving == 0.2


def test_higher_is_better_saves_upwards():
    settings = planned(one_way=True)
    plan = made(replace(settings, trial=replace(settings.trial, better="higher")))
    assert plan.saving == 0.3
    assert plan.simulated.articles.saving == -0.3
    assert plan.at(0.1).articles.saving == -0.1


def test_one_article_stands_for_itself():
    plan = made(planned("single", "K01", mounts=3, one_way=False))
    assert plan.simulated.articles.change_sd == 0
    assert any("those of this article only" in note for note in plan.notes)


def test_of_several_conditions_one_saves_against_the_control():
    keys = {"conditions": "a b c", "by": "article", "one_way": False}
    plan = made(planned("several", **keys)).simulated
    assert (plan.before, plan.after, plan.others, plan.articles.other_savings) == ("a", "b", ("c",), (0.0,))
    plan = made(planned("several", comparison={"control": "b"}, **keys)).simulated
    assert (plan.before, plan.after, plan.others) == ("b", "a", ("c",))


def test_what_is_not_rehearsed_is_said():
    settings = replace(
        planned(one_way=True), operating_point={"input_power_W": OperatingPoint(280.0, 5.0)},
        log=LogKeys(other={"input_power_W": Column("input_power_W")}), instrument=InstrumentKeys(rezero=0.05),
        drift=DriftKeys(breaks=("2031-03-03T12:00:00+01:00",), reference_repeatability=0.5),
    )  # fmt: skip
    plan = made(settings, components={"change": (0.1, 5), "mount": 0.08})
    notes = "\n".join(plan.notes)
    assert "takes them at face value" in notes
    assert "no standard deviation given for article, run: counted as contained" in notes
    assert "operating point (input_power_W) taken as nominal" in notes
    assert "a new zero between the conditions" in notes
    assert "drift.breaks" in notes
    assert f"reference_repeatability is 0.5, while the components make a reference run scatter by {reference_sd(plan.simulated):.3g}" in notes  # fmt: skip
    assert plan.settings.operating_point == {}
    none = made(planned(one_way=True, reference=None)).notes
    assert none == ("no reference runs: nothing is taken off the drift but what zero runs see",)


def test_a_reference_run_scatters_by_refit_run_and_readings():
    plan = made(components={**SPREAD, "readings": 0.03}).simulated
    assert reference_sd(plan) == pytest.approx(math.sqrt(0.08**2 + 0.04**2 + 0.03**2))


@pytest.mark.parametrize(
    ("components", "words"),
    [
        ({"change": -0.1}, r"components\['change'\]: found -0.1; accepted: a standard deviation of 0 or above"),
        ({"change": math.nan}, r"components\['change'\]: found nan"),
        ({"change": (0.1, 0)}, r"components\['change'\]: found \(0.1, 0\); accepted: degrees of freedom above 0"),
        ({"chain": 0.1}, "components: found 'chain'; accepted: article, change, mount, run, readings"),
        ({}, "components: found none; accepted: standard deviations of article"),
    ],
)
def test_components_out_of_range_are_refused(components, words):
    with pytest.raises(ValueError, match=words):
        made(components=components)


@pytest.mark.parametrize("saving", [0.0, -0.1, math.nan, math.inf, 6.5])
def test_a_saving_out_of_range_is_refused(saving):
    with pytest.raises(ValueError, match=rf"saving: found {saving}; accepted: a true saving above 0, below the level"):
        made(saving=saving)


def test_no_saving_to_rehearse_is_refused():
    with pytest.raises(ValueError, match="saving: found none, and trial.toml fixes no difference that matters"):
        made(saving=None)


def test_runs_too_short_for_their_samples_are_refused():
    with pytest.raises(ValueError, match="bench: found 4 samples in a run, 300 s apart; accepted: at least 12"):
        made(bench=replace(usual_bench(), interval_s=300.0))
