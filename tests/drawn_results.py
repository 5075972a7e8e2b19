"""Finished results of small simulated trials, one for every design, for the tests of figures and sheet."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.result import Result
from lossstats.simulator.simulate import Display, Faults, Noise, Readings, lay_out, simulate_trial

LONG = "conveyor chain of the second oven, left side, $after$ the repair"
LAYOUTS = {
    "paired": ("paired", {"articles": 3, "zeros": True}, {"difference_that_matters": 0.25}),
    "independent": ("independent", {"articles": 3}, {"difference_that_matters": 0.25}),
    "controls": ("controls", {"articles": 3, "controls": 3}, {"difference_that_matters": 0.1}),
    "description": ("single", {"references_every": None}, {"difference_that_matters": 0.25}),
    "mounts": ("single", {"mounts": 3, "references_every": None}, {}),
    "known": (
        "single",
        {"references_every": None},
        {"repeatability": 0.06, "repeatability_dof": 12.0, "repeatability_source": "earlier refits"},
    ),
    "no M": ("paired", {"articles": 3}, {}),
    "higher": ("paired", {"articles": 3}, {"difference_that_matters": 0.25}),
    "strange": ("paired", {"articles": 3}, {}),
}


@cache
def result(name: str) -> Result:
    """Result by name; the second run of its trial has a spike."""
    design, layout, keys = LAYOUTS[name]
    names = {"before": f"_{LONG}", "after": LONG} if name == "strange" else {"before": "dusty", "after": "cleaned"}
    plan = lay_out(design, **layout, **names)
    runs = list(plan.runs)
    runs[1] = replace(runs[1], faults=Faults(spikes=((25, 0.6),)))
    readings = Readings(samples=40, zero_samples=20, noise=Noise(0.01), display=Display(0.005))
    trial, _ = simulate_trial(replace(plan, runs=tuple(runs), readings=readings), rng=3)
    s = trial.settings
    better = "higher" if name == "higher" else "lower"
    question = "Does a <b>wash</b> pay?"
    settings = replace(
        s,
        trial=replace(s.trial, better=better, question=question, unit="W"),
        comparison=replace(s.comparison, **keys),
        settling=replace(s.settling, still_moving="leave out"),
    )
    if name == "strange":
        trial = replace(trial, runs=tuple(replace(r, article=f"<i>{r.article}</i> $x$ & $") for r in trial.runs))
    return analyse(replace(trial, settings=settings))


@cache
def with_a_run_left_out() -> Result:
    """The paired result as if its second run were settled, the third moving and left out, the fourth undecided."""
    found = result("paired")
    runs = list(found.runs)
    runs[1] = replace(runs[1], settled=replace(runs[1].settled, status="settled"))
    runs[2] = replace(
        runs[2], used=False, why_not_used="still moving at its end", settled=replace(runs[2].settled, status="moving")
    )
    runs[3] = replace(runs[3], settled=replace(runs[3].settled, status="undecided"))
    return replace(found, runs=tuple(runs))


def traces(found: Result) -> dict:
    """Samples of the runs by name."""
    return {run.name: (run.time_s, run.values) for run in found._trial.runs}
