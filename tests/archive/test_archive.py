"""Many folders by any executor. Evidence: each folder by itself; workers that are really killed on the way."""

from __future__ import annotations

import os
import signal
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import pytest
import small_trial

from lossstats.archive.archive import reduce_archive
from lossstats.archive.archive_folder import reduce_folder
from lossstats.archive.archive_levels import write_levels


def trials(where: Path, count: int) -> list[Path]:
    """Folders of six runs each, no two alike."""
    folders = []
    for number in range(count):
        folder = small_trial.write(where / f"t{number:02d}")
        for run in range(1, 7):
            small_trial.put(folder, f"samples/r{run:02d}.csv", small_trial.samples(run + 6 * number))
        folders.append(folder)
    return folders


class Here(Executor):
    """Does each call at once, but for those that a test wants lost."""

    def __init__(self, losses: dict[int, Exception] | None = None) -> None:
        self.losses = losses or {}
        self.calls = 0
        self.arguments: list[object] = []

    def submit(self, fn, /, *args, **kwargs):
        self.calls += 1
        self.arguments.append(args)
        future: Future = Future()
        if self.calls in self.losses:
            future.set_exception(self.losses[self.calls])
        else:
            future.set_result(fn(*args, **kwargs))
        return future


class KilledWorker(Exception):  # noqa: N818 - the name that dask gives it
    pass


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    made = trials(tmp_path_factory.mktemp("archive"), 5)
    small_trial.swap(made[1], "samples/r02.csv", small_trial.row(10, 8), "10,nan")
    (made[3] / "trial.toml").unlink()
    return made


@pytest.fixture(scope="module")
def plain(folders):
    return reduce_archive(folders)


def test_every_folder_as_by_itself_and_broken_ones_stop_nothing(folders, plain):
    alone = [reduce_folder(folder) for folder in folders]
    assert plain.runs == tuple(run for part in alone for run in part.runs)
    assert len(plain.runs) == 5 + 3 * 6
    assert len(plain.levels) == len(plain.runs)
    assert [(Path(failure.folder).name, failure.run) for failure in plain.failed] == [("t01", "r02"), ("t03", "")]
    assert "line 12, column 2 (loss_W): found 'nan'" in plain.failed[0].fault
    assert plain.notes == ()


def test_shown_as_text_and_html(plain):
    assert "runs with a level             23" in str(plain)
    assert "run r02: samples/r02.csv, line 12" in " ".join(str(plain).split())  # long lines are folded
    assert "<td" in plain._repr_html_()
    assert plain.to_dict()["folders"] == 5


@pytest.mark.parametrize("block_s", [0.001, 0.06, 100.0])
def test_the_same_whatever_the_executor_and_the_blocks(folders, plain, tmp_path, block_s):
    with ThreadPoolExecutor(2) as threads:
        for executor in (Here(), threads, Here, partial(ThreadPoolExecutor, 1)):
            assert reduce_archive(folders, executor=executor, block_s=block_s) == plain
    write_levels(plain.levels, tmp_path / "plain")
    write_levels(reduce_archive(folders, executor=Here(), block_s=block_s).levels, tmp_path / "blocks")
    assert (tmp_path / "plain").read_bytes() == (tmp_path / "blocks").read_bytes()


def test_blocks_are_as_long_as_asked(folders):
    # six runs of 5 ms: a folder is worth some 30 ms
    for block_s, blocks in ((0.001, 5), (0.04, 3), (10.0, 1)):
        executor = Here()
        reduce_archive(folders, executor=executor, block_s=block_s)
        assert executor.calls == blocks


def test_no_two_calls_have_equal_arguments(folders):
    executor = Here()
    for _ in range(2):
        reduce_archive(folders, executor=executor)
    assert len(set(executor.arguments)) == len(executor.arguments) == executor.calls


