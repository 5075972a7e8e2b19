"""What a rehearsal says, held against what is known otherwise.

- Power: that of planning, by quadrature over the spread that the units will show, for a bench without drift (theory
  apart from the simulator and from the analysis).
- False claims and coverage: at most 5 % and 95 % where the order holds against the drift; where it does not, all of
  one condition before all of the other on a bench that drifts by 0.1 W an hour, most trials claim falsely.
"""

import math
from dataclasses import replace

import pytest
from planned import planned

from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import power_of
from lossstats.rehearsal.rehearsal import rehearse
from lossstats.rehearsal.rehearsed_bench import quiet_bench, usual_bench
from lossstats.simulator.simulate import LinearDrift
from lossstats.trial_folder.settings import ReadingsKeys

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.08, "run": 0.04}
SIX = "K01 K02 K03 K04 K05 K06"
REDUCED, FULL = 150, 4000
# Design, true saving, articles of the plan, its further keys, and the same for planning.
SAME = [
    ("paired", 0.25, SIX, {"one_way": True}, {"articles": 6}),
    ("paired", 0.2, "K01 K02 K03 K04", {"one_way": True, "mounts": 2, "runs_per_mount": 2}, {"articles": 4, "mounts": 2, "runs": 2}),
    ("crossover", 0.25, SIX, {"one_way": False}, {"articles": 6}),
    ("independent", 0.6, SIX + " K07 K08 K09 K10", {}, {"articles": 5}),
    ("controls", 0.25, SIX + " K07 K08 K09", {"one_way": True, "controls": "K07 K08 K09"}, {"articles": 6, "controls": 3}),
    ("single", 0.2, "K01", {"one_way": False, "mounts": 5}, {"articles": 1, "mounts": 5}),
]  # fmt: skip


def within(share, chance):
    """Four standard errors, and a little for what quadrature leaves out."""
    error = math.sqrt(chance * (1 - chance) / share.trials)
    print(f"rehearsed {share.words}, planned {100 * chance:.1f} %")
    assert 0.03 < chance < 0.97
    assert share.value == pytest.approx(chance, abs=4 * error + 0.003)


def check_power(case, trials, seed):
    design, saving, articles, keys, of_planning = case
    settings = planned(design, articles, reference=None, **keys)
    found = rehearse(settings, trials, components=SPREAD, saving=saving, bench=quiet_bench(), rng=seed)
    plan = PlannedDesign(design, components=SPREAD, **of_planning)
    within(found.some.shown, power_of(plan, saving))
    within(found.none.shown, power_of(plan, 0.0))


@pytest.mark.parametrize("case", SAME, ids=lambda c: f"{c[0]} {c[4]}")
def test_power_as_planned(case):
    check_power(case, REDUCED, 1)


@pytest.mark.full
@pytest.mark.parametrize("case", SAME, ids=lambda c: f"{c[0]} {c[4]}")
def test_power_as_planned_in_full(case):
    check_power(case, FULL, 2)


DRIFTING = replace(quiet_bench(), drift=(LinearDrift(0.1),))
WRONG = {"one_way": True, "waves": 1, "reference": None}
HELD = {
    "references": {"one_way": True, "waves": 1},
    "articles in either order": {"one_way": False, "reference": None},
    "references and waves": {"one_way": True},
}
MATTERS = {"difference_that_matters": 0.25}


def check_wrong_order(trials, seed):
    """All before then all after, no references: 0.2 W of bias (comparison of orders by simulation, own)."""
    found = rehearse(planned(articles=SIX, comparison=MATTERS, **WRONG), trials, components=SPREAD, bench=DRIFTING, rng=seed)  # fmt: skip
    print(f"wrong order: {found.false_claims.words}")
    assert found.false_claims.low > 0.4
    # The loss seems to rise by as much as the bench drifts: the saving is not found.
    assert found.power.high < 0.1
    assert found.some.coverage.high < 0.6


