"""The history of a check standard from a CSV, from columns, and from trial folders."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from lossstats.bench.check_history import history_from_trials, make_check_history, read_check_history
from lossstats.conclusion.conclusion import NotSettledError, reduce_trial
from lossstats.simulator.simulate import Noise, Readings, lay_out, simulate_trial

TEXT = """\
date,value,sd,n,bench,article,event
2025-01-06,6.21,0.05,3,B1,REF,
2025-01-09,6.18,,,B1,REF,recalibrated
2025-01-09,6.30,0.04,3,B2,REF,"belt, new"
"""


def write(folder, text):
    path = folder / "checks.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_csv_is_read(tmp_path):
    history = read_check_history(write(tmp_path, TEXT))
    assert [check.date for check in history.checks] == ["2025-01-06", "2025-01-09", "2025-01-09"]
    assert [check.value for check in history.checks] == [6.21, 6.18, 6.30]
    assert [check.sd for check in history.checks] == [0.05, None, 0.04]
    assert history.checks[2].event == "belt, new"
    assert history.source == "checks.csv" and history.unit == "W"
    assert history.table.sd.isna().tolist() == [False, True, False]


def test_columns_in_memory_give_the_same(tmp_path):
    read = read_check_history(write(tmp_path, TEXT))
    assert make_check_history(read.table).checks == read.checks


def test_crlf_and_columns_in_another_order(tmp_path):
    history = read_check_history(write(tmp_path, "value,date\r\n6.2,2025-01-06\r\n"), unit="N m")
    assert (history.checks[0].value, history.unit) == (6.2, "N m")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "checks.csv: found an empty file"),
        ("date;value\n2025-01-06;6\n", "checks.csv, line 1: found 'date;value'; accepted: the columns date and value"),
        ("date,value,value\n", "line 1: found 'date,value,value'; accepted: the columns date and value"),
        ("date,value,who\n", "line 1: found 'date,value,who'"),
        ("date,value\n", "found a header and no rows; accepted: one row a check"),
        ("date,value\n2025-01-06,6.2,\n", "line 2: found 3 fields; accepted: 2 fields: date,value"),
        ("date,value\n2025-01-06,6.2\n\n2025-01-07,6.2\n", "line 3: found a blank line; accepted: 2 fields"),
        ("date,value\n2025-01-06,six\n", r"line 2, column 2 \(value\): found 'six'; accepted: a finite decimal number"),
        ('date,value\n2025-01-06,"6.2\n', "line 2: .*accepted: fields in quotation marks that end in the same line"),
        ("date,value\n2025-01-06,6.2", "a last line without a line end"),
        (b"date,value\n2025-01-06,6.2\xff\n", "line 2: found .*accepted: text in UTF-8"),
        (
            "date,value\n2025-01-09,6\n2025-01-06,6\n",
            r"line 3, column 1 \(date\): found '2025-01-06'; accepted: a date after",
        ),
    ],
)
def test_a_broken_csv_names_the_place(tmp_path, text, message):
    with pytest.raises(ValueError, match=message):
        read_check_history(write(tmp_path, text))


def test_all_faults_are_told_at_once(tmp_path):
    with pytest.raises(ValueError, match=r"^2 faults in the check history:\n.*line 2.*\n.*line 3"):
        read_check_history(write(tmp_path, "date,value\n6.1.2025,6\n2025-01-07,inf\n"))


def test_no_file_and_too_large_a_file(tmp_path):
    with pytest.raises(ValueError, match="checks.csv: found a file that cannot be read"):
        read_check_history(tmp_path / "checks.csv")
    with pytest.raises(ValueError, match="found 1048577 bytes; accepted: at most 1024 KiB"):
        read_check_history(write(tmp_path, b"x" * (1024 * 1024 + 1)))


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"day": ["2025-01-06"], "value": [6.2]}, "found 'day,value'; accepted: the columns date and value"),
        (
            {"date": ["2025-01-06"], "value": [6.2, 6.3]},
            "found columns of 1 and 2 rows; accepted: columns of one length",
        ),
        ({"date": [], "value": []}, "found columns without rows"),
        ({"date": ["2025-01-06"], "value": [np.nan]}, "history, line 1, column 'value': found 'nan'"),
    ],
)
def test_columns_that_cannot_be(columns, message):
    with pytest.raises(ValueError, match=message):
        make_check_history(columns)


def test_one_bench_is_chosen(tmp_path):
    history = read_check_history(write(tmp_path, TEXT))
    assert [check.value for check in history.only(bench="B2").checks] == [6.30]
    with pytest.raises(ValueError, match="bench: found 'B3'; accepted: a name in the history, 'B1', 'B2'"):
        history.only(bench="B3")


def test_shown_as_text_html_and_dict(tmp_path):
    history = read_check_history(write(tmp_path, TEXT.replace("recalibrated", "<recalibrated>")))
    assert "checks            3, 2025-01-06 to 2025-01-09" in str(history)
    assert "&lt;recalibrated&gt;" in history._repr_html_()
    assert history.to_dict()["checks"][1]["sd"] is None


def trial_of(rng, **settings):
    plan = replace(lay_out("paired", articles=4, references_every=2), readings=Readings(samples=40, noise=Noise(0.01)))
    trial, _ = simulate_trial(plan, rng=rng)
    told = {"still_moving": "use with a note", **settings}
    settling = replace(trial.settings.settling, **told)
    return replace(trial, settings=replace(trial.settings, settling=settling))


def test_reference_runs_become_one_row_a_day():
    trial = trial_of(4)
    history = history_from_trials([trial])
    levels = {}
    for run, reduced in zip(trial.runs, reduce_trial(trial), strict=True):
        if run.role == "reference":
            levels.setdefault(run.bench_day, []).append(reduced.level.value)
    assert [check.date for check in history.checks] == sorted(levels)
    for check in history.checks:
        assert check.value == pytest.approx(np.mean(levels[check.date]), rel=1e-12)
        assert check.sd == pytest.approx(pd.Series(levels[check.date]).std(), rel=1e-9)
        assert (check.n, check.article) == (len(levels[check.date]), "REF")


def test_the_rule_of_the_trial_decides_on_runs_still_moving():
    with pytest.raises(NotSettledError, match="a trial in memory: tolerance 1e-06 W"):
        history_from_trials([trial_of(4, still_moving="refuse", tolerance=1e-6)])
    trial = trial_of(4, still_moving="leave out", tolerance=1e-6)
    pairs = [pair for pair in zip(trial.runs, reduce_trial(trial), strict=True) if pair[0].role == "reference"]
    still = [run.name for run, reduced in pairs if reduced.settled.status == "moving"]
    history = history_from_trials([trial])
    assert 0 < len(still) < len(pairs)
    assert sum(check.n for check in history.checks) == len(pairs) - len(still)
    assert history.notes == (f"a trial in memory: left out still moving: {', '.join(still)}",)
    used = history_from_trials([trial_of(4, tolerance=1e-6)])
    assert "a trial in memory: used although still moving: " in used.notes[0]


def test_trials_in_different_units_and_without_references():
    trial = trial_of(4)
    other = replace(trial, settings=replace(trial.settings, trial=replace(trial.settings.trial, unit="N m")))
    with pytest.raises(
        ValueError, match="folders: found the units 'W' in a trial in memory, 'N m' in a trial in memory"
    ):
        history_from_trials([trial, other])
    bare = replace(trial, runs=tuple(run for run in trial.runs if run.role == "test"))
    with pytest.raises(ValueError, match="folders: found no reference run; accepted: trials with runs of the role ref"):
        history_from_trials([bare])
    assert "a trial in memory: no reference run in use" in history_from_trials([trial, bare]).notes
