"""Blocks of simulated trials. Evidence: a naive loop over the public analysis; wrong claims spelt out by hand."""

from concurrent.futures import Future
from dataclasses import replace

import numpy as np
import pytest
from planned import planned

from lossstats.comparison.verdict import decide
from lossstats.conclusion.analysis import analyse
from lossstats.rehearsal.rehearsed_bench import quiet_bench, usual_bench
from lossstats.rehearsal.rehearsed_plan import make_rehearsed_plan
from lossstats.rehearsal.rehearsed_trials import (
    BLOCK,
    Block,
    Outcome,
    compute_blocks,
    is_wrong,
    lay_out_blocks,
    rehearse_block,
    without_samples,
)
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.simulator.simulate import Approach, simulate_levels, simulate_trial
from lossstats.trial_folder.settings import ReadingsKeys, SettlingKeys

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.08, "run": 0.04}
MATTERS = {"difference_that_matters": 0.25}


def simulated(design="paired", *, settling=None, bench=None, saving=0.3, better="lower", articles=None, **keys):
    keys = {"one_way": True, "comparison": MATTERS, **keys}
    names = {"single": "K01"}.get(design, "K01 K02 K03 K04") if articles is None else articles
    settings = planned(design, names, **keys)
    settings = replace(
        settings, readings=ReadingsKeys(interval_s=(30.0,)), settling=settling or SettlingKeys(tolerance=0.3),
        trial=replace(settings.trial, better=better),
    )  # fmt: skip
    plan = make_rehearsed_plan(settings, lay_out_runs(settings), SPREAD, saving, bench or usual_bench())
    return plan.simulated


def block(plan, trials=3, seed=5, *, from_samples=False):
    return Block(plan, trials, np.random.SeedSequence(seed), from_samples)


def test_from_samples_is_the_whole_analysis_of_simulated_trials():
    plan, rng = simulated(), np.random.default_rng(np.random.SeedSequence(5))
    for outcome in rehearse_block(block(plan, from_samples=True)):
        trial, truth = simulate_trial(plan, rng=rng)
        c = analyse(trial).comparison
        assert outcome.verdict == c.verdict.kind
        assert outcome.half_width == (c.difference.high - c.difference.low) / 2
        assert outcome.held == (c.difference.low <= truth.saving <= c.difference.high)
        assert outcome.held_percent == (c.percent.low <= truth.saving_percent <= c.percent.high)


def test_from_levels_takes_the_levels_that_the_simulator_draws():
    # Without drift, references or zeros the half-width is that of the paired t over the drawn levels.
    plan = simulated(reference=None, bench=quiet_bench())
    drawn = simulate_levels(plan, rng=np.random.default_rng(np.random.SeedSequence(5)), trials=3)
    side = {c: [k for k, r in enumerate(plan.runs) if r.condition == c] for c in plan.conditions}
    article = {c: [plan.runs[k].article for k in side[c]] for c in side}
    for k, outcome in enumerate(rehearse_block(block(plan))):
        after = dict(zip(article[plan.after], drawn.values[k, side[plan.after]], strict=True))
        d = [drawn.values[k, i] - after[plan.runs[i].article] for i in side[plan.before]]
        half = 3.182446305 * np.std(d, ddof=1) / 2  # t of 3 degrees of freedom, tabulated
        assert outcome.half_width == pytest.approx(half, rel=1e-6)
        assert outcome.held == (abs(np.mean(d) - 0.3) <= half)


def test_higher_is_better_is_the_mirror_image():
    # The quiet bench draws the same effects; what fell by 0.3 W rises by it.
    same = {"reference": None, "bench": quiet_bench()}
    lower, higher = (rehearse_block(block(simulated(better=b, **same), 20)) for b in ("lower", "higher"))
    assert [o.half_width for o in lower] == pytest.approx([o.half_width for o in higher])
    for outcomes in (lower, higher):
        assert sum(o.verdict == "saves" for o in outcomes) > 5
        assert not any(o.verdict == "costs" for o in outcomes)
        assert np.mean([o.held for o in outcomes]) > 0.7 and np.mean([o.held_percent for o in outcomes]) > 0.7


@pytest.mark.parametrize("better", ["lower", "higher"])
def test_one_article_is_held_against_its_own_percentage(better):
    # Articles scatter by 10 W about 50 W: the percentage of the population would be missed nearly always.
    plan = simulated("single", mounts=6, one_way=False, better=better, bench=quiet_bench(50.0), saving=5.0)
    plan = replace(plan, articles=replace(plan.articles, article_sd=10.0))
    outcomes = rehearse_block(block(plan, 40))
    assert np.mean([o.held_percent for o in outcomes]) > 0.8
    assert np.mean([o.held for o in outcomes]) > 0.8


@pytest.mark.parametrize("better", ["lower", "higher"])
@pytest.mark.parametrize("control", [None, "b"])
def test_several_conditions_hold_together(control, better):
    plan = simulated(
        "several", conditions="a b c", by="article", one_way=False, comparison={**MATTERS, "control": control},
        saving=1.0, better=better, bench=quiet_bench(), articles="K01 K02 K03 K04 K05 K06",
    )  # fmt: skip
    outcomes = rehearse_block(block(plan, 40))
    # 1 W is far more than the scatter: the condition asked for saves, and few claims are wrong.
    assert {o.verdict for o in outcomes} == {"saves"}
    assert np.mean([o.wrong for o in outcomes]) < 0.2 and np.mean([o.held for o in outcomes]) > 0.8
    percent = [o.held_percent for o in outcomes]
    assert percent == [None] * 40 if control is None else np.mean(percent) > 0.8
    assert (outcomes[0].half_width_percent is None) == (control is None)


