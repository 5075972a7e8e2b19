"""The run sheet, row by row. Evidence: rows made here; what is written reads back the same."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from lossstats.trial_folder.run_sheet import COLUMNS, SheetRow, place, read_run_sheet, run_sheet_text

HEADER = "run,start,role,article,condition,mount,file,remarks\n"
GOOD = "r01,2031-03-03T08:00:00Z,test,K01,dusty,1,samples/r01.csv,\n"


def told(text: str, conditions: tuple[str, ...] = ("dusty", "cleaned")) -> list[str]:
    return [str(fault) for fault in read_run_sheet(text.encode(), conditions)[1]]


def test_one_row_of_each_role() -> None:
    text = HEADER + GOOD
    text += "r02,2031-03-03T09:00:00Z,reference,REF,,3,samples/r02.csv,\n"
    text += 'r03,2031-03-03T10:00:00Z,zero,,,,samples/r03.csv,"cold, ""quiet"""\n'
    rows, faults = read_run_sheet(text.encode(), ("dusty", "cleaned"))
    assert faults == []
    start = datetime(2031, 3, 3, 8, tzinfo=UTC)
    assert rows[0] == SheetRow(2, "r01", start, "test", "K01", "dusty", "1", "samples/r01.csv", "")
    assert (rows[1].role, rows[1].article, rows[1].condition, rows[1].mount) == ("reference", "REF", "", "3")
    assert (rows[2].article, rows[2].mount, rows[2].remarks) == ("", "", 'cold, "quiet"')


def test_pairs_of_line_ends_are_taken() -> None:
    assert told((HEADER + GOOD).replace("\n", "\r\n")) == []


def test_conditions_are_free_where_trial_toml_does_not_say() -> None:
    text = HEADER + GOOD.replace("dusty", "wet")
    assert told(text, ()) == []
    assert told(text) == [
        (
            "run_sheet.csv, line 2, column 5 (condition): found 'wet'; accepted: dusty or cleaned, as [comparison] in "
            "trial.toml says"
        )
    ]


@pytest.mark.parametrize(
    ("role", "article", "condition", "mount", "wrong"),
    [
        ("test", "", "dusty", "1", ["article"]),
        ("test", "K01", "", "1", ["condition"]),
        ("test", "K01", "dusty", "", ["mount"]),
        ("test", "", "", "", ["article", "condition", "mount"]),
        ("reference", "", "", "1", ["article"]),
        ("reference", "REF", "", "", ["mount"]),
        ("reference", "REF", "dusty", "1", ["condition"]),
        ("zero", "K01", "", "", ["article"]),
        ("zero", "", "dusty", "", ["condition"]),
        ("zero", "", "", "1", ["mount"]),
        ("zeros", "", "", "", ["role"]),
        ("", "K01", "dusty", "1", ["role"]),
    ],
)
def test_each_role_fills_in_its_columns(role: str, article: str, condition: str, mount: str, wrong: list[str]) -> None:
    text = HEADER + f"r01,2031-03-03T08:00:00Z,{role},{article},{condition},{mount},samples/r01.csv,\n"
    faults = read_run_sheet(text.encode(), ("dusty", "cleaned"))[1]
    assert [(fault.line, fault.column) for fault in faults] == [(2, place(column)) for column in wrong]


def test_a_row_with_faults_is_kept_so_that_its_file_is_read() -> None:
    rows, faults = read_run_sheet((HEADER + GOOD.replace("Z", "").replace("test", "tested")).encode())
    assert len(faults) == 2
    assert (rows[0].file, rows[0].start) == ("samples/r01.csv", None)


@pytest.mark.parametrize("row", ['"r01,2031', 'r01,"a"b,c,d,e,f,g,h', "r01", GOOD[:-1] + ",", ""])
def test_rows_that_cannot_be_parted_are_left_out(row: str) -> None:
    rows, faults = read_run_sheet((HEADER + row + "\n" + GOOD).encode())
    assert [row.line for row in rows] == [3]
    assert [fault.line for fault in faults] == [2]


def test_written_rows_read_back_the_same() -> None:
    entries = ("r01", "2031-03-03T08:00:00+00:00", "zero", "", "", "", "samples/a b.csv", 'cold, "quiet" öl')
    rows, faults = read_run_sheet(run_sheet_text([entries]).encode())
    assert faults == []
    assert [getattr(rows[0], column) for column in COLUMNS if column != "start"] == [*entries[:1], *entries[2:]]


def test_places() -> None:
    assert [place(column) for column in ("run", "remarks")] == ["column 1 (run)", "column 8 (remarks)"]
