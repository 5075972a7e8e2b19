"""A plan rehearsed. Evidence: the same to the last bit wherever it is computed; sentences and notes; refusals."""

import multiprocessing
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from planned import planned

from lossstats.rehearsal.rehearsal import rehearse
from lossstats.rehearsal.rehearsed_bench import quiet_bench, usual_bench
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.simulator.simulate import Approach, LinearDrift
from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.plan_file import plan_text, seal_plan
from lossstats.trial_folder.settings import ReadingsKeys, SettlingKeys

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.08, "run": 0.04}
MATTERS = {"difference_that_matters": 0.25}
PLAN = planned(one_way=True, comparison=MATTERS)
SHORT = replace(
    planned("paired", "K01 K02 K03", one_way=True, comparison=MATTERS), readings=ReadingsKeys(0.01, (30.0,))
)


@pytest.mark.parametrize(("plan", "trials", "from_samples"), [(PLAN, 60, False), (SHORT, 6, True)])
def test_the_same_to_the_last_bit_on_any_executor(plan, trials, from_samples):
    def found(executor=None):
        return rehearse(plan, trials, components=SPREAD, from_samples=from_samples, executor=executor, rng=3)

    here = found()
    with ThreadPoolExecutor(2) as threads:
        assert found(threads) == here
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as processes:
        assert found(processes) == here


def test_the_seed_is_kept_and_gives_the_same_again():
    first = rehearse(PLAN, 10, components=SPREAD, rng=np.random.default_rng(4))
    again = rehearse(PLAN, 10, components=SPREAD, rng=first.seed)
    other = rehearse(PLAN, 10, components=SPREAD, rng=first.seed + 1)
    assert again == first
    assert other.none.half_width != first.none.half_width
    assert rehearse(PLAN, 10, components=SPREAD).seed == 1


def test_no_saving_and_saving_have_random_numbers_of_their_own():
    found = rehearse(PLAN, 10, components=SPREAD)
    assert found.none.half_width != found.some.half_width


def test_folder_settings_and_seal_give_the_same(tmp_path):
    plan = seal_plan(PLAN, lay_out_runs(PLAN))
    (tmp_path / "plan.json").write_text(plan_text(plan), encoding="utf-8")
    found = [rehearse(given, 5, components=SPREAD) for given in (PLAN, plan, tmp_path)]
    assert found[0] == found[1] == found[2]


def test_the_sentence_and_the_bench_time():
    found = rehearse(PLAN, 30, components=SPREAD, saving=0.3)
    order = lay_out_runs(PLAN)
    assert found.words == (
        "In 30 rehearsals of this plan with a true saving of 0.3 W the verdict was “saves” in "
        f"{found.power.words} and the 95 % interval held the truth in {found.some.coverage.words}; in 30 without a "
        f"saving a difference was claimed falsely in {found.false_claims.words}. The bench is needed for "
        f"{order.bench_time_h:.1f} h on 1 day."
    )
    assert (found.bench_time_h, found.bench_days, found.runs) == (order.bench_time_h, 1, len(order.runs))
    assert (found.saving, found.design, found.confidence, found.trials) == (0.3, "paired", 0.95, 30)
    assert found.false_claims is found.none.wrong and found.power is found.some.verdicts["saves"]
    assert found.none.saving == 0.0 and found.some.saving == 0.3


def test_more_days_are_counted():
    slow = planned(one_way=True, wash_hours=1, dry_hours=12, comparison=MATTERS)
    assert "on 3 days." in rehearse(slow, 2, components=SPREAD).words


def test_nothing_scatters_for_no_reason():
    # Known answer: a saving ten times the scatter is always found, and at no saving the trial is as the t test.
    found = rehearse(PLAN, 40, components={"change": 0.02}, saving=0.6, bench=quiet_bench())
    assert found.power.value == 1.0
    assert found.none.left_out == found.none.moving == found.some.left_out == 0


def test_an_order_that_does_not_hold_against_the_drift_is_told():
    bad = planned(one_way=True, waves=1, reference=None, comparison=MATTERS)
    drifting = replace(quiet_bench(), drift=(LinearDrift(0.1),))
    found = rehearse(bad, 60, components=SPREAD, bench=drifting)
    assert any(note.startswith("false claims are more frequent than the 5 % that") for note in found.notes)
    good = rehearse(planned(one_way=True, waves=1, comparison=MATTERS), 60, components=SPREAD, bench=drifting)
    assert not any("false claims" in note for note in good.notes)


def test_two_units_give_no_verdict_and_a_note():
    found = rehearse(planned("paired", "K01 K02", one_way=True, comparison=MATTERS), 10, components=SPREAD)
    assert found.some.verdicts["no verdict"].value == 1.0 and found.power.value == 0.0
    assert "this plan gives no verdict, whatever is true: too few units" in found.notes


def test_refused_trials_are_told_and_give_no_interval():
    slow = replace(usual_bench(), warm_up=Approach((2.0,), (900.0,)))
    plan = replace(SHORT, settling=SettlingKeys(tolerance=0.1))
    found = rehearse(plan, 2, components=SPREAD, bench=slow, from_samples=True)
    assert found.some.verdicts["refused"].value == 1.0 and found.some.left_out == 1.0
    assert "no trial gave an interval" in found.words
    assert any(note.startswith("up to 100.0 % of the trials were refused") for note in found.notes)
    assert not any("from settled levels on" in note for note in found.notes)


def test_what_the_order_confounds_and_several_conditions_are_told():
    several = planned("several", conditions="a b c", by="article", one_way=False, comparison=MATTERS)
    notes = rehearse(several, 2, components=SPREAD).notes
    assert "verdict, power and half-width are those of b against a; coverage is of all" in notes
    assert any(note.startswith("not told apart: ") for note in notes)
    assert any(note.startswith("from settled levels on") for note in notes)


def test_progress_has_an_item_a_block():
    seen = []

    def progress(items):
        seen.extend(items)
        return items

    rehearse(PLAN, 30, components=SPREAD, progress=progress)
    assert [block.trials for block in seen] == [25, 5, 25, 5]
    assert {block.plan.articles.saving for block in seen} == {0.0, 0.25}


@pytest.mark.parametrize("trials", [0, -3, 2.5, True])
def test_a_number_of_trials_out_of_range_is_refused(trials):
    with pytest.raises(ValueError, match=rf"trials: found {trials}; accepted: a whole number of at least 1"):
        rehearse(PLAN, trials, components=SPREAD)


@pytest.mark.parametrize("rng", [-1, 0.5, True])
def test_a_seed_out_of_range_is_refused(rng):
    with pytest.raises(ValueError, match=rf"rng: found {rng}; accepted: a Generator, or a whole number of at least 0"):
        rehearse(PLAN, 2, components=SPREAD, rng=rng)


def test_other_bad_input_is_refused_before_anything_is_simulated():
    with pytest.raises(TrialError, match=r"no table \[plan\]"):
        rehearse(replace(PLAN, plan=None), 2, components=SPREAD)
    with pytest.raises(ValueError, match=r"components\['mount'\]: found -0.1"):
        rehearse(PLAN, 2, components={**SPREAD, "mount": -0.1})
    with pytest.raises(TypeError, match="executor: found a str"):
        rehearse(PLAN, 2, components=SPREAD, executor="threads")
