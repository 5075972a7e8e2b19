"""Standard orders of the runs of a simulated trial."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta, timezone
from typing import Literal

import numpy as np

from lossstats.records.argument_checks import refuse
from lossstats.simulator.simulated_plan import Articles, Design, Plan, PlannedRun, Role

Order = Literal["blocks", "before then after"]
_TWO_CONDITIONS = ("paired", "independent", "controls", "single")
_Slot = tuple[Role, str, str, str]  # role, article, condition, mount
MONDAY = datetime(2025, 3, 3, 8, 0, tzinfo=timezone(timedelta(hours=1)))


def lay_out(
    design: Design,
    *,
    articles: int = 6,
    mounts: int = 1,
    controls: int = 0,
    order: Order | None = None,
    days: int | None = None,
    references_every: int | None = 2,
    zeros: bool = False,
    before: str = "before",
    after: str = "after",
    start: datetime = MONDAY,
    minutes_per_run: float = 20.0,
) -> Plan:
    """Plan a trial with one of the standard orders of runs.

    Parameters
    ----------
    design : {"paired", "independent", "controls", "single"}
        As in trial.toml.
    articles : int, default 6
        Articles per condition; design single has one whatever this says.
    mounts : int, default 1
        Mounts of an article in a condition, one run each.
    controls : int, default 0
        Untouched articles beside (design controls).
    order : {"blocks", "before then after"}, optional
        Blocks: one run of each condition, turned round in every second block (AB, BA, AB, ...). Left out: blocks
        for independent articles, else before then after.
    days : int, optional
        With 2, the runs after are on the second bench day. Left out: 2 unless the order is in blocks, which takes 1.
    references_every : int, optional
        Test runs between runs of the reference article, which also begins and ends each day; None: no reference.
    zeros : bool, default False
        Zero runs at the start and the end of each day.
    before, after : str
        Names of the conditions.
    start : datetime
        Start of the first run; further days begin 24 h later each.
    minutes_per_run : float, default 20.0
        Time from start to start.

    Returns
    -------
    Plan
        With articles, bench and readings as `Plan` has them by default.

    Raises
    ------
    ValueError
        If the design has more than two conditions, or the order does not go with the days.

    Examples
    --------
    >>> plan = lay_out("independent", articles=2, references_every=2)
    >>> [(run.article, run.condition) for run in plan.runs][:4]
    [('REF', ''), ('K01', 'before'), ('K03', 'after'), ('REF', '')]
    """
    if design not in _TWO_CONDITIONS:
        refuse("design", design, f"one of two conditions, {', '.join(_TWO_CONDITIONS)}; lay_out_blocks takes several")
    order = order or ("blocks" if design == "independent" else "before then after")
    most = 1 if order == "blocks" else 2
    days = most if days is None else days
    if not 1 <= days <= most:
        refuse("days", days, "1" if most == 1 else "1 or 2 with order 'before then after'")
    untouched = tuple(f"C{k:02d}" for k in range(1, controls + 1))
    pairs = [*_pairs(design, articles), *((name, name) for name in untouched)]
    halves = _halves(pairs, mounts, (before, after))
    if order == "blocks":
        sequence = [list(_alternating(*halves))]
    else:
        sequence = list(halves) if days == 2 else [halves[0] + halves[1]]
    references = (str(k) for k in range(1, 10**6))
    slots = [list(_with_checks(day, references_every, references, zeros=zeros)) for day in sequence]
    return Plan(design, tuple(_timed(slots, start, minutes_per_run)), before, after, untouched)


def lay_out_blocks(
    conditions: Sequence[str],
    *,
    rng: np.random.Generator | int,
    articles: int = 6,
    days: int = 1,
    savings: Sequence[float] | None = None,
    start: datetime = MONDAY,
    minutes_per_run: float = 20.0,
) -> Plan:
    """Plan a trial of several conditions in randomised blocks.

    Parameters
    ----------
    conditions : sequence of str
        Three names or more, the control first.
    rng : Generator or int
        Draws the order of the conditions in each block.
    articles : int, default 6
        Blocks: one article each, run once in every condition.
    days : int, default 1
        Bench days over which the blocks are spread in order.
    savings : sequence of float, optional
        Mean saving of the population in each condition after the first; 0 if left out.
    start : datetime
        Start of the first run; further days begin 24 h later each.
    minutes_per_run : float, default 20.0
        Time from start to start.

    Returns
    -------
    Plan
        Design several; a run of the reference article before the first block of a day and after every block.

    Raises
    ------
    ValueError
        If there are fewer than three conditions, or more days than blocks.

    Examples
    --------
    >>> plan = lay_out_blocks("ABC", articles=2, rng=1)
    >>> [f"{run.article}{run.condition}" for run in plan.runs]
    ['REF', 'K01A', 'K01B', 'K01C', 'REF', 'K02C', 'K02A', 'K02B', 'REF']
    """
    if len(conditions) < 3:
        refuse("conditions", len(conditions), "three or more")
    if not 1 <= days <= articles:
        refuse("days", days, f"1 to {articles}, one block a day at least")
    rng = np.random.default_rng(rng)
    references: Iterator[_Slot] = (("reference", "REF", "", str(k)) for k in range(1, 10**6))
    slots: list[list[_Slot]] = []
    for number in range(articles):
        if len(slots) <= number * days // articles:
            slots.append([next(references)])
        order = rng.permutation(len(conditions)).tolist()
        slots[-1] += [("test", f"K{number + 1:02d}", conditions[k], "1") for k in order]
        slots[-1].append(next(references))
    before, after, *others = conditions
    first, *rest = savings or [0.0] * (len(conditions) - 1)
    model = Articles(saving=first, other_savings=tuple(rest))
    runs = tuple(_timed(slots, start, minutes_per_run))
    return Plan("several", runs, before, after, articles=model, others=tuple(others))


def _pairs(design: Design, articles: int) -> list[tuple[str, str]]:
    names = [f"K{k:02d}" for k in range(1, 2 * articles + 1)]
    if design == "single":
        return [(names[0], names[0])]
    if design == "independent":
        return list(zip(names[:articles], names[articles:], strict=True))
    return [(name, name) for name in names[:articles]]


def _halves(pairs: list[tuple[str, str]], mounts: int, conditions: tuple[str, str]) -> tuple[list[_Slot], list[_Slot]]:
    first, second = (
        [("test", pair[side], condition, str(mount)) for mount in range(1, mounts + 1) for pair in pairs]
        for side, condition in enumerate(conditions)
    )
    return first, second  # type: ignore[return-value]


def _alternating(first: list[_Slot], second: list[_Slot]) -> Iterator[_Slot]:
    for block, pair in enumerate(zip(first, second, strict=True)):
        yield from pair if block % 2 == 0 else reversed(pair)


def _with_checks(
    tests: list[_Slot], references_every: int | None, mounts: Iterator[str], *, zeros: bool
) -> Iterator[_Slot]:
    zero: _Slot = ("zero", "", "", "")
    if zeros:
        yield zero
    for k, test in enumerate(tests):
        if references_every and k % references_every == 0:
            yield ("reference", "REF", "", next(mounts))
        yield test
    if references_every:
        yield ("reference", "REF", "", next(mounts))
    if zeros:
        yield zero


def _timed(days: Iterable[list[_Slot]], start: datetime, minutes_per_run: float) -> Iterator[PlannedRun]:
    number = 0
    for day, slots in enumerate(days):
        for k, (role, article, condition, mount) in enumerate(slots):
            number += 1
            when = start + timedelta(days=day, minutes=k * minutes_per_run)
            yield PlannedRun(f"r{number:02d}", when, role, article, condition, mount)
