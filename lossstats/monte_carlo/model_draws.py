"""Draws of a model's outputs: block by block, one random stream a block, so that threads change nothing."""

from __future__ import annotations

import copy
import math
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lossstats.budgets.model_function import ModelFunction
from lossstats.monte_carlo.coverage_interval import symmetric_interval
from lossstats.monte_carlo.linear_validation import numerical_tolerance
from lossstats.monte_carlo.random_draws import InputDraws
from lossstats.records.argument_checks import refuse
from lossstats.records.estimate import Interval

if TYPE_CHECKING:
    from concurrent.futures import Future

Array = NDArray[np.float64]
Progress = Callable[[Iterable[int]], Iterable[Any]]

BLOCK = 1 << 17  # draws of one stream, where their number is fixed
MOST_DRAWS = 10_000_000  # where the adaptive procedure gives up
_CHUNK = 1 << 14  # inputs drawn at a time: they stay in the processor's cache
_FEWEST_BLOCKS = 10


class Drawn(NamedTuple):
    """Values of the outputs.

    Attributes
    ----------
    values : numpy.ndarray
        Shape (outputs, draws).
    settled : bool
        Whether the adaptive procedure came to its tolerance (7.9.4); True where the number was fixed.
    """

    values: Array
    settled: bool


class ModelDraws:
    """A model with its inputs and a seed, ready to be drawn from.

    Parameters
    ----------
    model : ModelFunction
        The model.
    inputs : InputDraws
        Its inputs, in the same order.
    entropy : int
        Seed of all streams.

    Attributes
    ----------
    takes_arrays : bool
        Whether the model takes arrays; if not it is called draw by draw.
    """

    def __init__(self, model: ModelFunction, inputs: InputDraws, entropy: int) -> None:
        self._model, self._inputs, self._entropy = model, inputs, entropy
        points = np.empty((len(model.names), 4))
        inputs.fill(points, rng=self._stream(0))
        model.many(points)  # settles once whether arrays are taken, before any thread starts
        self.takes_arrays = model.takes_arrays

    def block(self, place: int, size: int, before: int) -> Array:
        """Draw one block.

        Parameters
        ----------
        place : int
            Number of the block, which chooses its stream.
        size : int
            Draws.
        before : int
            Draws of the blocks before, for the text of an error.

        Returns
        -------
        numpy.ndarray
            Shape (outputs, size).

        Raises
        ------
        ValueError
            If the model gives no finite number for some draws: how many, and one of them.
        """
        rng = self._stream(place)
        buffer = np.empty((len(self._model.names), min(size, _CHUNK)))
        values = np.empty((len(self._model.outputs), size))
        failed, shown = 0, None
        for start in range(0, size, _CHUNK):
            found = values[:, start : start + _CHUNK]
            points = buffer[:, : found.shape[1]]
            self._inputs.fill(points, rng=rng)
            # A copy: whether one chunk has to be called draw by draw must not depend on what other threads met.
            found[:] = copy.copy(self._model).many(points)
            bad = ~np.isfinite(found).all(axis=0)
            failed += int(bad.sum())
            if shown is None and failed:
                shown = points[:, int(bad.argmax())].tolist()
        if shown is not None:
            self._refuse_model(failed, before + size, shown)
        return values

    def fixed(self, number: int, *, workers: int = 1, progress: Progress | None = None) -> Drawn:
        """Draw a fixed number of times.

        Parameters
        ----------
        number : int
            Draws.
        workers : int, default 1
            Threads.
        progress : callable, optional
            Wraps the iterable of blocks.

        Returns
        -------
        Drawn
            All values, in the order of the draws.

        Raises
        ------
        ValueError
            If the model fails for some draws, or `progress` leaves blocks out.
        """
        values = np.empty((len(self._model.outputs), number))
        places = range(-(-number // BLOCK))

        def task(place: int) -> Array:
            return self.block(place, min(BLOCK, number - place * BLOCK), place * BLOCK)

        results = in_order(task, places, workers)
        done = 0
        for _, found in zip(progress(places) if progress else places, results, strict=False):
            values[:, done : done + found.shape[1]] = found
            done += found.shape[1]
        _check_whole(done, number)
        return Drawn(values, settled=True)

    def adaptive(
        self,
        p: float,
        digits: int,
        *,
        linear: Sequence[Interval | None] = (),
        workers: int = 1,
        progress: Progress | None = None,
    ) -> Drawn:
        """Draw until value, standard uncertainty and interval ends are known to a number of significant digits.

        Parameters
        ----------
        p : float
            Coverage probability of the interval.
        digits : int
            Significant digits of the standard uncertainty.
        linear : sequence of Interval or None
            Linear interval of each output, where there is one: draws go on until these can be judged.
        workers : int, default 1
            Threads.
        progress : callable, optional
            Wraps the iterable of blocks, whose length is not known beforehand.

        Returns
        -------
        Drawn
            All values; not settled where `MOST_DRAWS` did not suffice.

        Raises
        ------
        ValueError
            If the model fails for some draws, or `progress` leaves blocks out.

        Notes
        -----
        JCGM 101:2008, 7.9.4 (from memory), with two departures. At least ten blocks are drawn, where the document
        compares from two on: the standard deviation of two averages is small by chance too often. And where linear
        intervals are given, draws go on until three standard deviations of an end no longer decide whether it differs
        from the linear one by more than the tolerance, or two are a fifth of the tolerance, which 8.2 asks for.
        """
        size = adaptive_block(p)
        trail = _Trail(p, digits, linear, np.empty((len(self._model.outputs), 32 * size)))
        most = MOST_DRAWS // size

        def task(place: int) -> Array:
            return self.block(place, size, place * size)

        def until_done() -> Iterator[int]:
            while not trail.done and trail.count < most:
                yield trail.count

        results = in_order(task, range(most), workers)
        ticks = until_done()
        for _, found in zip(progress(ticks) if progress else ticks, results, strict=False):
            trail.add(found)
        results.close()
        _check_whole(trail.count, trail.count if trail.done else most)
        return Drawn(trail.values[:, : trail.count * size], trail.settled)

    def _stream(self, place: int) -> np.random.Generator:
        # The child that SeedSequence(entropy).spawn would give at this place.
        return np.random.Generator(np.random.SFC64(np.random.SeedSequence(self._entropy, spawn_key=(place,))))

    def _refuse_model(self, failed: int, drawn: int, point: list[float]) -> None:
        values = dict(zip(self._model.names, point, strict=True))
        reason = "nan or infinity"
        try:
            self._model.at(values)
        except ValueError as error:
            if error.__cause__ is not None:
                reason = f"{type(error.__cause__).__name__}: {error.__cause__}"
        one = ", ".join(f"{name} = {value:.6g}" for name, value in values.items())
        raise ValueError(
            f"model: found no finite number for {failed} of the first {drawn} draws; one such draw: {one} ({reason}); "
            "accepted: a model that gives finite numbers wherever its inputs may fall, or inputs with limits that keep "
            "away from there; no draw is left out silently"
        )


def adaptive_block(p: float) -> int:
    """Find how many draws make a block of the adaptive procedure.

    Parameters
    ----------
    p : float
        Coverage probability.

    Returns
    -------
    int
        The larger of 10 000 and 100 / (1 - p) rounded up (JCGM 101, 7.9.4 b).

    Raises
    ------
    ValueError
        If so few of these blocks are allowed that nothing can be compared.
    """
    size = max(math.ceil(100 / (1 - p)), 10_000)
    if MOST_DRAWS // size < _FEWEST_BLOCKS:
        refuse("confidence", p, f"at most {1 - 100 * _FEWEST_BLOCKS / MOST_DRAWS:g} with adaptive draws")
    return size


def in_order(task: Callable[[int], Array], places: Iterable[int], workers: int) -> Generator[Array, None, None]:
    """Give the results of a task in the order of its places, a few of them under way at a time.

    Parameters
    ----------
    task : callable
        Called with a place.
    places : iterable of int
        The places.
    workers : int
        Threads; with 1 none is started.

    Yields
    ------
    numpy.ndarray
        One result a place.
    """
    if workers == 1:
        yield from map(task, places)
        return
    from concurrent.futures import ThreadPoolExecutor

    waiting: deque[Future[Array]] = deque()
    with ThreadPoolExecutor(workers) as pool:
        try:
            for place in places:
                waiting.append(pool.submit(task, place))
                if len(waiting) > 2 * workers:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()


class _Trail:
    """Averages of the blocks so far, and whether they have settled (JCGM 101, 7.9.4 e to i)."""

    def __init__(self, p: float, digits: int, linear: Sequence[Interval | None], room: Array) -> None:
        self.values = room
        self.count = 0
        self.settled = self.done = False
        self._p, self._digits, self._linear = p, digits, linear
        self._rows: list[Array] = []

    def add(self, block: Array) -> None:
        size = block.shape[1]
        start = self.count * size
        if start + size > self.values.shape[1]:  # twice the room: at no time more than half as much again is held
            wider = np.empty((len(block), 2 * self.values.shape[1]))
            wider[:, :start] = self.values[:, :start]
            self.values = wider
        self.values[:, start : start + size] = block
        self.count += 1
        self._rows.append(np.array([_summary(values, self._p) for values in block]))
        if self.count >= _FEWEST_BLOCKS:
            self._judge(np.stack(self._rows))

    def _judge(self, table: Array) -> None:
        """Table: blocks x outputs x (mean, standard deviation, low, high)."""
        errors = 2 * table.std(axis=0, ddof=1) / math.sqrt(len(table))
        u = np.sqrt((table[:, :, 1] ** 2).mean(axis=0))  # of all values so far, but for a ten thousandth
        rounding = 1e-15 * abs(table).max(axis=(0, 2))  # an output that does not move differs by no more
        stated = [numerical_tolerance(float(one), self._digits) if one > 0 else 0.0 for one in u]
        tolerances = np.maximum(stated, rounding)
        self.settled = bool((errors <= tolerances[:, None]).all())
        self.done = self.settled and all(
            linear is None or _can_be_judged(np.abs(ends - linear), error, tolerance)
            for linear, ends, error, tolerance in zip(
                self._linear, table[:, :, 2:].mean(axis=0), errors[:, 2:], tolerances, strict=False
            )
        )


def _can_be_judged(differences: Array, twice_errors: Array, tolerance: float) -> bool:
    """Clause 8: clearly beyond, clearly within, or as well known as 8.2 asks for."""
    margin = 1.5 * twice_errors  # more than the judgement itself wants, as draws end where they first allow it
    beyond = (differences - margin > tolerance).any()
    within = (differences + margin <= tolerance).all()
    return bool(beyond or within or (twice_errors <= tolerance / 5).all())


def _summary(values: Array, p: float) -> tuple[float, float, float, float]:
    return float(values.mean()), float(values.std(ddof=1)), *symmetric_interval(values, p)


def _check_whole(done: int, number: int) -> None:
    if done < number:
        refuse("progress", f"{done} of {number}", "a callable that gives back every block of the iterable, as tqdm")
