"""Remarks on the records of a trial. Evidence: each thing that stands out was put there by the test."""

from dataclasses import replace

import numpy as np
import pytest

from lossstats.cli import main
from lossstats.conclusion.analysis import analyse, remarks_on
from lossstats.conclusion.plausibility import plausibility_remarks
from lossstats.simulator.simulate import Display, Noise, Readings, declare, lay_out, simulate_trial
from lossstats.trial_folder.trial import write_trial

READINGS = Readings(samples=36, interval_s=20.0, noise=Noise(correlated_sd=0.01, phi=0.2), display=Display(step=0.005))


@pytest.fixture(scope="module")
def trial():
    plan = replace(lay_out("paired", articles=4, zeros=True), readings=READINGS)
    return simulate_trial(replace(plan, settings=declare(plan)), rng=5)[0]


def changed(trial, change, only=lambda _: True):
    return replace(trial, runs=tuple(replace(r, values=change(r.values)) if only(r) else r for r in trial.runs))


def test_sound_records_call_for_none(trial):
    assert trial.settings.readings.resolution == 0.005
    assert {run.role for run in trial.runs} >= {"test", "zero"}
    assert plausibility_remarks(trial) == remarks_on(trial) == ()


def test_a_display_that_stood_still(trial):
    still = changed(trial, lambda v: np.full_like(v, 6.12), lambda r: r.name in {"r03", "r05"})
    (remark,) = plausibility_remarks(still)
    assert remark.startswith("all readings of a run are equal (6.12 W) in r03, r05")
    assert remark in analyse(still).notes


def test_a_sign_that_is_wrong(trial):
    (remark,) = plausibility_remarks(changed(trial, np.negative))
    assert remark.startswith("most readings are below 0 W in ")
    assert "and" in remark and "more: is the sign of the unit factor right?" in remark


def test_a_column_that_knows_no_load(trial):
    hall = np.random.default_rng(1)
    found = plausibility_remarks(changed(trial, lambda v: 21 + 0.005 * hall.integers(0, 5, len(v))))
    assert any("zero runs read 21" in remark and "is the value column the loss?" in remark for remark in found)


def test_a_factor_that_is_wrong(trial):
    (remark,) = plausibility_remarks(changed(trial, lambda v: 0.001 * v))
    assert remark.startswith("readings are no multiples of the declared resolution, 0.005 W, in r01, r02")


@pytest.mark.parametrize(("declared", "words"), [(0.001, "0.001 W is declared"), (0.0, "none is declared")])
def test_steps_coarser_than_declared(trial, declared, words):
    settings = replace(trial.settings, readings=replace(trial.settings.readings, resolution=declared))
    (remark,) = plausibility_remarks(replace(trial, settings=settings))
    assert remark == f"the readings change by steps of 0.005 W where a resolution of {words}: is it right?"


def test_a_step_stated_to_few_digits_is_no_matter(trial):
    """0.005 metric horsepower of 735.499 W, the resolution stated as 3.68 W."""
    settings = replace(trial.settings, readings=replace(trial.settings.readings, resolution=3.68))
    assert plausibility_remarks(replace(changed(trial, lambda v: 735.499 * v), settings=settings)) == ()


def test_check_tells_what_analyse_will_ask(trial, tmp_path, capsys):
    falling = changed(
        trial, lambda v: np.round((v + np.linspace(1, 0, len(v))) / 0.005) * 0.005, lambda r: r.name == "r03"
    )
    write_trial(falling, tmp_path / "falling")
    assert main(["check", str(tmp_path / "falling")]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "no faults" in told
    assert "remark: still moving at the end by the declared tolerance, analyse will refuse them: r03" in told


def test_a_run_without_level_is_called_by_its_name(trial, tmp_path, capsys):
    short = replace(trial, runs=tuple(
        replace(r, time_s=r.time_s[:2], values=r.values[:2]) if r.name == "r03" else r for r in trial.runs
    ))  # fmt: skip
    write_trial(short, tmp_path / "short")
    assert main(["check", str(tmp_path / "short")]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "remark: analyse will refuse run r03 (samples/r03.csv): values: found 2 samples" in told
    assert main(["analyse", str(tmp_path / "short")]) == 1
    assert "run r03 (samples/r03.csv): values: found 2 samples" in capsys.readouterr().err
