"""The example trials: invented data with a known truth, the same bytes from the same seeds.

``python -m lossstats.simulator.examples FOLDER`` writes them again.
"""

from __future__ import annotations

import dataclasses
import os
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

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
    Truth,
    WarmUpDrift,
    lay_out,
    lay_out_blocks,
    simulate_trial,
)
from lossstats.simulator.simulated_shafts import record_shafts
from lossstats.trial_folder.settings import (
    BenchModelKeys,
    Column,
    ComparisonKeys,
    DriftKeys,
    InstrumentKeys,
    LogKeys,
    OperatingPoint,
    ReadingsKeys,
    ScopeKeys,
    Settings,
    SettlingKeys,
    TransducerKeys,
    TrialKeys,
)

if TYPE_CHECKING:
    from lossstats.trial_folder.trial import Trial

_HEADING = """\
# {name}: an example trial.
# The data are invented. No real chain, bench or bakery stands behind them: every reading comes from the kit's own
# bench simulator with a stored seed (lossstats/simulator), so the truth is known and the files can be made again.

"""
_NOTE = "Invented data from the kit's bench simulator with a stored seed; no real chain or bench stands behind them."
_WINTER_TIME, _SUMMER_TIME = timezone(timedelta(hours=1)), timezone(timedelta(hours=2))
_DUSTY, _CLEANED = "dusty", "cleaned"
_LUBRICANT = "the same chain oil in both conditions, freshly applied after the wash"


def flour_dust() -> Plan:
    """Plan the example trial of six chains, dusty and cleaned, on two bench days.

    Returns
    -------
    Plan
        Paired, two mounts a condition, a reference chain between blocks of three test runs, zero runs.
    """
    plan = lay_out("paired", articles=6, mounts=2, references_every=3, zeros=True, before=_DUSTY, after=_CLEANED)
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
        settings=_flour_dust_settings(),
    )


def _flour_dust_settings() -> Settings:
    return Settings(
        trial=TrialKeys(
            question="Do conveyor chains from the bakery lose less power after a wash and a fresh oiling?", note=_NOTE
        ),
        comparison=ComparisonKeys(design="paired", difference_that_matters=0.25, before=_DUSTY, after=_CLEANED),
        scope=ScopeKeys(
            articles="conveyor chains of one bakery after two weeks in flour dust",
            bench="two-sprocket loss bench of a small transmission laboratory",
            lubricant=_LUBRICANT,
            operating_point="280 W input power, 95 r/min, 20 to 22 °C in the hall",
        ),
        readings=ReadingsKeys(resolution=0.005, interval_s=(5.0,)),
        log=LogKeys(other={"input_power_W": Column("input_power_W")}),
        instrument=InstrumentKeys(gain=0.005, zero=0.02),
        settling=SettlingKeys(still_moving="leave out"),
        # Known from earlier check runs: a rounded estimate of the 0.063 W that mount, run and sampling make here.
        drift=DriftKeys(reference_repeatability=0.06, reference_repeatability_dof=20.0),
        operating_point={"input_power_W": OperatingPoint(280.0, 2.8)},
    )


def _shuffled(runs: Iterable[PlannedRun]) -> Iterator[PlannedRun]:
    # Each round of mounts in an order of its own, as a careful laboratory draws it.
    rng = np.random.default_rng(_SEEDS["flour_dust"] + 1)
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
    rng = np.random.default_rng(_SEEDS["flour_dust"] + 2)
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
    plan = lay_out("single", mounts=1, references_every=None, before=_DUSTY, after=_CLEANED)
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
        settings=_one_chain_settings(),
    )


def _one_chain_settings() -> Settings:
    return Settings(
        trial=TrialKeys(question="Does this chain lose less power after a wash and a fresh oiling?", note=_NOTE),
        comparison=ComparisonKeys(
            design="single", unit_of_replication="mount", difference_that_matters=0.25, before=_DUSTY, after=_CLEANED
        ),
        scope=ScopeKeys(
            articles="one conveyor chain of a bakery after two weeks in flour dust",
            bench="two-sprocket loss bench of a small transmission laboratory",
            lubricant=_LUBRICANT,
            operating_point="280 W input power, 95 r/min, hall temperature not recorded",
        ),
        readings=ReadingsKeys(resolution=0.01, interval_s=(25.0,)),
        instrument=InstrumentKeys(gain=0.005, zero=0.02),
    )


