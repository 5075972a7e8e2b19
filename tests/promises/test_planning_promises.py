"""Promises of a plan, by simulation with known truth: the power of the finished comparison, and that of pilot plans."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.comparison.comparison import compare_crossover, compare_groups, compare_pairs, compare_with_controls
from lossstats.planning.pilot_squares import mean_squares, solve
from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import power_of
from lossstats.planning.trial_size import size_trial
from lossstats.several.ranking import rank_conditions

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05}
REDUCED, FULL = 300, 5_000
PLANS, PLANS_FULL = 250, 4_000
CASES = [
    ("paired", {"mounts": 2}), ("paired", {"runs": 3, "shared": {"drift": 0.08, "gain": 0.02}}),
    ("crossover", {"articles": 8}), ("independent", {"mounts": 2, "shared": {"drift": (0.1, 20)}}), ("independent", {"articles": 4}),
    ("controls", {"controls": 4}), ("single", {"articles": 1, "mounts": 5, "runs": 2}),
]  # fmt: skip


def cell(rng, true, plan):
    """Value of each unit: its true level, its mounts, their runs."""
    if plan.design == "single":
        mounts = rng.normal(0, 0.1, plan.mounts)
        return mounts + true + rng.normal(0, 0.05, (plan.mounts, plan.runs)).mean(-1)
    mounts = rng.normal(0, 0.1, (len(true), plan.mounts))
    return true + (mounts + rng.normal(0, 0.05, (len(true), plan.mounts, plan.runs)).mean(-1)).mean(-1)


def compared(rng, plan, difference, matters):
    """One trial of the plan through the real comparison; errors in common as its shared terms say."""
    n = plan.articles
    u = {name: term.standard_uncertainty for name, term in plan.shared_terms(1.0).items()}
    level, gain, drift = 7.0, 1 + rng.normal(0, u.get("gain", 0.0)), rng.normal(0, u.get("drift", 0.0))
    article, change = level + rng.normal(0, 0.3, n), rng.normal(0, 0.1, n)
    if plan.design == "independent":
        # An article's response to one condition: two of them make the change.
        other, responses = level + rng.normal(0, 0.3, n), rng.normal(0, 0.1 / math.sqrt(2), (2, n))
        true = article + responses[0], other + responses[1] - difference
    elif plan.design == "single":
        true = level, level - difference
    else:
        true = article + change / 2, article - change / 2 - difference
    before, after = gain * cell(rng, true[0], plan) + drift, gain * cell(rng, true[1], plan)
    options = {"matters": matters, "shared": dict(plan.shared)}
    if plan.design == "controls":
        still = level + rng.normal(0, 0.3, plan.controls)
        return compare_with_controls(before, after, cell(rng, still, plan), cell(rng, still, plan), **options)
    if plan.design == "crossover":
        return compare_crossover(before, after, np.arange(n) % 2 == 1, **options)
    return (compare_pairs if plan.design == "paired" else compare_groups)(before, after, **options)


def shares(rng, plan, difference, matters, trials):
    found = np.zeros(2)
    for _ in range(trials):
        result = compared(rng, plan, difference, matters)
        low, high = result.difference.low, result.difference.high
        found += [not low <= 0 <= high, result.verdict.kind == "no difference that matters"]
    return found / trials


def check(design, keys, trials, seed):
    rng = np.random.default_rng(seed)
    plan = PlannedDesign(design, components=SPREAD, **{"articles": 5, **keys})
    matters = 1.2 * plan.standard_uncertainty() * 3
    for difference, claim in ((matters, "shown"), (0.0, "within")):
        shown, within = shares(rng, plan, difference, matters, trials)
        share = shown if claim == "shown" else within
        chance = power_of(plan, difference, within=None if claim == "shown" else matters)
        print(f"{design} {keys} {claim}: planned {chance:.3f}, simulated {share:.3f}")
        assert 0.05 < chance < 0.995
        assert share == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / trials) + 0.002)


@pytest.mark.parametrize(("design", "keys"), CASES)
def test_power_of_the_real_comparison(design, keys):
    check(design, keys, REDUCED, 11)


@pytest.mark.full
@pytest.mark.parametrize(("design", "keys"), CASES)
def test_power_of_the_real_comparison_in_full(design, keys):
    check(design, keys, FULL, 12)


def ranked(rng, plan, difference, trials):
    control = "C0" if plan.against_control else None
    found = 0
    for _ in range(trials):
        article = 7 + rng.normal(0, 0.3, plan.articles)
        values = {}
        for number in range(plan.conditions):
            own = article if plan.blocks else 7 + rng.normal(0, 0.3, plan.articles)
            response = rng.normal(0, 0.1 / math.sqrt(2), plan.articles)
            values[f"C{number}"] = cell(rng, own + response - difference * (number == 1), plan)
        pairs = rank_conditions(values, control=control, blocks=plan.blocks).comparisons
        pair = next(p for p in pairs if {p.first, p.second} == {"C0", "C1"})
        found += not pair.low <= 0 <= pair.high
    return found / trials


@pytest.mark.parametrize(
    ("keys", "difference"),
    [({"blocks": True}, 0.35), ({"blocks": False}, 0.8), ({"blocks": False, "against_control": True}, 0.8)],
)
def test_power_of_one_comparison_of_several(keys, difference):
    trials = REDUCED // 2
    plan = PlannedDesign("several", 6, SPREAD, conditions=3, **keys)
    chance, share = power_of(plan, difference), ranked(np.random.default_rng(13), plan, difference, trials)
    print(f"several {keys}: planned {chance:.3f}, simulated {share:.3f}")
    assert share == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / trials))


def share_kept(found, true, difference, **keys):
    """Share of plans, one a pilot, whose true power is the one they were made for."""
    sizes = [size_trial("paired", difference, components, most=2000, **keys).units for components in found]
    powers = {n: power_of(PlannedDesign("paired", n, true), difference) for n in set(sizes)}
    return float(np.mean([powers[n] >= 0.8 for n in sizes]))


def check_pilot_sd(dof, plans):
    rng, true, difference = np.random.default_rng(14), 0.25, 0.3
    found = [{"change": (sd, dof)} for sd in true * np.sqrt(rng.chisquare(dof, plans) / dof)]
    inflated = share_kept(found, {"change": true}, difference)
    naive = share_kept(found, {"change": true}, difference, assurance=None)
    error = math.sqrt(0.25 / plans)
    print(f"pilot with {dof} degrees of freedom: {inflated:.3f} reach their power, at face value {naive:.3f}")
    assert inflated >= 0.8 - 2 * error
    # At face value as often as the pilot is not too small, and a little more as articles are whole.
    assert stats.chi2.sf(dof, dof) - 3 * error < naive < 0.7


def pilot(rng, articles, mounts, runs):
    table = {}
    for number in range(articles):
        level = rng.normal(0, 0.3)
        for condition in "AB":
            own = level + rng.normal(0, 0.15 / math.sqrt(2))
            table[f"K{number}", condition] = [
                list(own + rng.normal(0, 0.1) + rng.normal(0, 0.05, runs)) for _ in range(mounts)
            ]
    return solve(mean_squares(table, blocks=True))[0]


def check_pilot_components(articles, mounts, runs, plans):
    """A paired pilot, its components found, a plan with another number of mounts made from them."""
    rng = np.random.default_rng(15)
    found = [pilot(rng, articles, mounts, runs) for _ in range(plans)]
    kept = share_kept(found, {"change": 0.15, "mount": 0.1, "run": 0.05}, 0.2)
    print(f"pilot {articles} x {mounts} x {runs}: {kept:.3f} reach their power")
    assert kept >= 0.8 - 2 * math.sqrt(0.16 / plans)


DOFS, PILOTS = [3, 5, 10], [(4, 2, 1), (6, 2, 2), (6, 3, 1)]


@pytest.mark.parametrize("dof", DOFS)
def test_a_pilot_at_face_value_is_not_enough_and_the_inflated_one_is(dof):
    check_pilot_sd(dof, PLANS)


@pytest.mark.parametrize("layout", PILOTS)
def test_a_pilot_with_components(layout):
    check_pilot_components(*layout, PLANS)


@pytest.mark.full
@pytest.mark.parametrize("dof", DOFS)
def test_a_pilot_sd_in_full(dof):
    check_pilot_sd(dof, PLANS_FULL)


@pytest.mark.full
@pytest.mark.parametrize("layout", PILOTS)
def test_a_pilot_with_components_in_full(layout):
    check_pilot_components(*layout, PLANS_FULL)
