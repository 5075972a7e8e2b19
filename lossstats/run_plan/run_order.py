"""The order of the runs of a trial: drawn by a seed, balanced where it cannot be drawn, put on the clock."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby, pairwise, zip_longest
from typing import TYPE_CHECKING

import numpy as np

from lossstats.records.rendering import Record, counted
from lossstats.run_plan.bench_clock import BenchClock
from lossstats.run_plan.order_checks import changes_condition, confounded, contradictions
from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.plan_times import Fitting, OrderedRun, change_takes_time
from lossstats.trial_folder.settings import PlanKeys, Settings

if TYPE_CHECKING:
    import pandas as pd

_Pool = list[list[Fitting]]  # blocks that may change places with each other
_Paths = Mapping[str, tuple[str, ...]]  # conditions through which each article goes, in order


@dataclass(frozen=True)
class RunOrder(Record):
    """An order of runs with its times.

    Attributes
    ----------
    runs : tuple of OrderedRun
        In bench order.
    seed : int or None
        Seed of the order; None if a Generator was given.
    confounded : tuple of str
        What the order cannot tell apart.
    notes : tuple of str
        What a reader must know besides.
    """

    runs: tuple[OrderedRun, ...]
    seed: int | None
    confounded: tuple[str, ...]
    notes: tuple[str, ...]

    title = "Order of the runs"

    @property
    def table(self) -> pd.DataFrame:
        """Table of the runs in bench order.

        Returns
        -------
        pandas.DataFrame
            Columns run, start, end, role, article, condition, mount, block; the block of other than test runs is NA.
        """
        import pandas as pd

        columns = ("run", "start", "end", "role", "article", "condition", "mount", "block")
        table = pd.DataFrame([[getattr(run, name) for name in columns] for run in self.runs], columns=list(columns))
        return table.astype({"block": "Int64"})

    @property
    def bench_days(self) -> tuple[str, ...]:
        """Name the bench days.

        Returns
        -------
        tuple of str
            ISO dates.
        """
        return tuple(dict.fromkeys(run.bench_day for run in self.runs))

    @property
    def bench_time_h(self) -> float:
        """Time for which the bench is needed, in h, gaps within a day included.

        Returns
        -------
        float
            From the first start to the last end of each day.
        """
        days = [list(group) for _, group in groupby(self.runs, key=lambda run: run.bench_day)]
        return sum((day[-1].end - day[0].start) / timedelta(hours=1) for day in days)

    def _rows(self) -> list[tuple[str, str]]:
        count = {role: sum(run.role == role for run in self.runs) for role in ("test", "reference", "zero")}
        rows = [
            ("runs", ", ".join(f"{number} {role}" for role, number in count.items() if number)),
            ("bench", f"{counted(len(self.bench_days), 'day')}, {self.bench_time_h:.1f} h"),
            ("first start", f"{self.runs[0].start:%a %Y-%m-%d %H:%M}"),
            ("last end", f"{self.runs[-1].end:%a %Y-%m-%d %H:%M}"),
            ("seed", "none: a Generator was given" if self.seed is None else str(self.seed)),
        ]
        rows += [("not told apart", sentence) for sentence in self.confounded]
        return rows + [("note", note) for note in self.notes]


def lay_out_runs(settings: Settings, *, rng: np.random.Generator | int | None = None) -> RunOrder:
    """Lay out the runs of a trial.

    Parameters
    ----------
    settings : Settings
        With a table [plan].
    rng : Generator or int, optional
        Draws the order; left out: the seed of the plan.

    Returns
    -------
    RunOrder
        The same for the same settings and seed.

    Raises
    ------
    TrialError
        If keys contradict each other; the message says which.

    Notes
    -----
    Blocks hold one mount of each condition and are turned round in turn (AB, BA, AB, ...), with a run of the reference
    article between them, so that drift of the bench falls on both conditions alike. Where an article can go one way
    only, articles go through the conditions in waves, one wave in the condition after beside the next in the condition
    before; where it can go either way, half of them go in the reverse order, and three conditions or more follow a
    square in which each comes equally often in each place and after each other one. Simulated at 0.4 W of drift along
    a bench day and without references: all of one condition first leaves a bias of 0.2 W, alternating blocks none.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 5.3.3.2 (randomised blocks). E. J. Williams, Experimental designs
    balanced for the estimation of residual effects of treatments, Aust. J. Sci. Res. A 2 (1949) 149 (from memory; the
    balance is tested).
    """
    faults = [contradiction.fault() for contradiction in contradictions(settings)]
    keys = settings.plan
    if faults or keys is None:
        raise TrialError(faults)
    given = keys.seed if rng is None else rng
    generator = np.random.default_rng(given)
    comparison = settings.comparison
    paths = _deal(settings, keys, generator)
    clock = BenchClock(keys, comparison.all_conditions)
    turns = _turns(comparison.all_conditions, keys.blocks, generator)
    # A block of one article in several conditions keeps the order of that article; that of a single one has none.
    legs_in_block = comparison.design != "single"
    number = 0
    for pool in _pools(paths, settings, keys, generator):
        while pool:
            number += 1
            block = pool.pop(_next_ready(pool, clock))
            kept = legs_in_block and len({fitting.article for fitting in block}) == 1
            clock.place(block if kept else _turned(block, next(turns)), number)
    runs = clock.finished()
    seed = given if isinstance(given, int | np.integer) else None
    notes = tuple(_notes(runs, paths, clock.split, settings, keys))
    return RunOrder(runs, None if seed is None else int(seed), confounded(runs, settings), notes)


def _deal(settings: Settings, keys: PlanKeys, rng: np.random.Generator) -> dict[str, tuple[str, ...]]:
    # Which conditions each article goes through, in which order; articles in random order.
    conditions = settings.comparison.all_conditions
    names = [keys.articles[k] for k in rng.permutation(len(keys.articles))]
    if keys.before_articles:
        return {name: (conditions[0 if name in keys.before_articles else 1],) for name in names}
    if not changes_condition(settings):
        return {name: (conditions[k % len(conditions)],) for k, name in enumerate(names)}
    if keys.one_way or settings.comparison.design == "single":
        return dict.fromkeys(names, tuple(conditions))
    if keys.reversed_articles:
        return {name: conditions[::-1] if name in keys.reversed_articles else conditions for name in names}
    square = _square(len(conditions))
    labels, rows = rng.permutation(len(conditions)), rng.permutation(len(square))
    return {
        name: tuple(conditions[labels[place]] for place in square[rows[k % len(square)]])
        for k, name in enumerate(names)
    }


def _square(size: int) -> list[list[int]]:
    # Williams (1949): 0, 1, n-1, 2, n-2, ... and its shifts; for odd n their reversals too.
    zigzag = [(k + 1) // 2 if k % 2 else (size - k // 2) % size for k in range(size)]
    rows = [[(place + shift) % size for place in zigzag] for shift in range(size)]
    return rows + [row[::-1] for row in rows] * (size % 2)


def _turns(conditions: Sequence[str], scheme: str, rng: np.random.Generator) -> Iterator[list[str]]:
    # Order of the conditions in each block.
    order = [conditions[k] for k in rng.permutation(len(conditions))]
    while True:
        yield order
        if scheme == "alternating":
            yield order[::-1]
        if scheme == "random" or len(conditions) > 2:
            order = [conditions[k] for k in rng.permutation(len(conditions))]


def _turned(block: Sequence[Fitting], order: Sequence[str]) -> list[Fitting]:
    return sorted(block, key=lambda fitting: order.index(fitting.condition))


def _pools(paths: _Paths, settings: Settings, keys: PlanKeys, rng: np.random.Generator) -> list[_Pool]:
    legs = max(len(path) for path in paths.values())
    if settings.comparison.design == "single" and not keys.one_way:
        return _mount_blocks(paths, keys)
    if legs > 1 and not change_takes_time(keys) and keys.waves is None and settings.comparison.design != "single":
        return _article_blocks(paths, settings, keys)
    return _sessions(paths, settings, keys, rng)


def _mount_blocks(paths: _Paths, keys: PlanKeys) -> list[_Pool]:
    # One article in either order: a block is one mount in each condition.
    ((article, conditions),) = paths.items()
    return [[[_mount(article, name, k, keys) for name in conditions]] for k in range(keys.mounts)]


def _article_blocks(paths: _Paths, settings: Settings, keys: PlanKeys) -> list[_Pool]:
    # A change takes no longer than a fitting: a block is one article in all its conditions, and blocks of the several
    # orders follow each other in turn.
    by_order: dict[tuple[str, ...], list[str]] = {}
    for article in _spread(list(paths), settings.comparison.controls, 0.5):
        by_order.setdefault(paths[article], []).append(article)
    in_turn = [name for row in zip_longest(*by_order.values()) for name in row if name is not None]
    return [[[_mount(a, name, k, keys) for name in paths[a] for k in range(keys.mounts)]] for a in in_turn]


def _sessions(paths: _Paths, settings: Settings, keys: PlanKeys, rng: np.random.Generator) -> list[_Pool]:
    # Wave w is in the l-th condition of its articles in phase w + l, so that waves overlap.
    legs = max(len(path) for path in paths.values())
    waves = _waves(list(paths), settings, keys)
    pools = []
    for phase in range(len(waves) + legs - 1):
        here = [(a, paths[a][phase - w]) for w, wave in enumerate(waves) if 0 <= phase - w < legs for a in wave]
        pools += [_round(here, mount, settings, keys, rng) for mount in range(keys.mounts)]
    return pools


def _waves(names: list[str], settings: Settings, keys: PlanKeys) -> list[list[str]]:
    controls = [name for name in names if name in settings.comparison.controls]
    treated = [name for name in names if name not in controls]
    wanted = keys.waves or (2 if keys.one_way and changes_condition(settings) else 1)
    count = min(wanted, len(treated))
    # Controls from the other end, so that waves of uneven parts come out alike.
    return [treated[w::count] + controls[count - 1 - w :: count] for w in range(count)]


def _round(
    here: Sequence[tuple[str, str]], mount: int, settings: Settings, keys: PlanKeys, rng: np.random.Generator
) -> _Pool:
    # One mount of every article of a phase, in blocks of one a condition, articles in random order.
    columns = []
    for condition in settings.comparison.all_conditions:
        members = [article for article, its in here if its == condition]
        drawn = [members[k] for k in rng.permutation(len(members))]
        spread = _spread(drawn, settings.comparison.controls, float(rng.random()))
        columns.append([_mount(article, condition, mount, keys) for article in spread])
    return [[fitting for fitting in row if fitting is not None] for row in zip_longest(*columns)]


def _spread(names: Sequence[str], controls: Sequence[str], offset: float) -> list[str]:
    # Untouched articles evenly among the others, both in the order given.
    some = [name for name in names if name in controls]
    others = [name for name in names if name not in controls]
    places = {name: (k + offset) / len(some) for k, name in enumerate(some)}
    places |= {name: (k + 0.5) / len(others) for k, name in enumerate(others)}
    return sorted(names, key=lambda name: places[name])


def _mount(article: str, condition: str, mount: int, keys: PlanKeys) -> Fitting:
    return Fitting("test", article, condition, str(mount + 1), keys.runs_per_mount)


def _next_ready(pool: _Pool, clock: BenchClock) -> int:
    # The first block that may go on the bench now, else the one that may first.
    waits = [clock.free_for(block) for block in pool]
    return waits.index(min(waits))


def _notes(runs: Sequence[OrderedRun], paths: _Paths, split: int, settings: Settings, keys: PlanKeys) -> Iterator[str]:
    yield from _orders_in_words(paths, settings, keys)
    if split:
        yield (
            f"{counted(split, 'block')} parted, which do not fit between two reference or zero runs, or into a bench "
            "day, or wait for washing and drying"
        )
    block = len(settings.comparison.all_conditions) * keys.runs_per_mount
    if keys.reference and keys.reference_every and keys.reference_every > block and keys.reference_every % block:
        yield (
            f"reference_every = {keys.reference_every} is no multiple of {block} runs, a mount in each condition: with "
            "a multiple, conditions are alike between two reference runs"
        )
    idle_h = _idle_h(runs, keys)
    if idle_h >= 1:
        yield f"the bench waits {idle_h:.1f} h within its days for articles that are washed and dried"
    if keys.reference is None and settings.drift.references == "interpolate":
        yield "no reference article: the analysis will not correct for drift by reference runs"
    conditions = settings.comparison.all_conditions
    mean_h = {name: _mean_h([r for r in runs if r.condition == name], runs[0]) for name in conditions}
    for one, other in pairwise(conditions):
        later_h = mean_h[other] - mean_h[one]
        when = f"{abs(later_h):.1f} h {'after' if later_h > 0 else 'before'}"
        yield f"{other} runs come {when if abs(later_h) >= 0.05 else 'at the same time as'} {one} runs in the mean"


def _orders_in_words(paths: _Paths, settings: Settings, keys: PlanKeys) -> Iterator[str]:
    conditions = settings.comparison.all_conditions
    orders: dict[tuple[str, ...], list[str]] = {}
    for name in sorted(paths):
        orders.setdefault(paths[name], []).append(name)
    if not changes_condition(settings):
        how = "as they come" if keys.before_articles else "dealt by the seed"
        for (condition,), names in sorted(orders.items(), key=lambda item: conditions.index(item[0][0])):
            yield f"{condition} ({how}): {', '.join(names)}; made so before the first start"
    elif len(orders) > 1:
        for path, names in orders.items():
            yield f"order {' then '.join(path)}: {', '.join(names)}"
        if settings.comparison.design == "paired":
            yield "either order is in use: design = 'crossover' would take out the effect of the order too"


def _idle_h(runs: Sequence[OrderedRun], keys: PlanKeys) -> float:
    fit, minute = timedelta(minutes=keys.fit_minutes), timedelta(minutes=1)
    waits = [other.start - one.end - fit for one, other in pairwise(runs) if one.bench_day == other.bench_day]
    # Less than a minute is the rounding of the start.
    return sum(wait / timedelta(hours=1) for wait in waits if wait >= minute)


def _mean_h(runs: Sequence[OrderedRun], first: OrderedRun) -> float:
    return sum((run.start - first.start) / timedelta(hours=1) for run in runs) / len(runs)
