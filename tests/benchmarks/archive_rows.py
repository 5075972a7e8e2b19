"""Reading of many small files and of one big one, and whole archives, beside what a user would pick."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from timed_row import TimedRow

from lossstats.archive.archive import reduce_archive
from lossstats.archive.archive_reading import read_sample_files
from lossstats.archive.column_cache import ColumnCache
from lossstats.archive.large_log import read_large_log
from lossstats.trial_folder.folder_files import SampleFile
from lossstats.trial_folder.samples import read_samples
from lossstats.trial_folder.settings import Column, LogKeys

NAMES = ("time_s", "loss_W", "power_W", "oil_C")
LOG = LogKeys(other={name: Column(name) for name in NAMES[2:]})
SETTINGS = (
    '[trial]\nquestion = "Does a wash pay?"\n[comparison]\nbefore = "dusty"\nafter = "cleaned"\n'
    'design = "paired"\n[readings]\nresolution = 0.001\n'
)
Row = partial(TimedRow, pairs=5)


def write_small(folder: Path, count: int, samples: int = 36) -> list[str]:
    """Files of 36 rows and 4 columns."""
    rng = np.random.default_rng(1)
    files = []
    for number in range(count):
        columns = zip(
            (5 * np.arange(samples)).tolist(), rng.normal(7, 0.02, samples).tolist(),
            rng.normal(280, 1, samples).tolist(), rng.normal(23, 0.1, samples).tolist(), strict=True,
        )  # fmt: skip
        body = "".join(f"{time},{loss:.3f},{power:.1f},{oil:.2f}\n" for time, loss, power, oil in columns)
        files.append(f"r{number:06d}.csv")
        (folder / files[-1]).write_text(f"{','.join(NAMES)}\n{body}")
    return files


def write_big(path: Path, rows: int, loss_W: float = 7.0, seed: int = 2) -> None:
    """One file of two columns, 10 samples a second; readings about 10 W have rows of two lengths."""
    rng = np.random.default_rng(seed)
    with path.open("w") as stream:
        stream.write("time_s,loss_W\n")
        for start in range(0, rows, 100_000):
            count = min(100_000, rows - start)
            times = ((start + np.arange(count)) / 10).tolist()
            stream.writelines(
                f"{time:.1f},{loss:.3f}\n"
                for time, loss in zip(times, rng.normal(loss_W, 0.02, count).tolist(), strict=True)
            )


def read_and_hash(folder: Path, files: list[str]) -> None:
    """The least that can be done: open, read, digest, close."""
    for file in files:
        handle = os.open(f"{folder}/{file}", os.O_RDONLY)
        hashlib.sha256(os.read(handle, 1 << 20)).digest()
        os.close(handle)


def by_pandas(folder: Path, files: list[str]) -> list[Any]:
    import pandas as pd

    return [pd.read_csv(folder / file) for file in files]


def same_numbers(folder: Path, files: list[str]) -> bool:
    ours = list(read_sample_files(folder, files, LOG))
    return all(
        np.array_equal(one.samples.values, frame["loss_W"]) and np.array_equal(one.samples.time_s, frame["time_s"])
        for one, frame in zip(ours, by_pandas(folder, files), strict=True)
    )


def small_rows(folder: Path, counts: tuple[int, ...]) -> Iterator[TimedRow]:
    """Many small files: pandas, the floor, and growth; one small file."""
    files = write_small(folder, max(counts))

    def ours(count: int) -> list[Any]:
        return list(read_sample_files(folder, files[:count], LOG))

    most = max(counts)
    yield Row(
        f"{most} files of 36 rows and 4 columns, read, hashed, checked", "pandas.read_csv each, no digest, no checks",
        lambda: ours(most), lambda: by_pandas(folder, files), lambda: same_numbers(folder, files), ">= 25",
    )  # fmt: skip
    yield Row(
        f"the same {most} files", "reading and hashing alone",
        lambda: ours(most), lambda: read_and_hash(folder, files), lambda: True, ">= 0.25 (4 times)", pairs=9,
    )  # fmt: skip
    for count in sorted(counts)[:-1]:
        yield Row(
            f"{count} of the same files", "", lambda count=count: ours(count), None, lambda: True, "grows as n", pairs=9
        )
    data = (folder / files[0]).read_bytes()
    yield Row(
        "one such file, read, hashed, checked by itself", "pandas.read_csv, no digest, no checks",
        lambda: (hashlib.sha256(data).hexdigest(), read_samples((folder / files[0]).read_bytes(), "r", LOG)),
        lambda: by_pandas(folder, files[:1]), lambda: True, "", pairs=9,
    )  # fmt: skip


def peak_rise(code: str, path: Path) -> float:
    """Highest resident memory of a process that reads the file, less that before, in MB."""
    # VmHWM, not ru_maxrss: that counts what the parent held when it made the process
    text = (
        "import hashlib, pandas, sys\nfrom lossstats.archive.large_log import read_large_log\n"
        "def kept_MB(name):\n"
        "    lines = open('/proc/self/status').read().splitlines()\n"
        "    return next(float(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith(name))\n"
        f"before = kept_MB('VmRSS:')\n{code}\nprint(kept_MB('VmHWM:') - before)\n"
    )
    run = subprocess.run([sys.executable, "-c", text, str(path)], capture_output=True, text=True, check=True)
    return float(run.stdout)


def pandas_with_digest(path: Path) -> Any:
    import pandas as pd

    found = hashlib.sha256(path.read_bytes()).hexdigest()
    frame = pd.read_csv(path)
    values = frame.to_numpy()
    if not (np.isfinite(values).all() and (np.diff(values[:, 0]) > 0).all()):
        raise ValueError
    return found, frame


def same_samples(one: SampleFile, other: SampleFile) -> bool:
    return one.sha256 == other.sha256 and np.array_equal(one.samples.values, other.samples.values)


def big_rows(folder: Path, counts: tuple[int, ...]) -> Iterator[TimedRow]:
    """One big file: pandas with digest and the plainest checks, memory, growth, the second time from the cache."""
    for rows, loss_W in [*((rows, 7.0) for rows in counts), (max(counts), 10.0)]:
        path = folder / f"big{rows}_{loss_W:.0f}W.csv"
        write_big(path, rows, loss_W)
        columns_MB = 16e-6 * rows
        memory = "" if loss_W == 7 else ", rows of two lengths"
        if rows == max(counts) and loss_W == 7:
            ours_MB = peak_rise(
                "kept = read_large_log(sys.argv[1].rpartition('/')[0], sys.argv[1].rpartition('/')[2])", path
            )
            theirs_MB = peak_rise(
                "kept = hashlib.sha256(open(sys.argv[1], 'rb').read()), pandas.read_csv(sys.argv[1])", path
            )
            memory = f"; memory beyond the columns {ours_MB - columns_MB:.0f} MB, peer {theirs_MB - columns_MB:.0f} MB"

        def agree(path: Path = path) -> bool:
            digest, frame = pandas_with_digest(path)
            read = read_large_log(path.parent, path.name)
            return read.sha256 == digest and np.array_equal(read.samples.values, frame["loss_W"])

        yield Row(
            f"one file of {rows} rows{memory}", "pandas.read_csv, digest, finite, times rise",
            lambda path=path: read_large_log(path.parent, path.name), lambda path=path: pandas_with_digest(path),
            agree, "parity in time; <= 100 MB",
        )  # fmt: skip
    cache = ColumnCache(folder / "kept")
    read_large_log(path.parent, path.name, cache=cache)
    yield Row(
        "the last file a second time, from the cache", "reading it anew",
        lambda: read_large_log(path.parent, path.name, cache=cache), lambda: read_large_log(path.parent, path.name),
        lambda: same_samples(*(read_large_log(path.parent, path.name, cache=c) for c in (cache, None))), "",
    )  # fmt: skip


def write_trials(folder: Path, count: int, runs: int = 12) -> list[Path]:
    """Trial folders of an invented archive: 12 runs of 36 samples each."""
    rng = np.random.default_rng(3)
    made = []
    for number in range(count):
        trial = folder / f"t{number:04d}"
        (trial / "samples").mkdir(parents=True)
        (trial / "trial.toml").write_text(SETTINGS)
        day = datetime(2031, 1, 1, 8, tzinfo=UTC) + timedelta(days=number)
        sheet = ["run,start,role,article,condition,mount,file,remarks"]
        for run in range(runs):
            condition, article = ("dusty", "cleaned")[2 * run // runs], f"K{run % (runs // 2) + 1:02d}"
            start = (day + timedelta(minutes=25 * run)).isoformat()
            sheet.append(f"r{run:02d},{start},test,{article},{condition},1,samples/r{run:02d}.csv,")
            times = 25.0 * np.arange(36)
            values = 6 + 0.3 * np.exp(-times / 150) + rng.normal(0, 0.02, 36)
            body = "".join(
                f"{time:.0f},{loss:.3f}\n" for time, loss in zip(times.tolist(), values.tolist(), strict=True)
            )
            (trial / "samples" / f"r{run:02d}.csv").write_text(f"time_s,loss_W\n{body}")
        (trial / "run_sheet.csv").write_text("\n".join(sheet) + "\n")
        made.append(trial)
    return made


def archive_rows(folder: Path, counts: tuple[int, ...]) -> Iterator[TimedRow]:
    """Whole archives in this process, growth, and the same by a pool and by dask on this machine."""
    folders = write_trials(folder, max(counts))
    for count in counts:
        yield Row(
            f"archive of {count} trials, {12 * count} runs of 36 samples, to levels", "",
            lambda count=count: reduce_archive(folders[:count]), None, lambda: True, "<= 6 ms a run", pairs=3,
        )  # fmt: skip
    here = reduce_archive(folders)
    with ProcessPoolExecutor(2) as pool:
        yield Row(
            f"archive of {max(counts)} trials by a pool of 2", "in this process",
            lambda: reduce_archive(folders, executor=pool), lambda: reduce_archive(folders),
            lambda: reduce_archive(folders, executor=pool) == here, ">= 1.6 with two free cores",
        )  # fmt: skip
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        yield Row(
            f"archive of {max(counts)} trials by dask, 2 workers on this machine", "in this process",
            lambda: reduce_archive(folders, executor=client.get_executor()), lambda: reduce_archive(folders),
            lambda: reduce_archive(folders, executor=client.get_executor()) == here, "no promise on one machine",
        )  # fmt: skip


def rows(
    small: tuple[int, ...] = (50, 500, 5000),
    big: tuple[int, ...] = (100_000, 1_000_000, 10_000_000),
    trials: tuple[int, ...] = (1, 10, 100),
) -> Iterator[TimedRow]:
    """All rows; the files live as long as these are drawn."""
    with tempfile.TemporaryDirectory() as name:
        for part, make, sizes in (
            ("small", small_rows, small),
            ("big", big_rows, big),
            ("trials", archive_rows, trials),
        ):
            folder = Path(name) / part
            folder.mkdir()
            yield from make(folder, sizes)
