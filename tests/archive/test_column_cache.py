"""Kept columns. Evidence: the reader without a cache; entries spoilt on purpose are not used."""

from __future__ import annotations

import numpy as np
import pytest
from sample_files import LOG, hold_to_strict_reader, put, text

from lossstats.archive import large_log
from lossstats.archive.column_cache import ColumnCache
from lossstats.archive.large_log import read_large_log
from lossstats.trial_folder.settings import Column, LogKeys, ReadingsKeys

STAMPS = LogKeys(time_form="iso", decimals="free", time=Column("t"), value=Column("v"))


@pytest.fixture
def parsed(monkeypatch) -> list[int]:
    """Size of each file that was parsed, not found in the cache."""
    sizes: list[int] = []

    class Counted(large_log._Reading):
        def samples(self, stream):
            sizes.append(self.size)
            return super().samples(stream)

    monkeypatch.setattr(large_log, "_Reading", Counted)
    return sizes


@pytest.fixture
def cache(tmp_path) -> ColumnCache:
    return ColumnCache(tmp_path / "kept")


def check(cache, folder, file, log=None, *more):
    read = read_large_log(folder, file, log, *more, cache=cache)
    assert read.file == file
    hold_to_strict_reader(read, folder, log, *more)
    return read


def entries(cache, ending):
    return sorted(cache.folder.glob(f"*{ending}"))


def test_parsed_once_and_the_same_each_time(tmp_path, cache, parsed):
    put(tmp_path, {"a.csv": text(1), "copy.csv": text(1)})
    for file in ("a.csv", "a.csv", "copy.csv"):  # the name does not matter, the content does
        check(cache, tmp_path, file, LOG)
    assert len(parsed) == 1


def test_time_stamps_come_back(tmp_path, cache, parsed):
    rows = "".join(f"2031-03-03T08:00:{second:02d}+01:00,7.{second:02d}\n" for second in range(12))
    put(tmp_path, {"a.csv": f"t,v\n{rows}".encode()})
    for _ in range(2):
        assert check(cache, tmp_path, "a.csv", STAMPS).samples.first_stamp.isoformat() == "2031-03-03T08:00:00+01:00"
    assert len(parsed) == 1


def test_another_content_or_other_rules_are_read_anew(tmp_path, cache, parsed):
    put(tmp_path, {"a.csv": text(1)})
    check(cache, tmp_path, "a.csv", LOG)
    put(tmp_path, {"a.csv": text(1).replace(b"\n0,7", b"\n0,8").replace(b"\n0,6", b"\n0,8")})
    check(cache, tmp_path, "a.csv", LOG)
    swapped = LogKeys(other={"power_W": Column("offset_C"), "offset_C": Column("power_W")})
    check(cache, tmp_path, "a.csv", swapped)
    assert check(cache, tmp_path, "a.csv", LOG, ReadingsKeys(interval_s=(1.0,))).faults
    assert len(parsed) == 4


def test_a_poisoned_entry_of_other_bytes_is_not_used(tmp_path, cache, parsed):
    put(tmp_path, {"a.csv": text(1), "b.csv": text(2)})
    check(cache, tmp_path, "a.csv", LOG)
    numbers, note = entries(cache, ".npy")[0], entries(cache, ".json")[0]
    check(cache, tmp_path, "b.csv", LOG)
    of_b = next(path for path in entries(cache, ".npy") if path != numbers)
    # the whole entry of a under the name of b, and then the numbers alone
    of_b.write_bytes(numbers.read_bytes())
    of_b.with_suffix(".json").write_bytes(note.read_bytes())
    check(cache, tmp_path, "b.csv", LOG)
    of_b.write_bytes(numbers.read_bytes())
    check(cache, tmp_path, "b.csv", LOG)
    assert len(parsed) == 4
    check(cache, tmp_path, "b.csv", LOG)
    assert len(parsed) == 4  # written anew: the entry is sound again


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data[:-8],
        lambda data: data[: len(data) // 2],
        lambda data: data[:0],
        lambda data: data[:-1] + bytes([data[-1] ^ 1]),
        lambda data: data[:24] + bytes([data[24] ^ 1]) + data[25:],
        lambda data: b"rubbish" + data,
    ],
    ids=["cut short", "halved", "emptied", "last bit", "a bit of the head", "rubbish in front"],
)
@pytest.mark.parametrize("ending", [".npy", ".json"])
def test_a_spoilt_entry_is_ignored_and_written_anew(tmp_path, cache, parsed, spoil, ending):
    put(tmp_path, {"a.csv": text(1)})
    check(cache, tmp_path, "a.csv", LOG)
    (entry,) = entries(cache, ending)
    sound = entry.read_bytes()
    entry.write_bytes(spoil(sound))
    check(cache, tmp_path, "a.csv", LOG)
    assert entry.read_bytes() == sound
    check(cache, tmp_path, "a.csv", LOG)
    assert len(parsed) == 2


def test_objects_in_an_entry_are_never_loaded(tmp_path, cache, parsed):
    put(tmp_path, {"a.csv": text(1)})
    check(cache, tmp_path, "a.csv", LOG)
    np.save(entries(cache, ".npy")[0], np.array([{"a": 1}], dtype=object), allow_pickle=True)
    check(cache, tmp_path, "a.csv", LOG)
    assert len(parsed) == 2


def test_faults_are_not_kept_and_missing_files_are_named(tmp_path, cache):
    put(tmp_path, {"a.csv": text(1)[:-3]})
    assert check(cache, tmp_path, "a.csv", LOG).faults
    assert "no such file" in str(check(cache, tmp_path, "b.csv", LOG).faults[0])
    assert not cache.folder.exists()


def test_a_folder_that_cannot_be_written_to_only_costs_time(tmp_path):
    put(tmp_path, {"a.csv": text(1), "kept": b"a file in the place of the folder"})
    assert check(ColumnCache(tmp_path / "kept"), tmp_path, "a.csv", LOG).samples is not None
