"""One row of a check history: the grammar of its cells, and the order of its dates."""

from datetime import date

import numpy as np
import pytest

from lossstats.bench.check_entries import Check, entry_text, read_entries
from lossstats.trial_folder.faults import FaultList

PLACES = {name: f"column {name!r}" for name in ("date", "value", "sd", "n", "bench", "article", "event")}


def read(*rows):
    faults = FaultList("history")
    return read_entries(list(enumerate(rows, start=1)), PLACES, faults), [str(fault) for fault in faults.listed()]


def test_a_full_row_and_a_bare_one():
    full = {"date": "2025-03-04", "value": "6.2", "sd": "0.05", "n": "3", "bench": "B", "article": "REF", "event": "x"}
    checks, faults = read(full, {"date": "2025-03-05", "value": "-1e-2"})
    assert checks == (Check("2025-03-04", 6.2, 0.05, 3, "B", "REF", "x"), Check("2025-03-05", -0.01))
    assert faults == []


@pytest.mark.parametrize(
    ("column", "cell", "accepted"),
    [
        ("date", "04.03.2025", "an ISO 8601 date such as 2025-03-04"),
        ("date", "2025-02-30", "an ISO 8601 date such as 2025-03-04"),
        ("date", "", "an ISO 8601 date such as 2025-03-04"),
        ("value", "nan", "a finite decimal number such as 6.204"),
        ("value", "inf", "a finite decimal number such as 6.204"),
        ("value", "1e99", None),
        ("value", "6,2", "a finite decimal number such as 6.204"),
        ("value", "1_0", "a finite decimal number such as 6.204"),
        ("sd", "-0.1", "a finite decimal number, not below 0, or an empty field"),
        ("n", "0", "a whole number of runs, at least 1, or an empty field"),
        ("n", "2.5", "a whole number of runs, at least 1, or an empty field"),
        ("bench", " B", "an entry without blanks around it, in characters that can be printed"),
    ],
)
def test_a_cell_that_cannot_be(column, cell, accepted):
    row = {"date": "2025-03-04", "value": "6.2", "sd": "", "n": "", "bench": "", column: cell}
    _, faults = read(row)
    if accepted is None:
        assert faults == []
        return
    found = repr(cell) if cell else "an empty field"
    assert faults == [f"history, line 1, column '{column}': found {found}; accepted: {accepted}"]


def test_a_standard_deviation_needs_its_number_of_runs():
    row = {"date": "2025-03-04", "value": "6.2", "sd": "0.1"}
    assert "column 'n': found no n beside an sd; accepted: the number of runs" in read(row)[1][0]
    assert "found '1'; accepted: the number of runs that the sd comes from, at least 2" in read({**row, "n": "1"})[1][0]


def test_dates_rise_within_a_bench_and_article():
    first, second = {"date": "2025-03-04", "value": "6.2", "bench": "A"}, {"date": "2025-03-03", "value": "6.2"}
    assert read(first, {**second, "bench": "B"})[1] == []
    for day in ("2025-03-03", "2025-03-04"):
        (fault,) = read(first, {**second, "bench": "A", "date": day})[1]
        assert fault.startswith(f"history, line 2, column 'date': found '{day}'; accepted: a date after 2025-03-04")


def test_cells_in_memory_as_text():
    import pandas as pd

    assert entry_text("date", date(2025, 3, 4)) == entry_text("date", pd.Timestamp("2025-03-04")) == "2025-03-04"
    assert entry_text("date", pd.Timestamp("2025-03-04 08:00")) == "2025-03-04T08:00:00"
    assert entry_text("value", np.float64(6.2)) == "6.2"
    assert entry_text("value", float("nan")) == "nan"
    assert [entry_text("sd", cell) for cell in (None, float("nan"), pd.NA)] == ["", "", ""]
    assert [entry_text("n", cell) for cell in (3, 3.0, 3.5)] == ["3", "3", "3.5"]
