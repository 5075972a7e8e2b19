"""Faults in words. Evidence: the form of the message is the documented one; counts by hand."""

from __future__ import annotations

import pickle

import pytest

from lossstats.trial_folder.faults import Fault, FaultList, TrialError, on_one_line, quoted


def test_fault_on_one_line() -> None:
    fault = Fault("samples/r03.csv", 17, "column 2 (loss_W)", "'nan'", "a finite decimal number such as 6.985")
    assert str(fault) == (
        "samples/r03.csv, line 17, column 2 (loss_W): found 'nan'; accepted: a finite decimal number such as 6.985"
    )


@pytest.mark.parametrize(
    ("line", "column", "place"),
    [
        (None, None, "a.csv"),
        (3, None, "a.csv, line 3"),
        (3, 4, "a.csv, line 3, column 4"),
        (None, "key x", "a.csv, key x"),
    ],
)
def test_fault_shows_the_place_it_has(line: int | None, column: int | str | None, place: str) -> None:
    assert str(Fault("a.csv", line, column, "x", "y")) == f"{place}: found x; accepted: y"


def test_error_lists_every_fault() -> None:
    faults = [Fault("a.csv", 1, None, "x", "y"), Fault("b.csv", 2, None, "z", "y")]
    error = TrialError(faults)
    assert error.faults == tuple(faults)
    assert str(error) == (
        "2 faults in the trial folder:\n  a.csv, line 1: found x; accepted: y\n  b.csv, line 2: found z; accepted: y"
    )
    assert str(TrialError(faults[:1])).startswith("1 fault in the trial folder:")


def test_error_is_a_value_error_and_goes_between_processes() -> None:
    error = TrialError([Fault("a.csv", 1, 2, "x", "y")])
    copy = pickle.loads(pickle.dumps(error))  # noqa: S301 - made one line above
    assert isinstance(copy, ValueError)
    assert (copy.faults, str(copy)) == (error.faults, str(error))


def test_list_keeps_twenty_in_words_and_counts_the_rest() -> None:
    faults = FaultList("a.csv")
    for line in range(1, 20 + 1):
        faults.add("x", "y", line=line)
    assert len(faults.listed()) == 20
    faults.add("x", "y", line=21)
    assert len(faults) == 21
    assert [fault.line for fault in faults.listed()] == [*range(1, 21), None]
    assert str(faults.listed()[-1]) == "a.csv: found 1 more fault; accepted: none; the first 20 are listed"
    faults.add("x", "y", line=22)
    faults.stopped = True
    assert faults.listed()[-1].found == "at least 2 more faults"


def test_quoted_stays_on_one_line_and_short() -> None:
    assert quoted("a\nb\x07") == r"'a\nb\x07'"
    assert quoted(b"\xff") == r"'\\xff'"
    assert quoted("é" * 61) == f"'{'é' * 60}' …"
    assert len(quoted(b"7" * 10**6)) == 64


def test_one_fault_is_one_line_and_moves_no_cursor() -> None:
    fault = Fault("samples/a\nb\x1b[2J.csv", 1, "key a\u202eb", "c\rd", "é\u2028")
    assert str(fault) == r"samples/a\nb\x1b[2J.csv, line 1, key a\u202eb: found c\rd; accepted: é\u2028"
    assert str(TrialError([fault])).count("\n") == 1
    assert on_one_line("a\\n, 'é'") == "a\\n, 'é'"