def four_oils() -> Plan:
    """Plan the example trial of four chain oils on six chains, in randomised blocks on three bench days.

    Returns
    -------
    Plan
        Every chain washed and oiled afresh before each of its four runs; a reference chain between blocks.
    """
    plan = lay_out_blocks(
        _OILS,
        articles=6,
        days=3,
        start=datetime(2025, 4, 8, 8, 10, tzinfo=_SUMMER_TIME),
        minutes_per_run=45.0,
        rng=_SEEDS["four_oils"] + 1,
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
        settings=_four_oils_settings(),
    )  # fmt: skip


def _four_oils_settings() -> Settings:
    return Settings(
        trial=TrialKeys(
            question="Which of four chain oils loses least power, measured against oil A in use now?", note=_NOTE
        ),
        comparison=ComparisonKeys(
            before="",
            after="",
            design="several",
            difference_that_matters=0.2,
            conditions=_OILS,
            control="oil A",
            blocks="article",
        ),
        scope=ScopeKeys(
            articles="new conveyor chains of one make, washed and oiled afresh before every run",
            bench="two-sprocket loss bench of a small transmission laboratory",
            lubricant="four chain oils, A to D, 2 ml each, wiped after ten minutes",
            operating_point="280 W input power, 95 r/min, 20 to 22 °C in the hall",
        ),
        readings=ReadingsKeys(resolution=0.005, interval_s=(10.0,)),
        instrument=InstrumentKeys(gain=0.005, zero=0.02),
        drift=DriftKeys(reference_repeatability=0.05, reference_repeatability_dof=20.0),
    )


def two_shafts() -> Plan:
    """Plan the example trial of a bench that records torque and speed of both shafts: five chains, both conditions.

    Returns
    -------
    Plan
        Paired, one mount a condition, a reference chain every second test run, zero runs; the input power wanders by
        one percent from run to run.
    """
    plan = lay_out("paired", articles=5, references_every=2, zeros=True, before=_DUSTY, after=_CLEANED)
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
        settings=_two_shafts_settings(),
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


def _two_shafts_settings() -> Settings:
    return Settings(
        trial=TrialKeys(
            question="Do conveyor chains lose less power after a wash and a fresh oiling, on a bench of two shafts?",
            note=_NOTE,
        ),
        comparison=ComparisonKeys(design="paired", difference_that_matters=0.25, before=_DUSTY, after=_CLEANED),
        scope=ScopeKeys(
            articles="conveyor chains of one bakery after two weeks in flour dust",
            bench="two-shaft bench of a small transmission laboratory, torque and speed on each shaft",
            lubricant=_LUBRICANT,
            operating_point="280 W input power, 95 r/min at the driving shaft, 20 to 22 °C in the hall",
        ),
        readings=ReadingsKeys(interval_s=(25.0,)),
        log=LogKeys(other={"input_power_W": Column("input_power_W")}),
        settling=SettlingKeys(still_moving="use with a note"),
        drift=DriftKeys(reference_repeatability=0.055, reference_repeatability_dof=15.0),
        operating_point={
            "input_power_W": OperatingPoint(
                280.0, 8.4, "power", 1.0, 0.2, sensitivity_source="loss against input power of the reference chain"
            )
        },
    )


def _two_shafts_bench() -> BenchModelKeys:
    shaft = TransducerKeys(
        torque_class_percent=0.1, zero_Nm=0.005, torque_step_Nm=0.0005, speed_gain=0.00005, speed_step_rpm=0.01
    )
    return BenchModelKeys(input=shaft, output=shaft, shared_calibration=0.5)


