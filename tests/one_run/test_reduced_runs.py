"""Many runs as one by one."""

import functools
from dataclasses import replace

import numpy as np
import pytest
from tqdm import tqdm

from lossstats.one_run.level import Level
from lossstats.one_run.levels import run_level
from lossstats.one_run.reduced_runs import reduce_runs
from lossstats.one_run.screening import screen_run
from lossstats.one_run.settling import find_settled

T = np.arange(90) * 10.0


def warm_up(seed=1, amplitude=0.6, tau_s=150.0, sd=0.02, n=90):
    return 5 + amplitude * np.exp(-T[:n] / tau_s) + sd * np.random.default_rng(seed).normal(size=n)


def same(a: Level, b: Level) -> bool:
    numbers = ("value", "standard_uncertainty", "degrees_of_freedom", "effective_samples")
    return all(getattr(a, name) == pytest.approx(getattr(b, name), rel=1e-9) for name in numbers)


def batch():
    runs = [(T, np.round(warm_up(seed), 3)) for seed in range(4)]
    runs.append((T[:36], np.round(warm_up(9, n=36), 3)))
    spiked = np.round(warm_up(11), 3)
    spiked[40] += 0.5
    return [*runs, (T, spiked), (T, np.full(90, 5.0))]


def test_many_runs_are_as_one_by_one():
    reduced = reduce_runs(batch(), resolution=0.001, tolerance=0.05)
    for run, (t, y) in zip(reduced, batch(), strict=True):
        assert same(run.level, run_level(t, y, resolution=0.001))
        spikes = run.screening.spikes
        alone = find_settled(np.delete(t, spikes), np.delete(y, spikes), resolution=0.001, tolerance=0.05)
        assert run.settled.notes == (*alone.notes, *(["judged without 1 flagged spike"] if spikes else []))
        assert replace(run.settled, notes=()) == replace(alone, notes=())
        assert run.screening == screen_run(t, y, resolution=0.001)
    assert [run.screening.flagged for run in reduced][5] == (40,)


@pytest.mark.parametrize(("size", "sample"), [(0.3, 60), (3.0, 30), (3.0, 60), (3.0, 87), (50.0, 45)])
def test_a_spike_is_no_movement_and_hides_none(size, sample):
    """Known truth: level runs and falling ones, the same with a spike; without it they are what they were."""
    level = [np.round(warm_up(seed, tau_s=60.0), 3) for seed in range(20)]
    falling = [np.round(warm_up(seed, amplitude=1.0, tau_s=600.0), 3) for seed in range(20)]
    for values, meant in ((level, {"settled"}), (falling, {"moving", "undecided"})):
        clean = reduce_runs([(T, y) for y in values], resolution=0.001, tolerance=0.05)
        struck = [(T, y + size * (np.arange(90) == sample)) for y in values]
        found = reduce_runs(struck, resolution=0.001, tolerance=0.05)
        assert all(sample in run.screening.spikes for run in found)
        assert {run.settled.status for run in found} <= meant
        assert sum(a.settled.status == b.settled.status for a, b in zip(clean, found, strict=True)) >= 18


def test_flagged_samples_count_or_not_and_both_levels_are_there():
    t, y = batch()[5]
    kept = reduce_runs([(t, y)], resolution=0.001)[0]
    left_out = reduce_runs([(t, y)], resolution=0.001, flagged_samples="leave out")[0]
    without = run_level(np.delete(t, 40), np.delete(y, 40), resolution=0.001)
    assert kept.level.samples == 90
    assert same(kept.level_without_flagged, without)
    assert same(left_out.level, without)
    assert kept.level.standard_uncertainty > 2 * without.standard_uncertainty
    assert reduce_runs(batch()[:1], resolution=0.001)[0].level_without_flagged is None
    assert "without 1 flagged samples" in str(kept)


def test_progress_is_shown_only_when_asked_for(capsys):
    reduce_runs(batch()[:2], resolution=0.001)
    assert capsys.readouterr().err == ""
    reduce_runs(batch()[:2], resolution=0.001, progress=functools.partial(tqdm, desc="runs"))
    assert "runs: 100%" in capsys.readouterr().err


def test_operating_points_are_screened_with_the_runs():
    power = np.full(90, 280.0)
    power[7] = 300
    found = reduce_runs(
        batch()[:1], resolution=0.001, operating_points=[{"power_W": power}], limits={"power_W": (270.0, 290.0)}
    )
    assert found[0].screening.off_point == {"power_W": (7,)}


@pytest.mark.parametrize(
    ("runs", "more", "text"),
    [
        ([(T, T), (T, T[:50])], {}, r"runs\[1\]: time_s and values: found 90 times and 50 readings"),
        ([(T, np.full(90, 5.0))], {}, r"runs\[0\]: values: all 90 readings are 5 and no resolution"),
        ([(T, T)], {"flagged_samples": "drop"}, "flagged_samples: found 'drop'; accepted: 'keep', 'leave out'"),
        ([(T, T)], {"operating_points": []}, "operating_points: found 0; accepted: 1, one a run"),
        ([(T, T)], {"tolerance": -1}, "tolerance: found -1; accepted"),
    ],
)
def test_batches_that_do_not_fit_are_refused(runs, more, text):
    with pytest.raises(ValueError, match=text):
        reduce_runs(runs, **more)


def test_the_three_faces():
    run = reduce_runs(batch()[:1], resolution=0.001, tolerance=0.05)[0]
    for record in (run, run.level, run.level.window_mean):
        assert "level" in str(record)
        assert "<table>" in record._repr_html_()
    plain = run.to_dict()
    assert plain["level"]["components"].keys() == {"noise", "resolution"}
    assert not any(name.startswith("_") for name in plain["level"])
    assert all(type(v) is float for v in (run.level.value, run.level.standard_uncertainty, run.settled.change))