def check_order(name, trials, seed):
    design = "crossover" if name == "articles in either order" else "paired"
    settings = planned(design, SIX, comparison=MATTERS, **HELD[name])
    found = rehearse(settings, trials, components=SPREAD, bench=DRIFTING, rng=seed)
    print(f"{name}: {found.false_claims.words}, {found.some.coverage.words}")
    check_promise(found, trials)


def check_promise(found, trials):
    allowance = 3 * math.sqrt(0.05 * 0.95 / trials)
    assert found.false_claims.value <= 0.05 + allowance
    assert found.some.coverage.value >= 0.94 - allowance
    assert found.some.coverage_percent.value >= 0.94 - allowance


def test_the_wrong_order_claims_falsely():
    check_wrong_order(REDUCED // 2, 3)


@pytest.mark.parametrize("name", HELD)
def test_references_or_another_order_bring_it_back(name):
    check_order(name, REDUCED, 4)


@pytest.mark.full
def test_the_wrong_order_in_full():
    check_wrong_order(FULL // 4, 5)


@pytest.mark.full
@pytest.mark.parametrize("name", HELD)
def test_references_or_another_order_in_full(name):
    check_order(name, FULL // 2, 6)


USUAL = [
    ("paired", SIX, {"one_way": True, "wash_hours": 1, "dry_hours": 12}),
    ("crossover", SIX, {"one_way": False}),
    ("independent", SIX + " K07 K08", {}),
    ("controls", SIX + " K07 K08 K09", {"one_way": True, "controls": "K07 K08 K09", "dry_hours": 12}),
    ("single", "K01", {"one_way": False, "mounts": 5}),
    ("several", SIX, {"conditions": "dusty cleaned oiled", "by": "article", "one_way": False}),
]


def usual(case, trials, seed, *, from_samples=False, tick_s=None):
    design, articles, keys = case
    settings = planned(design, articles, comparison=MATTERS, **keys)
    if tick_s:
        settings = replace(settings, readings=ReadingsKeys(0.01, (tick_s,)))
    return rehearse(settings, trials, components=SPREAD, bench=usual_bench(), from_samples=from_samples, rng=seed)


def check_several_or_promise(found, case, trials):
    if case[0] == "several":
        allowance = 3 * math.sqrt(0.05 * 0.95 / trials)
        assert found.false_claims.value <= 0.05 + allowance
        assert found.some.coverage.value >= 0.94 - allowance
    else:
        check_promise(found, trials)


@pytest.mark.parametrize("case", USUAL[::2], ids=lambda c: c[0])
def test_a_usual_bench(case):
    check_several_or_promise(usual(case, REDUCED, 7), case, REDUCED)


@pytest.mark.full
@pytest.mark.parametrize("case", USUAL, ids=lambda c: c[0])
def test_a_usual_bench_in_full(case):
    found = usual(case, FULL // 2, 8)
    print(f"{case[0]}: {found.words}")
    check_several_or_promise(found, case, FULL // 2)


def test_from_samples_and_from_levels_agree():
    """Twelve trials from samples: finds only gross faults; the full size follows."""
    check_samples(12, 9)


@pytest.mark.full
def test_from_samples_and_from_levels_agree_in_full():
    check_samples(400, 10)


def check_samples(trials, seed):
    levels = usual(USUAL[1], 4 * trials, seed, tick_s=30.0)
    samples = usual(USUAL[1], trials, seed + 1, from_samples=True, tick_s=30.0)
    print(f"levels {levels.power.words}, samples {samples.power.words}")
    print(f"half-width: {levels.some.half_width.words}, {samples.some.half_width.words}")
    p = levels.power.value
    assert samples.power.value == pytest.approx(p, abs=4 * math.sqrt(1.25 * p * (1 - p) / trials))
    # Noise of the readings is a small part beside mounts and articles.
    assert samples.some.half_width.value == pytest.approx(levels.some.half_width.value, rel=0.1 + 2 / math.sqrt(trials))
    check_promise(samples, trials)