SLOW = replace(usual_bench(), warm_up=Approach((2.0,), (900.0,)))


def test_trials_with_moving_runs_are_refused_where_the_plan_says_so():
    plan = simulated(bench=SLOW, settling=SettlingKeys(tolerance=0.1))
    outcomes = rehearse_block(block(plan, 2, from_samples=True))
    assert [o.verdict for o in outcomes] == ["refused"] * 2
    assert all(o.left_out == len(plan.runs) and o.moving > len(plan.runs) / 2 for o in outcomes)
    assert outcomes[0].held is outcomes[0].half_width is None and not outcomes[0].wrong


def test_no_usable_run_left_is_refused_too():
    plan = simulated(bench=SLOW, settling=SettlingKeys(tolerance=0.001, still_moving="leave out"))
    (outcome,) = rehearse_block(block(plan, 1, from_samples=True))
    assert outcome.verdict == "refused"


def test_moving_runs_used_with_a_note_are_counted():
    plan = simulated(bench=SLOW, settling=SettlingKeys(tolerance=0.1, still_moving="use with a note"))
    (outcome,) = rehearse_block(block(plan, 1, from_samples=True))
    assert outcome.verdict != "refused"
    assert outcome.moving > 0 and outcome.left_out == 0


def test_runs_without_samples_keep_their_times():
    plan = simulated()
    trial = without_samples(plan)
    assert [run.start for run in trial.runs] == [run.start for run in plan.runs]
    assert trial.runs[0].time_s[-1] == 39 * 30.0  # 40 samples in 20 minutes
    with pytest.raises(ValueError, match="plan: found no settings"):
        without_samples(replace(plan, settings=None))


def test_blocks_do_not_hang_on_the_number_of_trials():
    plan = simulated()
    few, many = (
        lay_out_blocks(plan, n, np.random.SeedSequence(1), from_samples=False) for n in (2 * BLOCK + 1, 4 * BLOCK)
    )
    assert [b.trials for b in few] == [BLOCK, BLOCK, 1]
    assert [b.trials for b in many] == [BLOCK] * 4
    assert [b.sequence.spawn_key for b in few] == [b.sequence.spawn_key for b in many[:3]]
    streams = {np.random.default_rng(b.sequence).random() for b in many}
    assert len(streams) == 4


class OnlyMap:
    def map(self, function, items):
        return map(function, items)


class Broken:
    """The first task fails."""

    def __init__(self):
        self.futures = []

    def submit(self, _function, _item):
        self.futures.append(Future())
        if len(self.futures) == 1:
            self.futures[0].set_exception(RuntimeError("a worker is gone"))
        return self.futures[-1]


def test_map_alone_is_enough_and_progress_sees_every_block():
    blocks = lay_out_blocks(simulated(), 30, np.random.SeedSequence(1), from_samples=False)
    seen = []

    def progress(items):
        for item in items:
            seen.append(item)
            yield item

    here = compute_blocks(blocks, None, progress)
    assert seen == blocks
    assert compute_blocks(blocks, OnlyMap(), progress) == here
    assert [len(b) for b in here] == [25, 5] and isinstance(here[0][0], Outcome)


def test_a_failure_stops_the_rest():
    executor = Broken()
    blocks = lay_out_blocks(simulated(), 60, np.random.SeedSequence(1), from_samples=False)
    with pytest.raises(RuntimeError, match="a worker is gone"):
        compute_blocks(blocks, executor, None)
    assert [f.cancelled() for f in executor.futures] == [False, True, True]


def test_an_executor_that_is_none_is_refused():
    with pytest.raises(TypeError, match="executor: found a int; accepted: an object with submit or map, or None"):
        compute_blocks([], 2, None)


@pytest.mark.parametrize(
    ("low", "high", "matters", "saving", "wrong"),
    [
        (0.1, 0.4, None, 0.0, True),  # saves, where there is none
        (0.1, 0.4, None, 0.05, False),  # saves; the interval misses, the claim is right
        (0.1, 0.4, None, -0.1, True),
        (-0.4, -0.1, None, 0.1, True),  # costs
        (-0.4, -0.1, None, -0.5, False),
        (0.3, 0.4, 0.2, 0.1, True),  # saves more than 0.2
        (0.3, 0.4, 0.2, 0.25, False),
        (-0.4, -0.3, 0.2, -0.1, True),  # costs more than 0.2
        (0.05, 0.1, 0.2, 0.0, True),  # no difference that matters, though a smaller one is shown
        (0.05, 0.1, 0.2, 0.15, False),
        (-0.1, 0.1, 0.2, 0.2, True),  # no difference that matters, where there is one
        (-0.1, 0.1, 0.2, -0.3, True),
        (-0.1, 0.1, 0.2, 0.0, False),
        (-0.1, 0.4, 0.2, -0.2, True),  # not worse by 0.2, where it is
        (-0.1, 0.4, 0.2, 0.6, False),
        (-0.4, 0.1, 0.2, 0.2, True),  # not better by 0.2, where it is
        (-0.4, 0.1, 0.2, -0.6, False),
        (-0.4, 0.4, 0.2, 9.0, False),  # undecided claims nothing
    ],
)
def test_what_is_a_wrong_claim(low, high, matters, saving, wrong):
    assert is_wrong(decide(low, high, matters=matters), low, saving) is wrong


def test_no_verdict_is_never_wrong():
    shown = replace(decide(0.1, 0.4), kind="no verdict")
    assert not is_wrong(shown, 0.1, -1.0)
