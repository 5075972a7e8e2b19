"""Thousands of trial folders to one table of levels, here or by any executor of the kind of concurrent.futures."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeGuard, cast

from lossstats.archive.archive_folder import Failure, FolderLevels, reduce_folder
from lossstats.archive.archive_levels import RunLevel, levels_table
from lossstats.records.rendering import Record

if TYPE_CHECKING:
    import pandas as pd

Progress = Callable[[Iterable[Any]], Iterable[Any]]

# What a run and a byte of its file cost, by measurement; only the sizes of the blocks hang on it.
_RUN_S = 5e-3
_BYTE_S = 2e-8
# An empty task costs a process pool 0.1 ms and a dask cluster 2 to 3 ms: a hundredth of a block of this length.
_BLOCK_S = 0.25
_ATTEMPTS = 3
# Of distributed, which is not imported for that: the worker, or the way to it, was lost.
_LOST_BY_NAME = frozenset({"KilledWorker", "CommClosedError", "FutureCancelledError"})


@dataclass(frozen=True)
class Archive(Record):
    """Levels of the runs of many trial folders.

    Attributes
    ----------
    runs : tuple of RunLevel
        Runs with a level: folders in the order given, runs in bench order.
    failed : tuple of Failure
        Runs and folders that gave none, and why.
    folders : int
        How many folders there were.
    notes : tuple of str
        Workers that were lost on the way.
    """

    runs: tuple[RunLevel, ...]
    failed: tuple[Failure, ...]
    folders: int
    notes: tuple[str, ...] = ()

    title = "Archive"

    @property
    def levels(self) -> pd.DataFrame:
        """One row a run.

        Returns
        -------
        DataFrame
            The columns of `lossstats.archive.archive_levels.RunLevel`.
        """
        return levels_table(self.runs)

    def _rows(self) -> list[tuple[str, str]]:
        counts = {status: sum(run.settled == status for run in self.runs) for status in ("moving", "undecided")}
        rows = [
            ("folders", str(self.folders)),
            ("runs with a level", str(len(self.runs))),
            ("of these still moving", str(counts["moving"])),
            ("of these undecided", str(counts["undecided"])),
            ("runs and folders that failed", str(len(self.failed))),
        ]
        first = [("failed", str(failure).partition("\n")[0]) for failure in self.failed[:10]]
        more = len(self.failed) - len(first)
        return [*rows, *first, *([("failed", f"and {more} more")] if more else []), *(("note", n) for n in self.notes)]


def reduce_archive(
    folders: Iterable[str | os.PathLike[str]],
    *,
    executor: Executor | Callable[[], Executor] | None = None,
    progress: Progress | None = None,
    block_s: float = _BLOCK_S,
) -> Archive:
    """Reduce every run of many trial folders to its level, by the rules that each trial declares.

    Parameters
    ----------
    folders : iterable of path
        Trial folders, each once.
    executor : Executor or callable, optional
        Anything with the ``submit`` of `concurrent.futures`: a process pool, or
        ``dask.distributed.Client(...).get_executor()``, whose workers see the folders by the same absolute paths and
        have lossstats installed. A callable that makes one, such as ``functools.partial(ProcessPoolExecutor, 8)``,
        lets a broken pool be replaced. Left out: this process.
    progress : callable, optional
        Wraps the list of blocks, such as ``functools.partial(tqdm, desc="blocks")``.
    block_s : float, default 0.25
        How long a block of folders should last by estimate, in s, so that the cost of handing it over does not count:
        at least 0.01 for a process pool, 0.2 for dask. A folder is never divided.

    Returns
    -------
    Archive
        The same to the last bit whatever the executor: each run is reduced by itself.

    Raises
    ------
    TypeError
        If `executor` is no executor and makes none.
    ValueError
        If a folder is given twice, or `block_s` is not above 0.

    Notes
    -----
    What is wrong with a run or a folder stands in ``failed`` and stops nothing else. A block whose worker was lost is
    handed over again, three times in all, and then reduced in this process; what kills a worker each time, such as a
    run too large for the memory, may then end this one. Levels are as the bench showed them:
    drift, operating point and instrument are matters of a whole trial (`lossstats.analyse`).
    """
    names = [os.fspath(folder) for folder in folders]
    _check_arguments(names, executor, block_s)
    blocks = _blocks(names, block_s if executor is not None else 0.0)
    if executor is None:
        results = [_reduce_block(block) for block in (progress(blocks) if progress else blocks)]
        notes: tuple[str, ...] = ()
    else:
        work = _Work(blocks, executor)
        results, notes = work.done(progress)
    parts: list[FolderLevels] = list(chain.from_iterable(results))
    runs = tuple(chain.from_iterable(part.runs for part in parts))
    return Archive(runs, tuple(chain.from_iterable(part.failed for part in parts)), len(names), notes)


def _check_arguments(names: Sequence[str], executor: Any, block_s: float) -> None:
    if not (executor is None or hasattr(executor, "submit") or callable(executor)):
        accepted = "an executor of the kind of concurrent.futures, or a callable that makes one"
        raise TypeError(f"executor: found {type(executor).__name__}; accepted: {accepted}")
    if not block_s > 0:
        raise ValueError(f"block_s: found {block_s!r}; accepted: a time in s above 0")
    seen: set[str] = set()
    for name in names:
        if os.path.abspath(name) in seen:  # noqa: PTH100 - Path.resolve would follow links
            raise ValueError(f"folders: found {name!r} a second time; accepted: each folder once")
        seen.add(os.path.abspath(name))  # noqa: PTH100


_Block = tuple[tuple[str, str], ...]


def _blocks(names: Sequence[str], shortest_s: float) -> list[_Block]:
    # Folders with their absolute paths, which hold in any process; one a block where there is nothing to hand over.
    blocks: list[_Block] = []
    current: list[tuple[str, str]] = []
    cost_s = 0.0
    for name in names:
        path = os.path.abspath(name)  # noqa: PTH100
        current.append((name, path))
        cost_s += _cost_s(path) if shortest_s else 0.0
        if cost_s >= shortest_s:
            blocks.append(tuple(current))
            current, cost_s = [], 0.0
    return [*blocks, tuple(current)] if current else blocks


def _cost_s(folder: str) -> float:
    # What reducing a folder will take, near enough to size a block.
    cost_s = 0.0
    for place, _, files in os.walk(Path(folder) / "samples"):
        for file in files:
            try:
                cost_s += _RUN_S + _BYTE_S * Path(place, file).stat().st_size
            except OSError:
                continue
    return cost_s


def _reduce_block(block: _Block, _call: str = "") -> list[FolderLevels]:
    return [reduce_folder(path, name) for name, path in block]


@dataclass
class _Work:
    # Blocks handed to an executor, again where their worker was lost, and at last done here.
    blocks: list[_Block]
    given: Executor | Callable[[], Executor]
    results: dict[int, list[FolderLevels]] = field(default_factory=dict)
    broken: bool = False
    lost: int = 0

    def done(self, progress: Progress | None) -> tuple[list[list[FolderLevels]], tuple[str, ...]]:
        for attempt in range(_ATTEMPTS):
            waiting = [number for number in range(len(self.blocks)) if number not in self.results]
            if not waiting or (self.broken and _is_open(self.given)):
                break
            # a block that kills its worker is first in turn each time, and last when the order is turned round
            in_turn = waiting[::-1] if attempt % 2 else waiting
            with self._executor() as executor:
                self._hand_over(executor, in_turn, None if attempt else progress)
        here = [number for number in range(len(self.blocks)) if number not in self.results]
        for number in here:
            self.results[number] = _reduce_block(self.blocks[number])
        notes = [f"blocks that lost their worker and were done again: {self.lost}"] if self.lost else []
        notes += [f"blocks done in this process in the end: {len(here)}"] if here else []
        return [self.results[number] for number in range(len(self.blocks))], tuple(notes)

    def _executor(self) -> AbstractContextManager[Executor]:
        # One that was given is left open, one that was made is shut down.
        if _is_open(self.given):
            return nullcontext(self.given)
        return cast("Callable[[], Executor]", self.given)()

    def _hand_over(self, executor: Executor, waiting: Sequence[int], progress: Progress | None) -> None:
        futures = [(number, self._submitted(executor, self.blocks[number])) for number in waiting]
        try:
            for number, future in progress(futures) if progress else futures:
                try:
                    if future is not None:
                        self.results[number] = future.result()
                except BaseException as error:
                    if not _is_loss(error):
                        raise
                    self._note(error)
        finally:
            for _, future in futures:
                if future is not None:
                    future.cancel()

    def _submitted(self, executor: Executor, block: _Block) -> Future[list[FolderLevels]] | None:
        try:
            # dask takes calls with equal arguments for one and the same, and would give an old result or error again
            return executor.submit(_reduce_block, block, secrets.token_hex(8))
        except BrokenExecutor as error:
            self._note(error)
            return None

    def _note(self, error: BaseException) -> None:
        self.lost += 1
        self.broken |= isinstance(error, BrokenExecutor)


def _is_open(given: Executor | Callable[[], Executor]) -> TypeGuard[Executor]:
    # An executor, and not the class of one or another callable that makes one.
    return hasattr(given, "submit") and not isinstance(given, type)


def _is_loss(error: BaseException) -> bool:
    names = {kind.__name__ for kind in type(error).__mro__}
    return isinstance(error, BrokenExecutor | CancelledError) or bool(names & _LOST_BY_NAME)
