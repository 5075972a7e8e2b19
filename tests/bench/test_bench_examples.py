"""The committed check history: made again byte for byte, and with the properties that the notebook speaks of."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from lossstats.bench.bench_examples import (
    EXAMPLE_EVENTS,
    EXAMPLE_SHIFT,
    Shift,
    example_check_history,
    simulate_check_history,
    write_bench_examples,
)
from lossstats.bench.bench_health import check_standard_chart
from lossstats.bench.check_history import read_check_history

COMMITTED = Path(__file__).parents[2] / "example_runs" / "check_history"


def command(*arguments):
    line = [sys.executable, "-m", "lossstats.bench.bench_examples", *map(str, arguments)]
    return subprocess.run(line, cwd=COMMITTED.parents[1], capture_output=True, text=True, check=False)


def test_made_again_byte_for_byte(tmp_path):
    assert command(tmp_path).returncode == 0
    for path in COMMITTED.iterdir():
        made = (tmp_path / "check_history" / path.name).read_bytes()
        assert made == path.read_bytes(), (
            "remove the folder, then: python -m lossstats.bench.bench_examples example_runs"
        )
    with pytest.raises(FileExistsError):
        write_bench_examples(tmp_path)
    assert "found no folder; accepted: python -m lossstats.bench.bench_examples FOLDER" in command().stderr


def test_the_csv_holds_the_simulated_history_and_the_readme_says_so():
    assert read_check_history(COMMITTED / "check_history.csv").checks == example_check_history().checks
    assert "simulated with a stored seed" in (COMMITTED / "README.md").read_text("utf-8")


def test_one_real_shift_is_found_by_the_average_and_by_nothing_else():
    chart = check_standard_chart(example_check_history(), base_period=20)
    assert {one.rule for one in chart.outside} == {"EWMA"}
    assert chart.suspect_since < EXAMPLE_SHIFT.date < chart.left_control
    assert [check.date for check in chart.checks if check.event] == sorted(EXAMPLE_EVENTS)
    assert any("no check in the 18 days before 2025-04-28" in note for note in chart.notes)


def test_the_simulator_keeps_its_truth():
    history = simulate_check_history(weeks=400, shifts=(Shift("2028-10-30", 0.5),), rng=1)
    before = [check.value for check in history.checks if check.date < "2028-10-30"]
    after = [check.value for check in history.checks if check.date >= "2028-10-30"]
    sd = np.hypot(0.035, 0.05 / np.sqrt(3))
    assert np.mean(before) == pytest.approx(6.2, abs=4 * sd / np.sqrt(len(before)))
    assert np.mean(after) == pytest.approx(6.7, abs=4 * sd / np.sqrt(len(after)))
    assert np.std(before) == pytest.approx(sd, rel=0.12)
    assert np.sqrt(np.mean([check.sd**2 for check in history.checks])) == pytest.approx(0.05, rel=0.08)
    worn = simulate_check_history(weeks=400, wear_per_week=0.01, rng=1)
    assert worn.checks[-1].value - history.checks[-1].value == pytest.approx(3.99 - 0.5, abs=1e-9)


def test_arguments_that_cannot_be():
    with pytest.raises(ValueError, match="weeks, runs: found 0, 3; accepted: at least 1 week, at least 2 runs a check"):
        simulate_check_history(weeks=0, rng=1)