_OILS = ("oil A", "oil B", "oil C", "oil D")
_SEEDS = {"flour_dust": 20250204, "one_chain": 20250311, "four_oils": 20250408, "two_shafts": 20250603}
_BENCH_DAYS = tuple(datetime(2025, 2, day, 8, 31, tzinfo=_WINTER_TIME) for day in (4, 6))
_AFTER_DINNER = 10  # the run that follows the middle reference of a day
_REASONS = {
    "difference_that_matters = 0.25": "Here: fixed before the bench was booked; less does not pay for the washing.",
    'still_moving = "leave out"': "Here: decided before the data were seen; a chain has another mount.",
    "difference_that_matters = 0.2": "Here: fixed before the bench was booked; less does not pay for another oil.",
    'control = "oil A"': "Here: the oil in use now; fixed before the bench was booked.",
    "reference_repeatability = 0.05": "Here: from earlier check runs of the reference chain, 21 refits.",
    "reference_repeatability = 0.06": "Here: from earlier check runs of the reference chain, 21 refits.",
    "reference_repeatability = 0.055": "Here: from earlier check runs of the reference chain, 16 refits.",
    "sensitivity_u = 0.2": "Here: from five runs of the reference chain at 250 to 310 W.",
    "shared_calibration = 0.5": "Here: both transducers were calibrated with one lever and different weights.",
    "gain = 0.005": "Here: from the calibration of the bench, expanded 1 % with k = 2.",
}
_PLANS: dict[str, Callable[[], Plan]] = {
    "flour_dust": flour_dust,
    "one_chain": one_chain,
    "four_oils": four_oils,
    "two_shafts": two_shafts,
}


def example_trial(name: str) -> Trial:
    """Simulate an example trial in memory.

    Parameters
    ----------
    name : {"flour_dust", "one_chain", "four_oils", "two_shafts"}
        Which.

    Returns
    -------
    Trial
        The same every time; its folder is None.
    """
    return _simulated(name)[0]


def example_truth(name: str) -> Truth:
    """Tell the truth behind an example trial; no file of the trial holds it.

    Parameters
    ----------
    name : {"flour_dust", "one_chain", "four_oils", "two_shafts"}
        Which.

    Returns
    -------
    Truth
        True saving, and true level, drift and shown level of every run.
    """
    return _simulated(name)[1]


def _simulated(name: str) -> tuple[Trial, Truth]:
    if name not in _PLANS:
        raise ValueError(f"name: found {name!r}; accepted: {' or '.join(map(repr, _PLANS))}")
    trial, truth = simulate_trial(_PLANS[name](), rng=_SEEDS[name])
    if name == "two_shafts":
        trial, _ = record_shafts(trial, _two_shafts_bench(), rng=_SEEDS[name] + 1)
    return trial, truth


def write_examples(folder: str | os.PathLike[str]) -> None:
    """Write the example trials, the same bytes every time.

    Parameters
    ----------
    folder : path
        Where the trial folders go; none of them may exist.

    Raises
    ------
    FileExistsError
        One of the trial folders exists; those before it are written.
    """
    from lossstats.trial_folder.trial import write_trial

    for name in _PLANS:
        trial = example_trial(name)
        target = Path(folder) / name
        write_trial(trial, target)
        toml = target / "trial.toml"
        toml.write_bytes(
            (_HEADING.format(name=name) + _with_comments(toml.read_text("utf-8"), trial.settings)).encode()
        )


def _with_comments(text: str, settings: Settings) -> str:
    # The meaning of every key above it, and what this trial has to say about it.
    lines, table = [], None
    for line in text.splitlines():
        key = line.partition(" = ")[0]
        if line.startswith("["):
            table = getattr(settings, line.strip("[]").partition(".")[0])
            table = next(iter(table.values())) if isinstance(table, dict) else table
        elif table is not None:
            docs = {field.name: field.metadata["doc"] for field in dataclasses.fields(table)}
            lines += _comment(docs.get(key, ""))
            lines += _comment(_REASONS.get(line, ""))
        lines.append(line)
    return "\n".join(lines) + "\n"


def _comment(words: str) -> list[str]:
    return textwrap.wrap(words, 118, initial_indent="# ", subsequent_indent="# ")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("found no folder; accepted: python -m lossstats.simulator.examples FOLDER")
    write_examples(sys.argv[1])
