"""The committed example trials: made again byte for byte, and with the properties that the notebooks speak of."""

import re
import subprocess
import sys
from collections import Counter
from itertools import groupby, pairwise
from pathlib import Path

import numpy as np
import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.simulator.example_plans import flour_dust
from lossstats.simulator.examples import example_trial, example_truth, write_examples
from lossstats.trial_folder.trial import find_faults, read_trial

COMMITTED = Path(__file__).parents[2] / "example_runs"
NAMES = ("flour_dust", "one_chain", "four_oils", "two_shafts")
MOVING = ("K05", "dusty", "2")


def _contents(folder):
    """The input files; an analysis may have left its results beside them."""
    files = [path for path in folder.rglob("*") if path.is_file() and "results" not in path.relative_to(folder).parts]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


@pytest.fixture(scope="module")
def trial():
    return read_trial(COMMITTED / "flour_dust")


def _command(*arguments):
    command = [sys.executable, "-m", "lossstats.simulator.examples", *map(str, arguments)]
    return subprocess.run(command, cwd=COMMITTED.parent, capture_output=True, text=True, check=False)


def test_made_again_byte_for_byte(tmp_path):
    assert _command(tmp_path).returncode == 0
    made = _contents(tmp_path)
    committed = {name: data for name, data in _contents(COMMITTED).items() if name.startswith(NAMES)}
    assert sorted(made) == sorted(committed)
    stale = [name for name in made if made[name] != committed[name]]
    assert stale == [], "remove the folders, then: python -m lossstats.simulator.examples example_runs"


def test_small_enough_to_be_committed():
    assert sum(map(len, _contents(COMMITTED).values())) < 1_000_000


@pytest.mark.parametrize("name", NAMES)
class TestFolder:
    def test_is_read_without_fault(self, name):
        assert find_faults(COMMITTED / name) == []

    def test_holds_the_readings_of_the_simulated_trial(self, name):
        simulated, read = example_trial(name), read_trial(COMMITTED / name)
        assert read.settings == simulated.settings
        for run, back in zip(simulated.runs, read.runs, strict=True):
            assert back.values.tobytes() == run.values.tobytes()

    def test_says_that_its_data_are_invented_and_keeps_the_truth_to_itself(self, name):
        text = "".join(data.decode() for data in _contents(COMMITTED / name).values())
        assert re.search(r"^# The data are invented\.", text, re.MULTILINE)
        assert read_trial(COMMITTED / name).settings.trial.note.startswith("Invented data")
        assert not re.search("truth *=|true *(saving|level)|saving *=", text)

    def test_every_key_of_its_settings_has_a_comment(self, name):
        lines = (COMMITTED / name / "trial.toml").read_text("utf-8").splitlines()
        keys = re.compile(r"[a-z_]+ = ")
        bare = [line for above, line in pairwise(lines) if keys.match(line) and not above.startswith("# ")]
        assert bare == []

    def test_scope_is_filled(self, name):
        scope = read_trial(COMMITTED / name).settings.scope
        assert all((scope.articles, scope.bench, scope.lubricant, scope.operating_point))


