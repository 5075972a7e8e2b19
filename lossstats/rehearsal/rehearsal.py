"""A plan rehearsed: simulated trials through the real analysis, and how often it is right, wrong, or says nothing."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np

from lossstats.records.argument_checks import seed_of, whole_number
from lossstats.records.rendering import shown
from lossstats.rehearsal.rehearsal_result import Rehearsal, Rehearsed, summed
from lossstats.rehearsal.rehearsed_bench import RehearsedBench, usual_bench
from lossstats.rehearsal.rehearsed_plan import RehearsedPlan, make_rehearsed_plan, open_plan
from lossstats.rehearsal.rehearsed_trials import REFUSED, Executor, compute_blocks, lay_out_blocks
from lossstats.trial_folder.plan_file import SealedPlan
from lossstats.trial_folder.settings import Settings


def rehearse(
    plan: str | os.PathLike[str] | Settings | SealedPlan,
    trials: int = 200,
    *,
    components: Mapping[str, Any],
    saving: float | None = None,
    bench: RehearsedBench | None = None,
    from_samples: bool = False,
    executor: Executor | None = None,
    rng: np.random.Generator | int = 1,
    progress: Callable[[Any], Any] | None = None,
) -> Rehearsal:
    """Rehearse a plan before the bench is booked: simulated trials in its order through the real analysis.

    Parameters
    ----------
    plan : path, Settings or SealedPlan
        A trial folder with plan.json or with a table [plan] in its trial.toml; or settings, or a sealed plan.
    trials : int, default 200
        At no saving, and as many at the saving.
    components : mapping of str to float or (float, float)
        Standard deviation by source in the measurand's unit, as `lossstats.PlannedDesign` takes them:
        ``article``, ``change``, ``mount``, ``run``, ``readings`` (of the level of a run; scales the noise).
    saving : float, optional
        True saving, above 0. Left out: the difference that matters.
    bench : RehearsedBench, optional
        Level, noise, warm-up and drift; left out: `lossstats.usual_bench`. Gain and zero are those of
        trial.toml.
    from_samples : bool, default False
        Simulate every reading and reduce the runs as well, settling included; some hundred times as long.
    executor : object, optional
        With ``submit`` or ``map`` as in `concurrent.futures`. Left out: in this process. The result is the same.
    rng : Generator or int, default 1
        Source of randomness; a Generator is asked for a seed once.
    progress : callable, optional
        Wraps an iterable with one item a block of trials, for example tqdm.

    Returns
    -------
    Rehearsal
        False claims, power, chance of each verdict, coverage, half-width, bench time, with Monte Carlo intervals.

    Raises
    ------
    TrialError
        If there is no plan, or it has faults.
    ValueError
        If a number is out of range.
    TypeError
        If plan or executor is something else.

    Notes
    -----
    Articles, mounts and runs scatter normally. From levels on, a run is taken to have settled and its level to have
    the error of a mean over the last third of the run; settling and resolution are rehearsed from samples only. For
    design several the first condition besides the control (or the first two conditions) differ by the saving; a claim
    counts as wrong, and a truth as held, over all comparisons together.

    Random numbers belong to blocks of trials, spawned from one seed; the number of workers plays no part.

    References
    ----------
    Intervals of shares: C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404, by `scipy.stats.binomtest`; of the
    median: by its order statistics, ISO 16269-7.
    """
    trials = whole_number("trials", trials, 1)
    bench = bench or usual_bench()
    settings, order = open_plan(plan)
    rehearsed = make_rehearsed_plan(settings, order, components, saving, bench)
    seed = seed_of(rng)
    savings = (0.0, rehearsed.saving)
    blocks = [
        lay_out_blocks(rehearsed.at(true), trials, sequence, from_samples=from_samples)
        for true, sequence in zip(savings, np.random.SeedSequence(seed).spawn(2), strict=True)
    ]
    found = compute_blocks([*blocks[0], *blocks[1]], executor, progress)
    parts = (found[: len(blocks[0])], found[len(blocks[0]) :])
    unit = settings.trial.unit
    none, some = (
        summed([outcome for block in part for outcome in block], true, unit, len(order.runs))
        for part, true in zip(parts, savings, strict=True)
    )
    return Rehearsal(
        words=_words(none, some, rehearsed, trials),
        trials=trials,
        saving=rehearsed.saving,
        unit=unit,
        design=settings.comparison.design,
        false_claims=none.wrong,
        power=some.verdicts["saves"],
        none=none,
        some=some,
        bench_time_h=order.bench_time_h,
        bench_days=len(order.bench_days),
        runs=len(order.runs),
        confidence=settings.comparison.confidence,
        from_samples=from_samples,
        components=dict(components),
        bench=bench,
        seed=seed,
        notes=(*_notes(none, some, rehearsed, from_samples=from_samples), *rehearsed.notes),
    )


def _words(none: Rehearsed, some: Rehearsed, rehearsed: RehearsedPlan, trials: int) -> str:
    unit, order, days = rehearsed.settings.trial.unit, rehearsed.order, len(rehearsed.order.bench_days)
    held = "no trial gave an interval"
    if some.coverage is not None:
        percent = f"{100 * rehearsed.settings.comparison.confidence:g}"
        held = f"the {percent} % interval held the truth in {some.coverage.words}"
    return (
        f"In {trials} rehearsals of this plan with a true saving of {rehearsed.saving:g} {unit} the verdict was "
        f"“saves” in {some.verdicts['saves'].words} and {held}; in {trials} without a saving a difference was claimed "
        f"falsely in {none.wrong.words}. The bench is needed for {order.bench_time_h:.1f} h on {days} "
        f"day{'s' * (days != 1)}."
    )


def _notes(none: Rehearsed, some: Rehearsed, rehearsed: RehearsedPlan, *, from_samples: bool) -> Iterator[str]:
    confidence = rehearsed.settings.comparison.confidence
    if none.wrong.low > 1 - confidence:
        yield (
            f"false claims are more frequent than the {100 * (1 - confidence):.3g} % that the analysis promises: the "
            "order of this plan does not hold against this drift"
        )
    if some.verdicts["no verdict"].count == some.verdicts["saves"].trials:
        yield "this plan gives no verdict, whatever is true: too few units"
    refused = max(none.verdicts[REFUSED].value, some.verdicts[REFUSED].value)
    if refused:
        yield (
            f"up to {shown(100 * refused, 1)} % of the trials were refused because runs were still moving at their "
            "end: longer runs, a wider tolerance, or a declared rule would avoid that"
        )
    if rehearsed.settings.comparison.design == "several":
        plan = rehearsed.simulated
        yield f"verdict, power and half-width are those of {plan.after} against {plan.before}; coverage is of all"
    if not from_samples:
        yield "from settled levels on: warm-up in the runs, settling and display step are not rehearsed"
    yield from (f"not told apart: {sentence}" for sentence in rehearsed.order.confounded)
