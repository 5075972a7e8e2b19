"""Power, smallest visible difference and fitness against reference libraries, a table, and bad input."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower

from lossstats.comparison.comparison import compare_single
from lossstats.planning.interval_power import family_factor, half_widths, student_factor
from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import fit_for_question, of_trials, power_of, smallest_visible_difference
from lossstats.planning.power import power_paired, power_welch
from lossstats.records.estimate import Term

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05}

# Smallest difference seen with 80 % power, W, for SPREAD: measured with an independent prototype (two decimals).
TABLE = [
    (3, 0.61, 0.49, 0.58, 0.44, 1.15), (4, 0.40, 0.32, 0.38, 0.29, 0.82), (5, 0.31, 0.25, 0.30, 0.23, 0.68),
    (6, 0.27, 0.22, 0.26, 0.19, 0.60), (8, 0.22, 0.17, 0.21, 0.16, 0.50), (10, 0.19, 0.15, 0.18, 0.13, 0.44),
]  # fmt: skip
COLUMNS = [("paired", 1, 1), ("paired", 2, 1), ("paired", 1, 3), ("paired", 3, 1), ("independent", 1, 1)]


@pytest.mark.parametrize("row", TABLE)
def test_smallest_differences(row):
    n, *printed = row
    for (design, mounts, runs), smallest in zip(COLUMNS, printed, strict=True):
        plan = PlannedDesign(design, n, SPREAD, mounts=mounts, runs=runs)
        found = smallest_visible_difference(plan)
        assert found.difference == pytest.approx(smallest, abs=0.01)
        assert power_of(plan, found.difference) == pytest.approx(0.8, abs=1e-6)


@pytest.mark.parametrize("n", [3, 4, 6, 10, 40])
@pytest.mark.parametrize("effect", [0.3, 0.8, 1.5, 2.5])
def test_paired_against_statsmodels(n, effect):
    plan = PlannedDesign("paired", n, {"change": 0.2})
    library = TTestPower().power(effect, n, 0.05)
    if math.isfinite(library):
        assert power_of(plan, 0.2 * effect) == pytest.approx(library, abs=1e-6)
    library = TTestPower().solve_power(nobs=n, power=0.8, alpha=0.05)
    assert smallest_visible_difference(plan).difference == pytest.approx(0.2 * library, abs=1e-6)


def test_designs_rest_on_the_exact_powers():
    groups = PlannedDesign("independent", 5, {"article": 0.3})
    assert power_of(groups, 0.5) == pytest.approx(power_welch(0.5, 0.3, 5, 0.3, 5), abs=1e-9)
    single = PlannedDesign("single", 1, {"mount": 0.1}, mounts=4)
    assert power_of(single, 0.2) == pytest.approx(power_welch(0.2, 0.1, 4, 0.1, 4), abs=1e-9)
    crossover = PlannedDesign("crossover", 8, {"change": 0.2})
    assert power_of(crossover, 0.2) == pytest.approx(power_welch(0.2, 0.1, 4, 0.1, 4), abs=1e-9)
    blocks = PlannedDesign("several", 6, {"change": 0.2}, conditions=3)
    assert power_of(blocks, 0.3) == pytest.approx(power_paired(0.3, 0.2, 6, alpha=0.05 / 3), abs=1e-9)


def test_a_family_costs_power():
    one = PlannedDesign("independent", 8, SPREAD)
    pairs = PlannedDesign("several", 8, SPREAD, conditions=4, blocks=False)
    control = PlannedDesign("several", 8, SPREAD, conditions=4, blocks=False, against_control=True)
    assert power_of(one, 0.5) > power_of(control, 0.5) > power_of(pairs, 0.5)
    assert float(family_factor("pairs", 4, 6, 7, 0.95)(pairs.degrees_of_freedom)) > 2.8  # 2.15 for one alone


def test_shared_errors_and_gain_lower_the_power():
    bare, drift = (PlannedDesign("paired", 6, SPREAD, shared=shared) for shared in ({}, {"drift": 0.1}))
    gain = PlannedDesign("paired", 6, SPREAD, shared={"gain": 0.1})
    assert power_of(drift, 0.3) < power_of(bare, 0.3)
    assert power_of(gain, 0.3) < power_of(bare, 0.3)
    assert power_of(gain, 0.0) == power_of(bare, 0.0)
    assert power_of(drift, 0.0, within=0.4) < power_of(bare, 0.0, within=0.4)


def test_estimates_raise_the_difference():
    known, estimated = (PlannedDesign("paired", 6, {"change": sd}) for sd in (0.2, (0.2, 5)))
    ratio = smallest_visible_difference(estimated).difference / smallest_visible_difference(known).difference
    assert ratio == pytest.approx(estimated.inflation)


def test_words():
    found = smallest_visible_difference(PlannedDesign("paired", 4, SPREAD, mounts=2), power=0.9)
    library = 0.15 * TTestPower().solve_power(nobs=4, power=0.9, alpha=0.05)
    assert found.words == f"a difference of {library:.2f} W is seen in 9 of 10 such trials"
    assert "W is seen in 9 of 10" in str(found) and "<table" in found._repr_html_()
    assert [of_trials(p) for p in (0.5, 0.123, 0.999, 0.001)] == [
        "5 of 10", "12 of 100", "more than 99 of 100", "fewer than 1 of 100",
    ]  # fmt: skip


def test_fit_for_the_question():
    plan = PlannedDesign("paired", 6, SPREAD, mounts=2)
    fit = fit_for_question(plan, 0.25)
    assert fit.fit and fit.ratio == pytest.approx(smallest_visible_difference(plan).difference / 0.25)
    assert fit.words.startswith("with this bench and this plan the difference that matters can be seen: a true")
    assert fit.power_at_matters == power_of(plan, 0.25) and "smallest visible over what matters" in str(fit)
    unfit = fit_for_question(plan, 0.1)
    assert not unfit.fit and unfit.ratio > 1
    assert "cannot be relied on to be seen" in unfit.words and "8 of 10 would see 0.22 W" in unfit.words
    two = fit_for_question(PlannedDesign("paired", 2, SPREAD), 100.0)
    assert not two.fit and two.words.endswith("cannot be claimed: two units give no verdict")


def test_one_article_with_a_known_repeatability():
    """Closed form: the interval has one half-width, t of the stated degrees of freedom times u."""
    plan = PlannedDesign("single", 1, {}, mounts=2, repeatability=(0.1, 20), shared={"drift": 0.05})
    u = math.hypot(0.1, 0.05)
    t = stats.t.ppf(0.975, u**4 / (0.1**4 / 20))
    assert plan.standard_uncertainty() == pytest.approx(u)
    assert power_of(plan, 0.4) == pytest.approx(stats.norm.sf(t - 0.4 / u), abs=1e-7)
    assert power_of(plan, 0.0, within=0.5) == pytest.approx(1 - 2 * stats.norm.sf((0.5 - t * u) / u))
    once = PlannedDesign("single", 1, {}, repeatability=0.1)
    assert smallest_visible_difference(once).difference == pytest.approx(
        0.1 * math.sqrt(2) * (1.959964 + 0.841621), abs=1e-4
    )
    assert fit_for_question(once, 0.5).fit and once.smallest_exact_p is None and once.inflation == 1
    assert any("for this article only" in note for note in once.notes)
    assert not any("verdict" in note for note in once.notes)


def test_a_known_repeatability_as_the_comparison_takes_it():
    trials, rng = 1000, np.random.default_rng(9)
    plan = PlannedDesign("single", 1, {}, mounts=2, repeatability=(0.1, 20))
    values = rng.normal([7.0, 6.75], 0.1 / math.sqrt(2), (trials, 2))
    known = {"repeatability": 0.1, "repeatability_dof": 20, "mounts": (2, 2)}
    shown = np.mean([compare_single(*pair, **known).difference.low > 0 for pair in values])
    assert shown == pytest.approx(power_of(plan, 0.25), abs=4 * math.sqrt(0.25 / trials))


def test_a_gain_error_may_put_every_difference_out_of_reach():
    plan = PlannedDesign("paired", 6, SPREAD, shared={"gain": 0.5})
    with pytest.raises(ValueError, match=r"power: found 0.9, which no difference reaches: the gain error \(50 %\)"):
        smallest_visible_difference(plan, power=0.9)
    fit = fit_for_question(plan, 1.0, power=0.9)
    assert math.isinf(fit.ratio) and not fit.fit and "would see" not in fit.words


PLAN = PlannedDesign("paired", 6, SPREAD)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: power_of(PLAN, math.inf), "difference: found inf; accepted: a finite number"),
        (lambda: power_of(PLAN, 0.0, within=0.0), "within: found 0.0; accepted: a finite number above 0"),
        (lambda: smallest_visible_difference(PLAN, power=0.05), "power: found 0.05; accepted: above the chance at no"),
        (lambda: smallest_visible_difference(PLAN, power=1.0), "power: found 1.0"),
        (lambda: fit_for_question(PLAN, -1), "matters: found -1.0; accepted: a finite number above 0"),
    ],
)
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()


def no_difference(difference, matters, sd, n, *, confidence=0.95):
    """Chance to claim no difference that matters with n pairs that scatter by sd."""
    return power_of(PlannedDesign("paired", n, {"change": sd}, confidence=confidence), difference, within=matters)


def two_groups(sd1, n1, sd2, n2):
    """Treated and untouched articles: two groups of their own number and spread, sd1 the larger."""
    components = {"change": math.sqrt(sd1**2 - sd2**2), "run": sd2 / math.sqrt(2)}
    return PlannedDesign("controls", n1, components, controls=n2)


@pytest.mark.parametrize(("sd", "pairs95", "pairs90"), [(0.1, 4, 4), (0.2, 9, 8), (0.3, 18, 14), (0.5, 44, 36)])
def test_pairs_needed_to_claim_no_difference(sd, pairs95, pairs90):
    """True difference 0, 0.25 W matters, power 80 %: measured with an independent prototype.

    It found 45 for the largest spread; the smooth integral in test_interval_power gives 0.80006 for 44.
    """
    for confidence, pairs in ((0.95, pairs95), (0.90, pairs90)):
        needed = next(n for n in range(3, 100) if no_difference(0.0, 0.25, sd, n, confidence=confidence) >= 0.8)
        assert needed == pairs


@pytest.mark.parametrize("case", [(0.0, 0.5, 0.25, 6, 0.25, 6), (0.1, 0.6, 0.3, 9, 0.2, 4)])
def test_no_difference_of_two_groups_against_simulation(case):
    true, matters, *groups = case
    sd1, n1, sd2, n2 = groups
    rng, trials = np.random.default_rng(5), 20_000
    a, b = rng.normal(true, sd1, (trials, n1)), rng.normal(0, sd2, (trials, n2))
    ends = stats.ttest_ind(a, b, axis=1, equal_var=False).confidence_interval(0.95)
    share = np.mean((ends.low > -matters) & (ends.high < matters))
    chance = power_of(two_groups(*groups), true, within=matters)
    assert share == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / trials))


def test_six_pairs_seldom_claim_no_difference():
    """Spread 0.3 W, 0.25 W matters, no difference: 11 %, measured by simulation with an independent prototype."""
    assert no_difference(0.0, 0.25, 0.3, 6) == pytest.approx(0.11, abs=0.01)


def test_a_wrong_claim_of_no_difference_has_a_small_chance():
    """Schuirmann (1987): each of the two one-sided tests holds its level at the margin itself."""
    for n in (3, 6, 20):
        assert no_difference(0.25, 0.25, 0.1, n) <= 0.025 + 1e-9
        assert power_of(two_groups(0.1, n, 0.1, n), 0.25, within=0.25) <= 0.025 + 1e-9
    assert no_difference(0.25, 0.25, 0.01, 20) == pytest.approx(0.025, abs=1e-6)
    assert no_difference(0.1, 0.3, 0.2, 6) == pytest.approx(no_difference(-0.1, 0.3, 0.2, 6), abs=1e-12)


@pytest.mark.parametrize("n", [3, 4, 6])
@pytest.mark.parametrize("matters", [0.3, 0.4, 0.6])
def test_two_groups_have_nodes_enough(n, matters):
    scatter = [Term(0.25 / math.sqrt(n), n - 1), Term(0.2 / math.sqrt(n), n - 1)]
    many = half_widths(scatter, Term(0.0), student_factor(0.95), nodes=601).chance_within(0.0, matters)
    assert power_of(two_groups(0.25, n, 0.2, n), 0.0, within=matters) == pytest.approx(many, abs=2e-4)