class TestFlourDust:
    def test_six_chains_twice_mounted_in_both_conditions(self, trial):
        mounts = Counter((run.article, run.condition) for run in trial.runs if run.role == "test")
        chains = [f"K0{k}" for k in range(1, 7)]
        assert mounts == {(chain, condition): 2 for chain in chains for condition in ("dusty", "cleaned")}
        assert (trial.settings.comparison.design, trial.settings.comparison.unit_of_replication) == (
            "paired",
            "article",
        )
        assert trial.settings.comparison.difference_that_matters == 0.25

    def test_dusty_on_the_first_bench_day_cleaned_on_the_second(self, trial):
        days = {run.condition: run.bench_day for run in trial.runs if run.role == "test"}
        assert days == {"dusty": "2025-02-04", "cleaned": "2025-02-06"}
        assert len({run.bench_day for run in trial.runs}) == 2

    def test_each_day_has_references_at_both_ends_and_between_blocks_and_zeros_around(self, trial):
        for _, of_day in groupby(trial.runs, key=lambda run: run.bench_day):
            roles = "".join(run.role[0] for run in of_day)
            assert roles == "z" + 4 * "rttt" + "r" + "z"
        assert {run.article for run in trial.runs if run.role == "reference"} == {"REF"}

    def test_a_quarter_of_an_hour_every_five_seconds_zero_runs_of_five_minutes(self, trial):
        assert {(run.role == "zero", len(run.values), run.interval_s) for run in trial.runs} == {
            (False, 180, 5.0),
            (True, 60, 5.0),
        }
        starts = [run.start for run in trial.runs]
        spacing = [(b - a).total_seconds() / 60 for a, b in pairwise(starts) if b.day == a.day]
        assert 18 < np.median(spacing) < 24
        assert all(start.utcoffset().total_seconds() == 3600 and 8 <= start.hour <= 16 for start in starts)

    def test_losses_and_power_are_in_range_and_on_the_display(self, trial):
        for run in trial.runs:
            assert np.all(np.abs(run.values / 0.005 - np.rint(run.values / 0.005)) < 1e-9)
            power = run.operating_point["input_power_W"]
            if run.role == "zero":
                assert np.all(np.abs(run.values) < 0.3)
            else:
                assert np.all((run.values > 5.0) & (run.values < 8.0))
                assert np.all(np.abs(power - 280.0) <= trial.settings.operating_point["input_power_W"].tolerance)

    def test_one_spike(self, trial):
        spikes = []
        for run in trial.runs:
            middle, around = run.values[1:-1], (run.values[:-2] + run.values[2:]) / 2
            spikes += [(run.article, run.condition, run.mount)] * int(np.sum(np.abs(middle - around) > 0.25))
        assert spikes == [("K03", "dusty", "1")]

    def test_one_stuck_stretch(self, trial):
        longest = {
            (run.article, run.condition, run.mount): max(len(list(same)) for _, same in groupby(run.values.tolist()))
            for run in trial.runs
        }
        assert longest.pop(("K02", "cleaned", "1")) >= 16
        assert max(longest.values()) < 8

    def test_one_run_still_moves_and_its_chain_keeps_the_other_mount(self, trial):
        assert trial.settings.settling.still_moving == "leave out"
        last_third = {
            (run.article, run.condition, run.mount): np.ptp(np.polyval(np.polyfit(t, run.values[120:], 1), t))
            for run in trial.runs
            if run.role != "zero"
            for t in [run.time_s[120:]]
        }
        assert last_third.pop(MOVING) > 0.1
        assert max(last_third.values()) < 0.04
        assert (MOVING[0], MOVING[1], "1") in last_third

    def test_truth_is_what_the_scenario_says(self, trial):
        truth, plan = example_truth("flour_dust"), flour_dust()
        assert truth.saving == 0.45
        assert set(truth.levels) == {run.name for run in trial.runs}
        on_day = [truth.drift[run.name] for run in trial.runs if run.role == "reference"]
        assert on_day[4] - on_day[0] == pytest.approx(0.1, abs=0.02)
        assert on_day[9] - on_day[5] == pytest.approx(0.1, abs=0.02)
        one_reference_run = (plan.articles.mount_sd**2 + plan.articles.run_sd**2) ** 0.5
        stated = trial.settings.drift
        # 20 degrees of freedom: the estimate has a relative standard uncertainty of 1 / sqrt(2 * 20) = 16 %
        assert stated.reference_repeatability == pytest.approx(one_reference_run, rel=0.16)
        assert stated.reference_repeatability_dof == 20.0

    def test_readings_settle_to_what_the_truth_says(self, trial):
        truth = example_truth("flour_dust")
        errors = {
            run.name: np.median(run.values[-60:]) - truth.shown[run.name]
            for run in trial.runs
            if (run.article, run.condition, run.mount) != MOVING
        }
        assert max(map(abs, errors.values())) < 0.015  # noise 0.012 W, 60 readings


class TestOneChain:
    def test_the_everyday_case(self):
        trial = read_trial(COMMITTED / "one_chain")
        assert [(run.role, run.article, run.condition, run.mount) for run in trial.runs] == [
            ("test", "K07", "dusty", "1"),
            ("test", "K07", "cleaned", "1"),
        ]
        assert [(len(run.values), run.interval_s) for run in trial.runs] == [(36, 25.0)] * 2
        comparison = trial.settings.comparison
        assert (comparison.design, comparison.unit_of_replication) == ("single", "mount")
        assert comparison.repeatability is None


class TestFourOils:
    def test_six_chains_once_with_every_oil_in_blocks_of_their_own(self):
        trial = read_trial(COMMITTED / "four_oils")
        tests = [run for run in trial.runs if run.role == "test"]
        oils = trial.settings.comparison.all_conditions
        assert [[run.article for run in tests[k : k + 4]] for k in range(0, 24, 4)] == [
            [f"K0{k}"] * 4 for k in range(1, 7)
        ]
        assert all({run.condition for run in tests[k : k + 4]} == set(oils) for k in range(0, 24, 4))
        for _, of_day in groupby(trial.runs, key=lambda run: run.bench_day):
            assert "".join(run.role[0] for run in of_day) == "r" + 2 * "ttttr"

    def test_one_better_one_worse_two_that_cannot_be_told_apart_as_in_truth(self):
        ranking = analyse(COMMITTED / "four_oils").ranking
        truth = example_truth("four_oils")
        verdicts = {pair.second: pair.verdict.kind for pair in ranking.comparisons}
        assert (verdicts["oil B"], verdicts["oil D"]) == ("saves", "costs")
        assert [set(group) for group in ranking.groups] == [{"oil A", "oil C"}]
        assert all(pair.low <= truth.savings[pair.second] <= pair.high for pair in ranking.comparisons)

    def test_small(self):
        assert sum(map(len, _contents(COMMITTED / "four_oils").values())) < 400_000


def test_refuses_to_write_over_an_example(tmp_path):
    (tmp_path / "one_chain").mkdir()
    with pytest.raises(FileExistsError, match="found one_chain already"):
        write_examples(tmp_path)


def test_command_asks_for_a_folder():
    assert _command().stderr == "found no folder; accepted: python -m lossstats.simulator.examples FOLDER\n"


def test_refuses_an_unknown_name():
    with pytest.raises(ValueError, match="name: found 'rust'; accepted: 'flour_dust' or 'one_chain'"):
        example_truth("rust")
