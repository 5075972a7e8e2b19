"""What is simulated: the runs in bench order, the articles, the bench, the readings."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from typing import Literal

from lossstats.records.argument_checks import above_zero, not_negative, whole_number
from lossstats.simulator.simulated_drift import Drift
from lossstats.simulator.simulated_readings import Approach, Display, Faults, Noise
from lossstats.trial_folder.settings import (
    Column,
    ComparisonKeys,
    DriftKeys,
    InstrumentKeys,
    LogKeys,
    OperatingPoint,
    ReadingsKeys,
    Settings,
    TrialKeys,
)

Design = Literal["paired", "independent", "controls", "single", "several"]
Role = Literal["test", "reference", "zero"]


def _check_not_negative(part: object, *names: str) -> None:
    for name in names:
        not_negative(f"{type(part).__name__}.{name}", getattr(part, name))


@dataclass(frozen=True)
class Articles:
    """The articles and what the treatment does to them, in the measurand's unit.

    The level of an article in a condition is ``level`` (less ``saving``, after), plus the article's effect, plus
    its own response to that condition; a mount and a run add theirs.

    Attributes
    ----------
    level : float
        Mean level of the population before.
    saving : float
        Mean saving of the population: level before minus level after.
    other_savings : tuple of float
        Mean savings, against before, of the further conditions of a plan (design several).
    article_sd : float
        Standard deviation between articles.
    change_sd : float
        Standard deviation, between articles, of an article's own change about the mean saving.
    mount_sd : float
        Standard deviation between mounts of one article, the reference article's refits included.
    run_sd : float
        Standard deviation between runs of one mount, sampling left aside.
    reference_level : float
        Level of the reference article.
    """

    level: float = 6.5
    saving: float = 0.5
    article_sd: float = 0.3
    change_sd: float = 0.1
    mount_sd: float = 0.08
    run_sd: float = 0.04
    reference_level: float = 6.0
    other_savings: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        _check_not_negative(self, "article_sd", "change_sd", "mount_sd", "run_sd")


@dataclass(frozen=True)
class Power:
    """Input power, recorded beside the loss; the loss goes with its ``exponent``-th power.

    Attributes
    ----------
    name : str
        Name of the column.
    nominal : float
        Nominal value; the levels of the articles are at this value.
    tolerance : float
        Largest deviation that the plan allows.
    run_spread : float
        Relative standard deviation of the mean power of a run.
    before_shift : float
        Relative amount by which the runs before ran higher.
    within_sd : float
        Standard deviation inside a run, in the unit of the column.
    step : float
        Display step of the column.
    exponent : float
        ``loss = level * (power / nominal) ** exponent``.
    """

    name: str = "input_power_W"
    nominal: float = 280.0
    tolerance: float = 5.6
    run_spread: float = 0.0
    before_shift: float = 0.0
    within_sd: float = 0.0
    step: float = 0.0
    exponent: float = 1.0

    def __post_init__(self) -> None:
        above_zero("Power.nominal", self.nominal)
        _check_not_negative(self, "run_spread", "within_sd", "step")


@dataclass(frozen=True)
class Bench:
    """What the bench adds: a reading is ``(1 + gain) * loss + zero + drift``.

    Attributes
    ----------
    drift : tuple of Drift
        Drifts within a bench day, added up; each day starts anew.
    day_shifts : tuple of float
        Shift of each bench day in turn; days beyond the last have none.
    day_shift_sd : float
        Standard deviation of a further, random shift of each bench day but the first.
    drift_at_zero : float
        Part of drift and day shift that a zero run sees.
    gain, gain_sd : float
        Relative error of the calibration factor, the same in all runs; the sd of a further, random part.
    zero, zero_sd : float
        Zero error, the same in all runs; the sd of a further, random part.
    """

    drift: tuple[Drift, ...] = ()
    day_shifts: tuple[float, ...] = ()
    day_shift_sd: float = 0.0
    drift_at_zero: float = 1.0
    gain: float = 0.0
    gain_sd: float = 0.0
    zero: float = 0.0
    zero_sd: float = 0.0

    def __post_init__(self) -> None:
        _check_not_negative(self, "day_shift_sd", "gain_sd", "zero_sd")


@dataclass(frozen=True)
class Readings:
    """How a run is read.

    Attributes
    ----------
    samples, zero_samples : int
        Samples in a run, and in a zero run.
    interval_s : float
        Time between samples.
    approach : Approach
        Warm-up inside test and reference runs; zero runs have none.
    approach_spread : float
        Relative standard deviation of its amplitudes from run to run.
    noise : Noise
        Noise of the readings.
    display : Display
        Display step and range.
    """

    samples: int = 180
    zero_samples: int = 60
    interval_s: float = 5.0
    approach: Approach = field(default_factory=Approach)
    approach_spread: float = 0.0
    noise: Noise = field(default_factory=Noise)
    display: Display = field(default_factory=Display)

    def __post_init__(self) -> None:
        whole_number("Readings.samples", self.samples, 1)
        whole_number("Readings.zero_samples", self.zero_samples, 0)  # a plan may have no zero runs
        above_zero("Readings.interval_s", self.interval_s)
        _check_not_negative(self, "approach_spread")


@dataclass(frozen=True)
class PlannedRun:
    """One run to be simulated.

    Attributes
    ----------
    name : str
        Name of the run.
    start : datetime
        Start, with offset from UTC.
    role : {"test", "reference", "zero"}
        What the run is for.
    article, condition, mount, remarks : str
        As in a run sheet; empty where not applicable.
    faults : Faults
        What goes wrong in it.
    approach : Approach, optional
        In place of that of the plan's readings.
    """

    name: str
    start: datetime
    role: Role
    article: str = ""
    condition: str = ""
    mount: str = ""
    remarks: str = ""
    faults: Faults = field(default_factory=Faults)
    approach: Approach | None = None


@dataclass(frozen=True)
class Plan:
    """A trial to be simulated: change single parts with ``dataclasses.replace``.

    Attributes
    ----------
    design : {"paired", "independent", "controls", "single", "several"}
        As in trial.toml.
    runs : tuple of PlannedRun
        In bench order.
    before, after : str
        Names of the conditions; of the first two of design several, the first its control.
    others : tuple of str
        Names of the further conditions (design several).
    controls : tuple of str
        Articles that the treatment leaves alone.
    articles : Articles
        The articles.
    bench : Bench
        The bench.
    readings : Readings
        The readings.
    power : Power, optional
        Input power; left out: not recorded and without effect.
    settings : Settings, optional
        Settings of the trial; left out: `declare`.
    """

    design: Design
    runs: tuple[PlannedRun, ...]
    before: str = "before"
    after: str = "after"
    controls: tuple[str, ...] = ()
    articles: Articles = field(default_factory=Articles)
    bench: Bench = field(default_factory=Bench)
    readings: Readings = field(default_factory=Readings)
    power: Power | None = None
    settings: Settings | None = field(default=None, repr=False)
    others: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        starts = [run.start for run in self.runs]
        if any(later <= earlier for earlier, later in pairwise(starts)):
            raise ValueError("Plan: found runs out of bench order; accepted: starts that rise from run to run")
        strange = {run.condition for run in self.runs if run.role == "test"} - set(self.conditions)
        if strange:
            raise ValueError(
                f"Plan: found condition {sorted(strange)[0]!r}; accepted: {' or '.join(map(repr, self.conditions))}"
            )
        if len(self.others) != len(self.articles.other_savings):
            raise ValueError(
                f"Plan: found {len(self.others)} further conditions and {len(self.articles.other_savings)} "
                "other_savings; accepted: as many of each"
            )
        for condition in self.conditions:
            if not {run.article for run in self.runs if run.condition == condition} - set(self.controls):
                raise ValueError(
                    f"Plan: found no test run of a treated article in condition {condition!r}; accepted: at least one"
                )

    @property
    def conditions(self) -> tuple[str, ...]:
        """Name all conditions.

        Returns
        -------
        tuple of str
            Before, after and the further ones.
        """
        return (self.before, self.after, *self.others)


def declare(plan: Plan) -> Settings:
    """Write the settings as somebody who knows the bench well would.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Settings
        Display step, gain, zero, and the repeatability of the reference article as they are in the simulation.
    """
    articles, bench, readings, power = plan.articles, plan.bench, plan.readings, plan.power
    noise = readings.noise.mean_sd(readings.samples)
    one_article, several = plan.design == "single", plan.design == "several"
    first, second = ({run.article for run in plan.runs if run.condition == c} for c in (plan.before, plan.after))
    return Settings(
        trial=TrialKeys("What does the treatment save?", note="Simulated readings of an invented bench."),
        comparison=ComparisonKeys(
            before="" if several else plan.before,
            after="" if several else plan.after,
            design=plan.design,
            unit_of_replication="mount" if one_article else "article",
            controls=plan.controls,
            conditions=plan.conditions if several else None,
            control=plan.before if several else None,
            blocks=("article" if first & second else "none") if several else None,
        ),
        readings=ReadingsKeys(resolution=readings.display.step),
        instrument=InstrumentKeys(gain=bench.gain_sd, zero=bench.zero_sd),
        drift=DriftKeys(reference_repeatability=math.hypot(articles.mount_sd, articles.run_sd, noise) or None),
        log=LogKeys() if power is None else LogKeys(other={power.name: Column(power.name)}),
        operating_point={} if power is None else {power.name: OperatingPoint(power.nominal, power.tolerance)},
    )
