"""Simulated trials of a plan through the real analysis: a block of them at a time, wherever it is computed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from lossstats.conclusion.conclusion import NotSettledError, conclude, reduce_trial
from lossstats.one_run.level import Level
from lossstats.one_run.reduced_runs import ReducedRun
from lossstats.one_run.settling import Settled
from lossstats.simulator.simulate import simulate_trial
from lossstats.simulator.simulated_levels import SimulatedLevels, samples_of, simulate_levels
from lossstats.simulator.simulated_plan import Plan
from lossstats.trial_folder.trial import Run, Trial

if TYPE_CHECKING:
    from lossstats.comparison.verdict import Verdict
    from lossstats.conclusion.result import Result
    from lossstats.one_run.screening import Screening
    from lossstats.several.ranked import PairDifference, Ranking

# Trials a block. Fixed, so that the random numbers do not hang on who computes the blocks; some 0.05 s to 0.5 s each.
BLOCK, BLOCK_FROM_SAMPLES = 25, 4
REFUSED = "refused"
Executor = Any  # anything with submit, as concurrent.futures has it, or with map


@dataclass(frozen=True)
class Block:
    """Trials to be computed together.

    Attributes
    ----------
    plan : Plan
        What is simulated, with the settings by which it is analysed.
    trials : int
        How many.
    sequence : SeedSequence
        Of this block alone.
    from_samples : bool
        With all samples, not from settled levels on.
    """

    plan: Plan
    trials: int
    sequence: np.random.SeedSequence
    from_samples: bool


@dataclass(frozen=True)
class Outcome:
    """What one simulated trial came to.

    Attributes
    ----------
    verdict : str
        Kind of the verdict; ``"refused"`` where the analysis refused the trial.
    wrong : bool
        Something was claimed that is not so; of any comparison where there are several.
    shown : bool
        0 outside the interval.
    held, held_percent : bool or None
        Whether the interval, or all intervals together, held the truth; None where there was none.
    half_width, half_width_percent : float or None
        Half of the length of the interval.
    moving : int
        Runs still moving at their end.
    left_out : int
        Runs left out for that, by the declared rule; all runs of a refused trial.
    """

    verdict: str
    wrong: bool = False
    shown: bool = False
    held: bool | None = None
    held_percent: bool | None = None
    half_width: float | None = None
    half_width_percent: float | None = None
    moving: int = 0
    left_out: int = 0


@dataclass(frozen=True)
class _Truth:
    # In the sense of the analysis: above 0 is better.
    saving: float
    percent: float


def lay_out_blocks(plan: Plan, trials: int, sequence: np.random.SeedSequence, *, from_samples: bool) -> list[Block]:
    """Part trials into blocks with random numbers of their own.

    Parameters
    ----------
    plan : Plan
        What is simulated.
    trials : int
        How many.
    sequence : SeedSequence
        Of them all.
    from_samples : bool
        With all samples.

    Returns
    -------
    list of Block
        The same whoever computes them; more trials begin with the same blocks.
    """
    size = BLOCK_FROM_SAMPLES if from_samples else BLOCK
    starts = range(0, trials, size)
    return [
        Block(plan, min(size, trials - start), own, from_samples)
        for start, own in zip(starts, sequence.spawn(len(starts)), strict=True)
    ]


def compute_blocks(
    blocks: Sequence[Block], executor: Executor | None, progress: Callable[[Any], Any] | None
) -> list[tuple[Outcome, ...]]:
    """Compute blocks here or on an executor.

    Parameters
    ----------
    blocks : sequence of Block
        What is to be computed.
    executor : object or None
        With ``submit`` or ``map`` as in `concurrent.futures`; None: in this process.
    progress : callable or None
        Wraps an iterable with one item a block.

    Returns
    -------
    list of tuple of Outcome
        In the order of the blocks.

    Raises
    ------
    TypeError
        If the executor has neither.
    """
    wrap: Callable[[Any], Iterable[Any]] = progress or iter
    if executor is None:
        return [rehearse_block(block) for block in wrap(blocks)]
    if callable(getattr(executor, "submit", None)):
        futures = [executor.submit(rehearse_block, block) for block in blocks]
        try:
            return [future.result() for future in wrap(futures)]
        except BaseException:
            for future in futures:
                future.cancel()
            raise
    if callable(getattr(executor, "map", None)):
        return list(wrap(executor.map(rehearse_block, blocks)))
    raise TypeError(f"executor: found a {type(executor).__name__}; accepted: an object with submit or map, or None")


def rehearse_block(block: Block) -> tuple[Outcome, ...]:
    """Simulate and analyse the trials of one block.

    Parameters
    ----------
    block : Block
        Which.

    Returns
    -------
    tuple of Outcome
        One a trial.
    """
    rng = np.random.default_rng(block.sequence)
    simulate = _from_samples if block.from_samples else _from_levels
    return tuple(simulate(block.plan, block.trials, rng))


def _from_levels(plan: Plan, trials: int, rng: np.random.Generator) -> Iterator[Outcome]:
    drawn = simulate_levels(plan, rng=rng, trials=trials)
    trial = without_samples(plan)
    for k in range(trials):
        yield _judge(conclude(trial, _settled_runs(drawn, k)), _truth_of(drawn, k), plan)


def _from_samples(plan: Plan, trials: int, rng: np.random.Generator) -> Iterator[Outcome]:
    for _ in range(trials):
        trial, truth = simulate_trial(plan, rng=rng)
        reduced = reduce_trial(trial)
        moving = sum(r.settled.status == "moving" for r in reduced)
        try:
            result = conclude(trial, reduced)
        except NotSettledError:
            yield Outcome(REFUSED, moving=moving, left_out=len(reduced))
            continue
        except ValueError:
            # Without a usable run of a condition there is no result; anything else is a fault of the plan.
            if not moving:
                raise
            yield Outcome(REFUSED, moving=moving, left_out=len(reduced))
            continue
        own = plan.design == "single"
        saving = truth.saving_of_articles if own else truth.saving
        percent = truth.saving_of_articles_percent if own else truth.saving_percent
        yield _judge(result, _oriented(plan, saving, percent), plan)


def without_samples(plan: Plan) -> Trial:
    """Make a trial whose runs have a length, but no readings.

    Parameters
    ----------
    plan : Plan
        With its settings.

    Returns
    -------
    Trial
        In memory; for levels that are known already.
    """
    runs = []
    for run in plan.runs:
        time_s = np.array([0.0, (samples_of(plan, run) - 1) * plan.readings.interval_s])
        runs.append(
            Run(run.name, run.start, run.role, run.article, run.condition, run.mount, time_s=time_s, values=np.zeros(2))
        )
    if plan.settings is None:
        raise ValueError("plan: found no settings; accepted: a plan with the settings it is analysed by")
    return Trial(None, plan.settings, tuple(runs))


_SETTLED = Settled("settled", *(0.0,) * 10, notes=())


def _settled_runs(drawn: SimulatedLevels, k: int) -> list[ReducedRun]:
    pairs = zip(drawn.values[k].tolist(), drawn.standard_uncertainty.tolist(), strict=True)
    # There are no samples to be screened.
    unscreened = cast("Screening", None)
    return [ReducedRun(_level(value, u), _SETTLED, unscreened, None) for value, u in pairs]


def _level(value: float, u: float) -> Level:
    return Level(value, u, math.inf, {"noise": u, "resolution": 0.0}, math.inf, 0, "simulated")


def _truth_of(drawn: SimulatedLevels, k: int) -> _Truth:
    plan = drawn.plan
    if plan.design != "single":
        return _oriented(plan, drawn.saving, drawn.saving_percent)
    saving = float(drawn.saving_of_articles[k])
    return _oriented(plan, saving, 100 * saving / float(drawn.article_levels[k, 0, 0]))


def _oriented(plan: Plan, saving: float, percent: float) -> _Truth:
    lower = plan.settings is None or plan.settings.trial.better == "lower"
    # + 0.0: no saving is 0 and not -0.
    return _Truth(saving, percent) if lower else _Truth(-saving + 0.0, -percent + 0.0)


def _judge(result: Result, truth: _Truth, plan: Plan) -> Outcome:
    outcome = _judge_one(result, truth) if result.ranking is None else _judge_several(result.ranking, truth, plan)
    moving = sum(run.settled.status == "moving" for run in result.runs)
    return replace(outcome, moving=moving, left_out=sum(not run.used for run in result.runs))


def _judge_one(result: Result, truth: _Truth) -> Outcome:
    comparison = result.comparison
    assert comparison is not None  # the design is not several  # noqa: S101
    d, percent, verdict = comparison.difference, comparison.percent, comparison.verdict
    return Outcome(
        verdict=verdict.kind,
        wrong=d is not None and is_wrong(verdict, d.low, truth.saving),
        shown=d is not None and not d.low <= 0 <= d.high,
        held=None if d is None else d.low <= truth.saving <= d.high,
        held_percent=None if percent is None else percent.low <= truth.percent <= percent.high,
        half_width=None if d is None else (d.high - d.low) / 2,
        half_width_percent=None if percent is None else (percent.high - percent.low) / 2,
    )


def _judge_several(ranking: Ranking, truth: _Truth, plan: Plan) -> Outcome:
    # Of the comparison that the plan is made for; whatever is held or wrong counts for all together.
    asked = next(p for p in ranking.comparisons if {p.first, p.second} == {plan.before, plan.after})
    true = {name: truth.saving if name == plan.after else 0.0 for name in plan.conditions}

    def saved(pair: PairDifference) -> float:
        return true[pair.second] - true[pair.first]

    falls = 1 if plan.settings is None or plan.settings.trial.better == "lower" else -1
    level = {name: 100 - falls * truth.percent * (name == plan.after) for name in plan.conditions}
    ratios = [(r.condition, r.low, r.high) for r in ranking.control_ratios if r.low is not None and r.high is not None]
    of_asked = [(high - low) / 2 for name, low, high in ratios if name == plan.after]
    return Outcome(
        verdict=asked.verdict.kind,
        wrong=any(is_wrong(pair.verdict, pair.low, saved(pair)) for pair in ranking.comparisons),
        shown=not asked.low <= 0 <= asked.high,
        held=all(pair.low <= saved(pair) <= pair.high for pair in ranking.comparisons),
        held_percent=all(low <= level[name] <= high for name, low, high in ratios) if ratios else None,
        half_width=(asked.high - asked.low) / 2,
        half_width_percent=of_asked[0] if of_asked else None,
    )


def is_wrong(verdict: Verdict, low: float, saving: float) -> bool:
    """Say whether a verdict claims what is not so.

    Parameters
    ----------
    verdict : Verdict
        By the rule of `lossstats.decide`.
    low : float
        Lower end of its interval.
    saving : float
        True saving.

    Returns
    -------
    bool
        A verdict that claims nothing is never wrong.

    Examples
    --------
    >>> from lossstats.comparison.verdict import decide
    >>> is_wrong(decide(0.1, 0.4), 0.1, 0.0), is_wrong(decide(-0.1, 0.1, matters=0.2), -0.1, 0.3)
    (True, True)
    """
    matters = verdict.matters if verdict.matters is not None else math.inf
    claims = []
    if verdict.kind == "no verdict":
        return False
    if verdict.difference_shown:
        claims.append(saving > 0 if low > 0 else saving < 0)
    if verdict.beyond_matters:
        claims.append(abs(saving) > matters)
    if verdict.kind in ("no difference that matters", "not worse"):
        claims.append(saving > -matters)
    if verdict.kind in ("no difference that matters", "not better"):
        claims.append(saving < matters)
    return not all(claims)
