"""The whole job in one call: from a folder or a trial in memory, with and without the other choices."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.conclusion import conclude, reduce_trial
from lossstats.simulator.examples import example_trial
from lossstats.simulator.simulate import lay_out, simulate_trial
from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.trial import read_trial, write_trial


@pytest.fixture(scope="module")
def trial():
    return example_trial("one_chain")


@pytest.fixture(scope="module")
def folder(trial, tmp_path_factory):
    path = tmp_path_factory.mktemp("analysis") / "trial"
    write_trial(trial, path)
    return path


def test_a_folder_and_its_trial_give_the_same_numbers(folder):
    by_folder, by_trial = analyse(folder, choices=False), analyse(read_trial(folder))
    assert by_folder.comparison == by_trial.comparison
    assert by_folder.statement == by_trial.statement


def test_it_is_its_steps_one_after_the_other(trial):
    found = analyse(trial)
    stepwise = conclude(trial, reduce_trial(trial))
    assert found.to_dict() == stepwise.to_dict()


def test_choices_are_made_for_a_folder_and_for_a_trial_on_request(folder, trial):
    assert analyse(trial).sensitivity is None
    assert analyse(folder, choices=False).sensitivity is None
    asked = analyse(trial, choices=True).sensitivity
    assert asked is not None
    assert asked.choices == analyse(folder).sensitivity.choices


def test_a_single_unit_cannot_be_left_out(trial):
    assert analyse(trial, choices=True).influence is None


def test_several_units_are_left_out_in_turn():
    trial, _ = simulate_trial(lay_out("paired", articles=3), rng=1)
    found = analyse(trial, choices=True)
    assert [row.left_out for row in found.influence.rows] == list(trial.units)


def test_progress_wraps_the_runs_in_bench_order(trial):
    seen = []

    def watched(runs):
        for run in runs:
            seen.append(run)
            yield run

    assert analyse(trial, progress=watched).comparison == analyse(trial).comparison
    assert len(seen) == len(trial.runs)


def test_a_folder_with_faults_is_refused_with_all_of_them(folder, tmp_path):
    broken = Path(shutil.copytree(folder, tmp_path / "trial"))
    files = sorted((broken / "samples").iterdir())[:2]
    for file in files:
        file.unlink()
    with pytest.raises(TrialError) as refused:
        analyse(broken)
    assert all(file.name in str(refused.value) for file in files)


def test_a_condition_without_runs_is_refused(trial):
    kept = tuple(run for run in trial.runs if run.condition != trial.settings.comparison.after)
    with pytest.raises(ValueError, match="accepted"):
        analyse(replace(trial, runs=kept))
