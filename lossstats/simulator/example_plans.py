"""What happens in each example trial: runs on the clock, articles, bench, readings, with a known truth."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from itertools import groupby

import numpy as np

from lossstats.simulator.example_settings import (
    CLEANED,
    DUSTY,
    FLOUR_DUST,
    FOUR_OILS,
    OILS,
    ONE_CHAIN,
    TWO_SHAFTS,
)
from lossstats.simulator.simulate import (
    Approach,
    Articles,
    Bench,
    Display,
    Faults,
    LinearDrift,
    Noise,
    Plan,
    PlannedRun,
    Power,
    Readings,
    WarmUpDrift,
    lay_out,
    lay_out_blocks,
)

SEEDS = {"flour_dust": 20250204, "one_chain": 20250311, "four_oils": 20250408, "two_shafts": 20250603}
_WINTER_TIME, _SUMMER_TIME = timezone(timedelta(hours=1)), timezone(timedelta(hours=2))
_BENCH_DAYS = tuple(datetime(2025, 2, day, 8, 31, tzinfo=_WINTER_TIME) for day in (4, 6))
_AFTER_DINNER = 10  # the run that follows the middle reference of a day


def flour_dust() -> Plan:
    """Plan the example trial of six chains, dusty and cleaned, on two bench days.

    Returns
    -------
    Plan
        Paired, two mounts a condition, a reference chain between blocks of three test runs, zero runs.
    """
    plan = lay_out("paired", articles=6, mounts=2, references_every=3, zeros=True, before=DUSTY, after=CLEANED)
    return replace(
        plan,
        runs=tuple(_with_events(_on_the_clock(_shuffled(plan.runs)))),
        articles=Articles(6.6, 0.45, article_sd=0.3, change_sd=0.1, mount_sd=0.06, run_sd=0.02, reference_level=6.2),
        bench=Bench(
            drift=(WarmUpDrift(0.06, 1.2), LinearDrift(0.006)),
            day_shift_sd=0.08,
            drift_at_zero=0.6,
            gain_sd=0.005,
            zero_sd=0.02,
        ),
        readings=Readings(
            approach=Approach((0.16, 0.12), (35.0, 130.0)),
            approach_spread=0.3,
            noise=Noise(0.012, 0.5),
            display=Display(0.005),
        ),
        power=Power("input_power_W", 280.0, 2.8, run_spread=0.0015, within_sd=0.4, step=0.1),
        settings=FLOUR_DUST,
    )


def _shuffled(runs: Iterable[PlannedRun]) -> Iterator[PlannedRun]:
    # Each round of mounts in an order of its own, as a careful laboratory draws it.
    rng = np.random.default_rng(SEEDS["flour_dust"] + 1)
    runs = tuple(runs)
    names = sorted({run.article for run in runs if run.role == "test"})
    orders: dict[tuple[str, str], Iterator[int]] = {}
    for run in runs:
        if run.role != "test":
            yield run
            continue
        of_round = (run.condition, run.mount)
        if of_round not in orders:
            orders[of_round] = iter(rng.permutation(len(names)).tolist())
        yield replace(run, article=names[next(orders[of_round])])


def _on_the_clock(runs: Iterable[PlannedRun]) -> Iterator[PlannedRun]:
    # Two bench days from half past eight: fitting takes four to eight minutes, dinner half an hour.
    rng = np.random.default_rng(SEEDS["flour_dust"] + 2)
    days = groupby(runs, key=lambda run: run.start.date())
    for (_, of_day), day in zip(days, _BENCH_DAYS, strict=True):
        now = day
        for number, run in enumerate(of_day):
            if number == _AFTER_DINNER:
                now += timedelta(minutes=30)
            yield replace(run, start=now)
            now += timedelta(minutes=(5 if run.role == "zero" else 15) + int(rng.integers(4, 9)))


def _with_events(runs: Iterable[PlannedRun]) -> Iterator[PlannedRun]:
    for run in runs:
        match run.article, run.condition, run.mount:
            case "K03", "dusty", "1":
                yield replace(run, faults=Faults(spikes=((121, 0.38),)), remarks="hall door slammed")
            case "K02", "cleaned", "1":
                yield replace(run, faults=Faults(stuck=((96, 111),)))
            case "K05", "dusty", "2":
                yield replace(
                    run, approach=Approach((0.9,), (600.0,)), remarks="chain came straight from the cold store"
                )
            case _:
                yield replace(run, remarks="nothing fitted") if run.role == "zero" else run


def one_chain() -> Plan:
    """Plan the everyday trial: one chain, once dusty, once cleaned, and nothing else known.

    Returns
    -------
    Plan
        Two runs of 36 samples, no reference run, no zero run.
    """
    plan = lay_out("single", mounts=1, references_every=None, before=DUSTY, after=CLEANED)
    dusty, cleaned = plan.runs
    return replace(
        plan,
        runs=(
            replace(dusty, article="K07", start=datetime(2025, 3, 11, 9, 12, tzinfo=_WINTER_TIME)),
            replace(cleaned, article="K07", start=datetime(2025, 3, 12, 13, 40, tzinfo=_WINTER_TIME)),
        ),
        articles=Articles(6.8, 0.45, article_sd=0.3, change_sd=0.1, mount_sd=0.06, run_sd=0.02),
        bench=Bench(day_shift_sd=0.05, gain_sd=0.005, zero_sd=0.02),
        readings=Readings(
            samples=36,
            interval_s=25.0,
            approach=Approach((0.25,), (80.0,)),
            noise=Noise(0.012, 0.2),
            display=Display(0.01),
        ),
        settings=ONE_CHAIN,
    )


def four_oils() -> Plan:
    """Plan the example trial of four chain oils on six chains, in randomised blocks on three bench days.

    Returns
    -------
    Plan
        Every chain washed and oiled afresh before each of its four runs; a reference chain between blocks.
    """
    plan = lay_out_blocks(
        OILS,
        articles=6,
        days=3,
        start=datetime(2025, 4, 8, 8, 10, tzinfo=_SUMMER_TIME),
        minutes_per_run=45.0,
        rng=SEEDS["four_oils"] + 1,
    )
    return replace(
        plan,
        articles=Articles(
            6.1, 0.42, article_sd=0.3, change_sd=0.06, mount_sd=0.04, run_sd=0.02, reference_level=6.2,
            other_savings=(0.03, -0.22),
        ),
        bench=Bench(drift=(WarmUpDrift(0.05, 1.5), LinearDrift(0.004)), day_shift_sd=0.06, gain_sd=0.005, zero_sd=0.02),
        readings=Readings(
            samples=90,
            interval_s=10.0,
            approach=Approach((0.14, 0.1), (40.0, 140.0)),
            approach_spread=0.3,
            noise=Noise(0.012, 0.4),
            display=Display(0.005),
        ),
        settings=FOUR_OILS,
    )  # fmt: skip


def two_shafts() -> Plan:
    """Plan the example trial of a bench that records torque and speed of both shafts: five chains, both conditions.

    Returns
    -------
    Plan
        Paired, one mount a condition, a reference chain every second test run, zero runs; the input power wanders by
        one percent from run to run.
    """
    plan = lay_out("paired", articles=5, references_every=2, zeros=True, before=DUSTY, after=CLEANED)
    return replace(
        plan,
        runs=tuple(_two_days(plan.runs)),
        articles=Articles(6.7, 0.5, article_sd=0.3, change_sd=0.08, mount_sd=0.05, run_sd=0.02, reference_level=6.2),
        bench=Bench(drift=(WarmUpDrift(0.05, 1.2), LinearDrift(0.005))),
        readings=Readings(
            samples=36,
            zero_samples=24,
            interval_s=25.0,
            approach=Approach((0.2,), (90.0,)),
            approach_spread=0.3,
            noise=Noise(0.015, 0.3),
        ),
        power=Power("input_power_W", 280.0, 8.4, run_spread=0.01, within_sd=0.3, step=0.1, exponent=1.0),
        settings=TWO_SHAFTS,
    )


def _two_days(runs: Iterable[PlannedRun]) -> Iterator[PlannedRun]:
    # Dusty on one day, cleaned two days later, 25 minutes a run.
    start, count, day = datetime(2025, 6, 3, 8, 5, tzinfo=_SUMMER_TIME), 0, ""
    for run in runs:
        if day and run.start.date().isoformat() != day:
            start, count = datetime(2025, 6, 5, 8, 10, tzinfo=_SUMMER_TIME), 0
        day = run.start.date().isoformat()
        yield replace(run, start=start + count * timedelta(minutes=25))
        count += 1
