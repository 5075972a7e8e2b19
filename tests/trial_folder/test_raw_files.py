"""Names, bounded reading, plain text. Evidence: files made here, with the fault put in by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from lossstats.trial_folder.faults import FaultList
from lossstats.trial_folder.raw_files import check_name, check_text, find_link, find_unnamed, read_bytes


@pytest.mark.parametrize("name", ["samples/r01.csv", "samples/day 1/r01.txt", "samples/Kette_ö.csv", "samples/..csv"])
def test_names_that_stay_inside(name: str) -> None:
    assert check_name(name) is None


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("samples/../trial.toml", "a path out of the folder"),
        ("../samples/r01.csv", "a path out of the folder"),
        ("samples/..", "a path out of the folder"),
        ("/samples/r01.csv", "an absolute path"),
        ("~/samples/r01.csv", "an absolute path"),
        ("c:samples/r01.csv", "an absolute path"),
        ("samples\\r01.csv", "a backslash or a character that cannot be printed"),
        ("samples/r\u202e01.csv", "a backslash or a character that cannot be printed"),
        ("samples/r\x0001.csv", "a backslash or a character that cannot be printed"),
        ("samples//r01.csv", "a path with an empty step"),
        ("samples/", "a path with an empty step"),
        ("./samples/r01.csv", "a path with an empty step"),
        ("samples", "a file outside samples/"),
        ("r01.csv", "a file outside samples/"),
        ("results/r01.csv", "a file outside samples/"),
    ],
)
def test_names_that_do_not(name: str, wrong: str) -> None:
    assert check_name(name) == wrong


def test_link_is_found_at_any_step(tmp_path: Path) -> None:
    (tmp_path / "samples" / "day").mkdir(parents=True)
    (tmp_path / "samples" / "day" / "r01.csv").write_text("x\n")
    (tmp_path / "samples" / "other").symlink_to("day")
    assert find_link(tmp_path, "samples/day/r01.csv") is None
    assert find_link(tmp_path, "samples/other/r01.csv") == "samples/other"


def test_a_file_of_the_largest_size_is_read_and_one_byte_more_is_not_opened(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"x" * 10)
    faults = FaultList("a")
    assert read_bytes(tmp_path, "a", faults, most=10) == b"x" * 10
    assert not len(faults)
    assert read_bytes(tmp_path, "a", faults, most=9) is None
    assert "found 10 bytes; accepted: at most" in str(faults.listed()[0])


@pytest.mark.parametrize(("data", "lines"), [(b"a\nb\n", b"a\nb\n"), (b"a\r\nb\r\n", b"a\nb\n"), (b"a\n", b"a\n")])
def test_one_kind_of_line_end_is_normalised(data: bytes, lines: bytes) -> None:
    faults = FaultList("a")
    assert check_text(data, faults) == lines
    assert not len(faults)


def test_byte_order_mark_only_where_it_is_declared() -> None:
    faults = FaultList("a")
    assert check_text(b"\xef\xbb\xbfa\n", faults, byte_order_mark=True) == b"a\n"
    assert not len(faults)
    check_text(b"\xef\xbb\xbfa\n", faults)
    assert "found a byte-order mark; accepted: UTF-8 without one" in str(faults.listed()[0])


@pytest.mark.parametrize(
    ("data", "line", "found"),
    [
        (b"a\nb\r\nc\n", 2, "mixed line ends"),
        (b"a\r\nb\nc\r\n", 2, "mixed line ends"),
        (b"a\rb\r", 1, "a carriage return inside a line"),
        (b"a\nb\rc\n", 2, "a carriage return inside a line"),
        (b"a\nb", 2, "a last line without a line end, 'b'"),
    ],
)
def test_line_ends_that_do_not_fit_are_shown_at_their_line(data: bytes, line: int, found: str) -> None:
    faults = FaultList("a")
    check_text(data, faults)
    assert (faults.listed()[0].line, faults.listed()[0].found) == (line, found)


def test_unnamed_files_are_shown_on_one_line_each(tmp_path: Path) -> None:
    (tmp_path / "samples").mkdir()
    for name in ("a\nb.csv", "c\x1b[2J.csv", "d\u202e.csv"):
        (tmp_path / "samples" / name).write_text("x\n")
    told = [str(fault) for fault in find_unnamed(tmp_path, set())]
    assert len(told) == 3
    assert all(text.isprintable() for text in told)
    assert [text.partition(".csv")[0].rpartition("samples/")[2] for text in told] == [r"a\nb", r"c\x1b[2J", r"d\u202e"]
