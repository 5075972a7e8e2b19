"""The calls that are timed give the same answers, at small sizes."""

import archive_rows as archive
import large
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


def test_large_archives_at_a_small_size(tmp_path, capsys):
    large.write_long_trial(tmp_path / "t0", 4, 2000)
    for workers in (0, 2):
        large.reduce_and_tell(tmp_path, workers)
    told = capsys.readouterr().out
    assert told.count("4 runs of 1 folder(s), 0 failed") == 2
    assert told.count(", equal;") == 2
