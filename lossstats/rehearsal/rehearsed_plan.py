"""From a plan to what is simulated: its settings, its order on the clock, its articles on a bench."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

from lossstats.planning.planned_checks import COMPONENTS, as_term, checked_spread
from lossstats.records.argument_checks import refuse
from lossstats.rehearsal.rehearsed_bench import RehearsedBench
from lossstats.run_plan.run_order import RunOrder, lay_out_runs
from lossstats.simulator.simulated_levels import samples_of
from lossstats.simulator.simulated_plan import Articles, Bench, Design, Plan, PlannedRun, Readings
from lossstats.simulator.simulated_readings import Display, Noise
from lossstats.trial_folder import trial_toml
from lossstats.trial_folder.faults import FaultList, TrialError
from lossstats.trial_folder.plan_file import SealedPlan, read_plan
from lossstats.trial_folder.raw_files import MOST_TABLE_BYTES, read_bytes
from lossstats.trial_folder.settings import Settings
from lossstats.trial_folder.toml_tables import TableReader
from lossstats.trial_folder.trial_toml import read_settings

_FEWEST_SAMPLES = 12
_OTHER_REPEATABILITY = 1.2  # ratio to what is stated from which the reader is told


@dataclass(frozen=True)
class RehearsedPlan:
    """What is simulated, once at no saving and once at the saving.

    Attributes
    ----------
    settings : Settings
        By which each trial is analysed.
    order : RunOrder
        The runs on the clock.
    simulated : Plan
        For the simulator, at the true saving.
    saving : float
        True saving, above 0, whichever way is better.
    notes : tuple of str
        What a reader must know.
    """

    settings: Settings
    order: RunOrder
    simulated: Plan
    saving: float
    notes: tuple[str, ...]

    def at(self, saving: float) -> Plan:
        """The same with another true saving.

        Parameters
        ----------
        saving : float
            True saving.

        Returns
        -------
        Plan
            For the simulator, whose saving is always a level that falls.
        """
        falls = saving if self.settings.trial.better == "lower" else -saving
        return replace(self.simulated, articles=replace(self.simulated.articles, saving=falls))


def open_plan(plan: str | os.PathLike[str] | Settings | SealedPlan) -> tuple[Settings, RunOrder]:
    """Find the settings and the order of a plan.

    Parameters
    ----------
    plan : path, Settings or SealedPlan
        A trial folder, with plan.json or with a table [plan] in its trial.toml; or one of the two itself.

    Returns
    -------
    settings : Settings
        As sealed where the plan is sealed.
    order : RunOrder
        As sealed, else as the seed of the plan gives it.

    Raises
    ------
    TrialError
        If there is no plan, or it has faults.
    """
    if isinstance(plan, str | os.PathLike):
        folder = Path(plan)
        plan = read_plan(folder) or _read_settings(folder)
    if isinstance(plan, Settings):
        if plan.plan is None:
            faults = FaultList(trial_toml.FILE)
            faults.add("no table [plan]", "a table [plan], from which the order of the runs is laid out")
            raise TrialError(faults.listed())
        return plan, lay_out_runs(plan)
    if not isinstance(plan, SealedPlan):
        raise TypeError(f"plan: found a {type(plan).__name__}; accepted: a trial folder, Settings or a SealedPlan")
    return _sealed_settings(plan), RunOrder(plan.runs, plan.keys.seed, plan.confounded, ())


def _read_settings(folder: Path) -> Settings:
    found = FaultList(trial_toml.FILE)
    data = read_bytes(folder, trial_toml.FILE, found, most=MOST_TABLE_BYTES)
    if data is None:
        raise TrialError(found.listed())
    settings, faults = read_settings(data)
    if faults or settings is None:
        raise TrialError(faults)
    return settings


def _sealed_settings(plan: SealedPlan) -> Settings:
    faults = FaultList("plan.json")
    settings: Settings = TableReader("", faults).table(Settings, _as_toml(plan.settings), ())
    if len(faults):
        raise TrialError(faults.listed())
    return settings


def _as_toml(value: Any, key: str = "") -> Any:
    # null stands for a key that was left out, and "inf" for degrees of freedom that JSON cannot write.
    if isinstance(value, dict):
        return {name: _as_toml(item, name) for name, item in value.items() if item is not None}
    return math.inf if value == "inf" and key.endswith("dof") else value


def make_rehearsed_plan(
    settings: Settings, order: RunOrder, components: Mapping[str, Any], saving: float | None, bench: RehearsedBench
) -> RehearsedPlan:
    """Put plan, components, saving and bench together.

    Parameters
    ----------
    settings : Settings
        Of the plan.
    order : RunOrder
        Of its runs.
    components : mapping of str to float or (float, float)
        Standard deviation by source, as `lossstats.PlannedDesign` takes them.
    saving : float or None
        True saving; None: the difference that matters.
    bench : RehearsedBench
        What the bench does.

    Returns
    -------
    RehearsedPlan
        What is simulated.

    Raises
    ------
    ValueError
        If components, saving or bench are out of range or do not go together.
    """
    sds = _checked_components(components)
    saving = _checked_saving(saving, settings, bench.level)
    readings = _readings(settings, bench, sds.get("readings"))
    keys, instrument = settings.comparison, settings.instrument
    # The rehearsal of several conditions: the first other one saves, the further ones are as the control.
    first = keys.control or keys.all_conditions[0]
    after, *others = [name for name in keys.all_conditions if name != first]
    articles = Articles(
        level=bench.level,
        article_sd=sds.get("article", 0.0),
        # One article stands for itself: its own change is the saving.
        change_sd=0.0 if keys.design == "single" else sds.get("change", 0.0),
        mount_sd=sds.get("mount", 0.0),
        run_sd=sds.get("run", 0.0),
        reference_level=bench.reference_level,
        other_savings=(0.0,) * len(others),
    )
    simulated = Plan(
        design=cast("Design", keys.design),  # the simulator does not look at it
        runs=_runs(order),
        before=first,
        after=after,
        others=tuple(others),
        controls=keys.controls,
        articles=articles,
        bench=Bench(
            drift=bench.drift,
            day_shift_sd=bench.day_shift,
            drift_at_zero=bench.drift_at_zero,
            gain_sd=instrument.gain,
            zero_sd=instrument.zero,
        ),
        readings=readings,
        settings=replace(settings, operating_point={}, bench_model=None),
    )
    made = RehearsedPlan(simulated.settings or settings, order, simulated, saving, ())
    notes = (*_of_components(components, keys.design), *_not_simulated(settings), *_of_references(settings, made))
    return replace(made, simulated=made.at(saving), notes=notes)


def _checked_components(components: Mapping[str, Any]) -> dict[str, float]:
    if not components:
        raise ValueError(f"components: found none; accepted: standard deviations of {', '.join(COMPONENTS)}")
    for name in components:
        if name not in COMPONENTS:
            refuse("components", name, ", ".join(COMPONENTS))
    spreads = {name: checked_spread(f"components[{name!r}]", value) for name, value in components.items()}
    return {name: float(spread.standard_uncertainty) for name, spread in spreads.items()}


def _checked_saving(saving: float | None, settings: Settings, level: float) -> float:
    if saving is None:
        saving = settings.comparison.difference_that_matters
    if saving is None:
        raise ValueError("saving: found none, and trial.toml fixes no difference that matters; accepted: a true saving")
    highest = level if settings.trial.better == "lower" else math.inf
    if not 0 < saving < highest:
        below = f", below the level of {level:g}" if math.isfinite(highest) else ""
        raise ValueError(f"saving: found {saving!r}; accepted: a true saving above 0{below}")
    return float(saving)


def _readings(settings: Settings, bench: RehearsedBench, of_level: float | None) -> Readings:
    keys = settings.plan
    if keys is None:
        raise ValueError("plan: found settings without a table [plan]; accepted: settings with one")
    interval_s = settings.readings.interval_s[0] if settings.readings.interval_s else bench.interval_s
    test, zero = (round(60 * minutes / interval_s) for minutes in (keys.run_minutes, keys.zero_minutes))
    fewest = min(test, zero) if keys.zero_first or keys.zero_last or keys.zero_every else test
    if fewest < _FEWEST_SAMPLES:
        raise ValueError(
            f"bench: found {fewest} samples in a run, {interval_s:g} s apart; accepted: at least {_FEWEST_SAMPLES}"
        )
    readings = Readings(
        samples=test,
        zero_samples=zero,
        interval_s=interval_s,
        approach=bench.warm_up,
        approach_spread=bench.warm_up_spread,
        noise=bench.noise,
        display=Display(step=settings.readings.resolution),
    )
    return readings if of_level is None else replace(readings, noise=_noise_for(bench.noise, test, of_level))


def _noise_for(noise: Noise, samples: int, of_level: float) -> Noise:
    # The noise whose mean over the last third of a run scatters as the component says.
    shape = noise if noise.correlated_sd or noise.white_sd else Noise(1.0, 0.0)
    factor = of_level / shape.mean_sd(samples // 3)
    return replace(shape, correlated_sd=factor * shape.correlated_sd, white_sd=factor * shape.white_sd)


def _runs(order: RunOrder) -> tuple[PlannedRun, ...]:
    return tuple(PlannedRun(r.run, r.start, r.role, r.article, r.condition, r.mount) for r in order.runs)


def _of_components(components: Mapping[str, Any], design: str) -> Iterator[str]:
    if any(math.isfinite(as_term(value).degrees_of_freedom) for value in components.values()):
        yield "standard deviations are estimates; the rehearsal takes them at face value, so that its power is one too"
    missing = [name for name in COMPONENTS if name not in components and name != "readings"]
    if missing:
        yield f"no standard deviation given for {', '.join(missing)}: counted as contained in the others"
    if design == "single":
        yield "the unit is the mount: article and saving are those of this article only"


def _not_simulated(settings: Settings) -> Iterator[str]:
    if settings.operating_point:
        names = ", ".join(settings.operating_point)
        yield f"operating point ({names}) taken as nominal in every run: its correction is not rehearsed"
    if settings.bench_model is not None:
        yield "the loss is simulated itself: errors of torque and speed that runs share are not rehearsed"
    if settings.instrument.rezero:
        yield "a new zero between the conditions stands in the interval, but is not simulated: coverage comes out high"
    if settings.drift.breaks:
        yield "where the bench is touched (drift.breaks) nothing happens in the rehearsal"


def _of_references(settings: Settings, made: RehearsedPlan) -> Iterator[str]:
    if not any(run.role == "reference" for run in made.order.runs):
        yield "no reference runs: nothing is taken off the drift but what zero runs see"
        return
    stated, simulated = settings.drift.reference_repeatability, reference_sd(made.simulated)
    if stated is not None and not simulated / _OTHER_REPEATABILITY <= stated <= simulated * _OTHER_REPEATABILITY:
        yield (
            f"drift.reference_repeatability is {stated:.3g}, while the components make a reference run scatter by "
            f"{simulated:.3g}"
        )


def reference_sd(plan: Plan) -> float:
    """Give the standard deviation of one simulated reference run, refit included.

    Parameters
    ----------
    plan : Plan
        What is simulated.

    Returns
    -------
    float
        Mount, run and readings together.
    """
    noise = next(
        (plan.readings.noise.mean_sd(samples_of(plan, r) // 3) for r in plan.runs if r.role == "reference"), 0.0
    )
    return math.hypot(plan.articles.mount_sd, plan.articles.run_sd, noise)
