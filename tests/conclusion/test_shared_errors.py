"""What the units share by declaration, carried to the unit values; trials whose truth is known."""

from dataclasses import replace

import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.simulator.simulate import Articles, Bench, Noise, Readings, declare, lay_out, simulate_trial
from lossstats.simulator.simulated_readings import Approach
from lossstats.simulator.simulated_shafts import record_shafts
from lossstats.trial_folder.settings import BenchModelKeys, InstrumentKeys, TransducerKeys

QUIET = Readings(samples=60, interval_s=10.0, approach=Approach((0.2,), (60.0,)), noise=Noise(0.003, 0.3))
ONE_PERCENT = TransducerKeys(torque_class_percent=1.0, class_as="standard uncertainty")


def plain_trial(zeros=False, seed=3):
    plan = lay_out("paired", articles=5, references_every=2, zeros=zeros)
    articles = Articles(7.0, 0.5, article_sd=0.2, change_sd=0.02, mount_sd=0.02, run_sd=0.0)
    plan = replace(plan, articles=articles, bench=Bench(), readings=QUIET)
    settings = replace(declare(plan), instrument=InstrumentKeys())
    settings = replace(settings, drift=replace(settings.drift, reference_repeatability=0.02))
    return simulate_trial(replace(plan, settings=settings), rng=seed)


def shafts(shared, seed, **more):
    trial, truth = plain_trial(**more)
    keys = BenchModelKeys(input=ONE_PERCENT, output=ONE_PERCENT, shared_calibration=shared)
    recorded, _ = record_shafts(trial, keys, rng=seed)
    return analyse(recorded), analyse(trial), truth


@pytest.mark.parametrize("seed", range(4))
def test_gains_of_two_transducers_cancel_in_the_difference_but_not_in_percent(seed):
    """One percent of 280 W moves a level of 7 W by up to 4 W; the saving by a hundredth of itself."""
    wrong, right, truth = shafts(0.0, seed)
    assert abs(wrong.comparison.difference.value - right.comparison.difference.value) < 0.03 * 0.5
    assert abs(wrong.comparison.before_mean - right.comparison.before_mean) > 0.05
    table = wrong.budget.table
    assert table.loc[["torque gain in", "torque gain out"], "contribution"].max() < 0.02
    percent = wrong.comparison.percent
    if percent is None:
        assert (
            "not clearly above zero" in wrong.comparison.why_no_percent
            or "not above zero" in wrong.comparison.why_no_percent
        )
    else:
        assert table.loc[["torque gain in", "torque gain out"], "percent_share"].sum() > 0.9
        assert percent.low < truth.saving_percent < percent.high


def test_a_shared_calibration_leaves_the_percentage_alone():
    wrong, right, _ = shafts(1.0, 1)
    assert wrong.comparison.percent.value == pytest.approx(right.comparison.percent.value, abs=0.05)
    assert "torque gain common" in wrong.budget.table.index
    assert wrong.budget.table.loc["torque gain common", "percent_share"] < 0.01


def test_zero_runs_take_the_zeros_of_the_torques_out():
    keys = BenchModelKeys(input=TransducerKeys(zero_Nm=0.02), output=TransducerKeys(zero_Nm=0.02))
    for zeros in (False, True):
        trial, _ = plain_trial(zeros=zeros)
        table = analyse(record_shafts(trial, keys, rng=1)[0]).budget.table
        shares = table.loc[["torque zero in", "torque zero out"], "percent_contribution"]
        assert (shares.max() < 1e-6) == zeros
        assert (table.loc[["torque zero in", "torque zero out"], "contribution"] == 0).all()


def test_nothing_declared_nothing_shared():
    trial, _ = plain_trial()
    settings = replace(trial.settings, drift=replace(trial.settings.drift, references="ignore"))
    table = analyse(replace(trial, settings=settings)).budget.table
    assert list(table.index) == ["scatter", "readings"]  # no display step, no line for it


@pytest.mark.parametrize("zeros", [False, True])
def test_zero_runs_take_the_zero_of_the_instrument_out(zeros):
    """Before 7 W, after 6.5 W, zero 0.7 W: 100 x 6.5 / 7 x 0.7 x (1 / 6.5 - 1 / 7) is 0.71 percentage points."""
    trial, _ = plain_trial(zeros=zeros)
    settings = replace(trial.settings, instrument=InstrumentKeys(zero=0.7))
    zero = analyse(replace(trial, settings=settings)).budget.table.loc["zero"]
    assert zero["contribution"] == 0
    assert zero["percent_contribution"] == (0 if zeros else pytest.approx(0.714, abs=0.05))


@pytest.mark.parametrize("zeros", [False, True])
def test_a_new_zero_counts_unless_zero_runs_take_it_off(zeros):
    trial, _ = plain_trial(zeros=zeros)
    settings = replace(trial.settings, instrument=InstrumentKeys(rezero=0.1))
    row = analyse(replace(trial, settings=settings)).budget.table.loc["rezero"]
    assert row["contribution"] == pytest.approx(0.0 if zeros else 0.1 * 2**0.5)
    assert row["stated"].endswith("the zero runs of each bench day take it off") == zeros


@pytest.mark.parametrize(("stated", "references", "kind"), [(None, "interpolate", "A"), (0.05, "interpolate", "B")])
def test_drift_told_by_the_references_themselves_is_of_type_a(stated, references, kind):
    """JCGM 100:2008, 4.2 and 4.3: statistics of these runs are Type A, knowledge from elsewhere Type B."""
    trial, _ = plain_trial()
    rule = replace(trial.settings.drift, reference_repeatability=stated, references=references)
    table = analyse(replace(trial, settings=replace(trial.settings, drift=rule))).budget.table
    assert table.loc["drift", "kind"] == kind
    assert table.loc["scatter", "kind"] == "A"
