"""Archives that take minutes, on request: `python tests/benchmarks/large.py`, or with `long` or `short` one of them.

Ten runs of 10 million samples in one folder, and 100 000 runs of 36 samples, each really read and reduced, by a fresh
process: here and on a pool of 2. Peak memory is the highest resident memory of a process by itself (VmHWM, Linux).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path

from archive_rows import SETTINGS, write_big, write_trials

from lossstats.archive.archive import Archive, reduce_archive
from lossstats.archive.archive_levels import read_levels, write_levels

SAMPLES, LONG_RUNS, SHORT_RUNS, RUNS_A_FOLDER = 10_000_000, 10, 100_000, 12


def write_long_trial(folder: Path, runs: int, samples: int) -> list[Path]:
    """One trial folder of an invented archive, 10 samples a second, a run as long as it takes."""
    (folder / "samples").mkdir(parents=True)
    (folder / "trial.toml").write_text(SETTINGS)
    sheet = ["run,start,role,article,condition,mount,file,remarks"]
    start = datetime(2031, 1, 1, 8, tzinfo=UTC)
    for run in range(runs):
        condition, article = ("dusty", "cleaned")[2 * run // runs], f"K{run % (runs // 2) + 1:02d}"
        sheet.append(f"r{run:02d},{start.isoformat()},test,{article},{condition},1,samples/r{run:02d}.csv,")
        write_big(folder / "samples" / f"r{run:02d}.csv", samples, seed=run)
        start += timedelta(seconds=samples / 10 + 3600)
    (folder / "run_sheet.csv").write_text("\n".join(sheet) + "\n")
    return [folder]


def highest_memory(process: int | str = "self") -> float:
    """Highest resident memory of a process so far, in MB."""
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return next(float(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmHWM:"))


def reduce_and_tell(root: Path, workers: int) -> None:
    """Reduce the folders below root in this process or on a pool, and print what it took."""
    folders = sorted(path.parent for path in root.glob("**/trial.toml"))
    busy, start = os.getloadavg()[0], time.perf_counter()
    if workers:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            archive = reduce_archive(folders, executor=pool)
            passed_s = time.perf_counter() - start
            of_workers = ", ".join(f"{highest_memory(pid):.0f}" for pid in pool._processes)
    else:
        archive, of_workers = reduce_archive(folders), ""
        passed_s = time.perf_counter() - start
    where = f"pool of {workers}" if workers else "this process"
    cpu_s = sum(os.times()[:4])  # of this process and of workers that have ended
    print(
        f"{where}: {len(archive.runs)} runs of {len(folders)} folder(s), {len(archive.failed)} failed, {passed_s:.1f} s, "
        f"{cpu_s:.1f} s of CPU; peak {highest_memory():.0f} MB{f', workers {of_workers} MB' if workers else ''}; load before {busy:.1f}"
    )
    tell_table(archive, root)


def tell_table(archive: Archive, root: Path) -> None:
    """The levels to Parquet and back."""
    path, start = root / "levels.parquet", time.perf_counter()
    levels = archive.levels
    write_levels(levels, path)
    written_s = time.perf_counter() - start
    same = read_levels(path).equals(levels)
    back_s = time.perf_counter() - start - written_s
    size = path.stat().st_size
    path.unlink()
    print(
        f"  levels: {levels.memory_usage(deep=True).sum() / 1e6:.1f} MB, in Parquet {size / 1e6:.2f} MB, written in "
        f"{written_s:.2f} s, read in {back_s:.2f} s, {'equal' if same else 'NOT EQUAL'}; peak then {highest_memory():.0f} MB"
    )


def main(wanted: list[str]) -> None:
    with tempfile.TemporaryDirectory() as name:
        for kind in wanted or ["long", "short"]:
            root, start = Path(name) / kind, time.perf_counter()
            if kind == "long":
                write_long_trial(root / "t0", LONG_RUNS, SAMPLES)
            else:
                write_trials(root, -(-SHORT_RUNS // RUNS_A_FOLDER), RUNS_A_FOLDER)
            print(f"{kind}, {datetime.now(UTC):%d %B %Y}; written in {time.perf_counter() - start:.0f} s", flush=True)
            for workers in (0, 2) if kind == "long" else (2,):
                subprocess.run([sys.executable, __file__, "--reduce", str(root), str(workers)], check=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--reduce"]:
        reduce_and_tell(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        main(sys.argv[1:])
