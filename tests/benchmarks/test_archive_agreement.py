"""The calls that are timed give the same answers, at small sizes."""

import archive_rows as archive
import pytest
import reducing_rows as reducing


@pytest.mark.parametrize("number", range(6))
def test_levels_of_runs(number):
    rows = list(reducing.rows((36, 1000), 5, (10_000,), (1000,), 50))
    assert len(rows) == 6
    assert rows[number].agree()


def test_small_files_and_one_big_one(tmp_path):
    (tmp_path / "small").mkdir()
    (tmp_path / "big").mkdir()
    rows = [*archive.small_rows(tmp_path / "small", (3, 30)), *archive.big_rows(tmp_path / "big", (100, 1000))]
    assert len(rows) == 4 + 4
    assert all(row.agree() for row in rows)


def test_archives(tmp_path):
    folders = archive.write_trials(tmp_path, 2)
    found = archive.reduce_archive(folders)
    assert (len(found.runs), found.failed) == (24, ())
