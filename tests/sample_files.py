"""Sample files of four columns, and what holds a reader of them against the strict one."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lossstats.trial_folder.folder_files import SampleFile, read_sample_file
from lossstats.trial_folder.samples import Samples
from lossstats.trial_folder.settings import BenchModelKeys, Column, LogKeys, ReadingsKeys


def text(run: int, rows: int = 36) -> bytes:
    rng = np.random.default_rng(run)
    lines = [
        f"{5 * i},{7 + rng.normal(0, 0.02):.3f},{280 + rng.normal():.1f},{rng.normal(0, 1):.2f}\n" for i in range(rows)
    ]
    return ("time_s,loss_W,power_W,offset_C\n" + "".join(lines)).encode()


LOG = LogKeys(other={"power_W": Column("power_W"), "offset_C": Column("offset_C", factor=0.5)})


def put(folder: Path, contents: dict[str, bytes]) -> list[str]:
    for name, content in contents.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return list(contents)


def same(a: Samples | None, b: Samples | None) -> bool:
    if a is None or b is None:
        return a is b
    columns = [(a.time_s, b.time_s), (a.values, b.values)]
    columns += [(a.operating_point[name], b.operating_point[name]) for name in b.operating_point]
    return (
        all(x.tobytes() == y.tobytes() and not x.flags.writeable for x, y in columns)
        and list(a.operating_point) == list(b.operating_point)
        and a.first_stamp == b.first_stamp
    )


def hold_to_strict_reader(
    read: SampleFile,
    folder: Path,
    log: LogKeys | None = None,
    readings: ReadingsKeys | None = None,
    model: BenchModelKeys | None = None,
) -> None:
    """A file as another reader gave it: digest, faults in words, and numbers to the last bit."""
    alone = read_sample_file(folder, read.file, log, readings, model)
    assert read.sha256 == alone.sha256, read.file
    assert list(map(str, read.faults)) == list(map(str, alone.faults))
    assert same(read.samples, alone.samples), read.file