def test_folders_may_be_relative(folders, plain, monkeypatch):
    monkeypatch.chdir(folders[0].parent)
    found = reduce_archive([folder.name for folder in folders], executor=Here())
    assert [run.level for run in found.runs] == [run.level for run in plain.runs]
    assert {run.folder for run in found.runs} == {"t00", "t01", "t02", "t04"}


def test_progress_sees_every_block(folders):
    seen = []

    def progress(blocks):
        seen.append(len(blocks))
        return blocks

    reduce_archive(folders, progress=progress)
    reduce_archive(folders, progress=progress, executor=Here(), block_s=0.001)
    assert seen == [5, 5]


def test_a_lost_block_is_done_again(folders, plain):
    executor = Here({2: KilledWorker(), 3: KilledWorker(), 6: KilledWorker()})
    found = reduce_archive(folders, executor=executor, block_s=0.001)
    assert executor.calls == 5 + 2 + 1
    assert found.runs == plain.runs
    assert found.notes == ("blocks that lost their worker and were done again: 3",)


def test_a_block_that_is_lost_each_time_is_done_here(folders, plain):
    executor = Here(dict.fromkeys([2, 6, 7], KilledWorker()))
    found = reduce_archive(folders, executor=executor, block_s=0.001)
    assert executor.calls == 7
    assert (found.runs, found.failed) == (plain.runs, plain.failed)
    assert found.notes[1] == "blocks done in this process in the end: 1"


def test_a_broken_pool_that_was_given_is_not_used_again(folders, plain):
    executor = Here({2: BrokenProcessPool()})
    found = reduce_archive(folders, executor=executor, block_s=0.001)
    assert executor.calls == 5
    assert found.runs == plain.runs


def test_other_errors_are_not_hidden(folders):
    with pytest.raises(ZeroDivisionError):
        reduce_archive(folders, executor=Here({2: ZeroDivisionError()}), block_s=0.001)


def test_arguments_that_make_no_sense_are_refused(folders):
    with pytest.raises(ValueError, match=r"folders: found '.*t00' a second time; accepted: each folder once"):
        reduce_archive([folders[0], folders[0].parent / "." / "t00"])
    with pytest.raises(ValueError, match="block_s: found 0; accepted: a time in s above 0"):
        reduce_archive(folders, block_s=0)
    with pytest.raises(TypeError, match="executor: found int; accepted: an executor of the kind of concurrent.futures"):
        reduce_archive(folders, executor=2)
    assert reduce_archive([]).runs == ()


def test_a_pool_whose_worker_is_killed_is_replaced(folders, plain):
    pools: list[ProcessPoolExecutor] = []

    def pool() -> ProcessPoolExecutor:
        pools.append(ProcessPoolExecutor(1, mp_context=get_context("spawn")))
        return pools[-1]

    def kill(futures):
        for process in list(pools[0]._processes.values()):
            os.kill(process.pid, signal.SIGKILL)
        return futures

    found = reduce_archive(folders, executor=pool, progress=kill, block_s=0.001)
    assert len(pools) == 2
    assert (found.runs, found.failed) == (plain.runs, plain.failed)
    assert found.notes == ("blocks that lost their worker and were done again: 5",)


def test_a_dask_cluster_that_loses_a_worker(folders, plain):
    """Two workers as processes on loopback; one is killed once the first block is back."""
    from distributed import Client, LocalCluster

    more = trials(folders[0].parent / "more", 10)
    killed = []

    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
        ) as cluster,
        Client(cluster) as client,
    ):

        def kill(futures):
            for number, future in enumerate(futures):
                if number == 1:
                    pids = client.run(os.getpid)
                    killed.append(sorted(pids.values())[0])
                    os.kill(killed[0], signal.SIGKILL)
                yield future

        found = reduce_archive([*folders, *more], executor=client.get_executor(), progress=kill, block_s=0.001)
    assert killed
    assert found.runs[: len(plain.runs)] == plain.runs
    assert len(found.runs) == len(plain.runs) + 60
    assert found.failed == plain.failed
