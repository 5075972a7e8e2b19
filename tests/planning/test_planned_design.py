"""Variance of the planned difference by closed form and simulation, cautions, and what is refused."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.comparison.contrast import crossover_contrast, group_contrast, paired_contrast
from lossstats.corrections.drift import correct_drift
from lossstats.planning.planned_design import PlannedDesign
from lossstats.planning.planning import power_of

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05}


def test_unit_of_pairs_and_groups_by_hand():
    within = 0.1**2 / 3 + 0.05**2 / 6
    paired = PlannedDesign("paired", 5, SPREAD, mounts=3, runs=2)
    assert paired.sd == pytest.approx(math.sqrt(0.1**2 + 2 * within))
    assert (paired.units, paired.degrees_of_freedom) == ((5,), 4)
    groups = PlannedDesign("independent", 5, SPREAD, mounts=3, runs=2)
    assert groups.sd == pytest.approx(math.sqrt(0.3**2 + 0.1**2 / 2 + within))
    assert (groups.units, groups.degrees_of_freedom) == ((5, 5), pytest.approx(8))
    single = PlannedDesign("single", 1, SPREAD, mounts=4, runs=2)
    assert (single.sd, single.units) == (pytest.approx(math.sqrt(0.1**2 + 0.05**2 / 2)), (4, 4))


@pytest.mark.parametrize("design", ["paired", "crossover", "independent", "controls", "single"])
def test_variance_of_the_difference_by_simulation(design):
    """Articles, changes, mounts and runs drawn one by one, the difference formed as the analysis forms it."""
    n, m, r, trials = 6, 2, 3, 20_000
    plan = PlannedDesign(design, 1 if design == "single" else n, SPREAD, mounts=m, runs=r)
    rng = np.random.default_rng(8)

    def cell(true):
        mounts = rng.normal(0, 0.1, (*true.shape, m)) + rng.normal(0, 0.05, (*true.shape, m, r)).mean(-1)
        return true + mounts.mean(-1)

    if design == "single":
        difference = cell(np.zeros(trials)) - cell(np.zeros(trials))
    elif design == "independent":
        spread = math.sqrt(0.3**2 + 0.1**2 / 2)
        values = cell(rng.normal(0, spread, (trials, 2 * n)))
        difference = values @ group_contrast(n, n).weights
    else:
        article, change = rng.normal(0, 0.3, (trials, n)), rng.normal(0, 0.1, (trials, n))
        values = np.hstack([cell(article + change / 2), cell(article - change / 2)])
        turned = np.arange(n) % 2 == 1
        difference = values @ (crossover_contrast(turned) if design == "crossover" else paired_contrast(n)).weights
        if design == "controls":
            still = rng.normal(0, 0.3, (trials, n))
            difference -= (cell(still) - cell(still)).mean(1)
    assert difference.std() == pytest.approx(plan.standard_uncertainty(), rel=0.03)  # six standard errors


def test_controls_of_their_own_number():
    plan = PlannedDesign("controls", 6, SPREAD, controls=3)
    still = 2 * (0.1**2 + 0.05**2)
    assert plan.units == (6, 3)
    assert plan.standard_uncertainty() == pytest.approx(math.sqrt((0.1**2 + still) / 6 + still / 3))


def test_longer_runs_lower_the_readings_alone():
    short = PlannedDesign("paired", 4, {"change": 0.0, "run": 0.03, "readings": 0.04})
    long = PlannedDesign("paired", 4, {"change": 0.0, "run": 0.03, "readings": 0.04}, run_length=4)
    assert short.sd == pytest.approx(math.sqrt(2) * 0.05)
    assert long.sd == pytest.approx(math.sqrt(2) * math.hypot(0.03, 0.02))


def test_shared_errors_do_not_fall_with_the_articles():
    shared = {"gain": (0.01, 30), "zero": 0.2, "rezero": 0.03, "drift": 0.05, "lamp": 0.02}
    few, many = (PlannedDesign("paired", n, SPREAD, shared=shared) for n in (4, 400))
    terms = few.shared_terms(-2.0)
    assert {name: term.standard_uncertainty for name, term in terms.items()} == pytest.approx(
        {"gain": 0.02, "rezero": 0.03 * math.sqrt(2), "drift": 0.05, "lamp": 0.02}  # a common zero cancels
    )
    assert terms["gain"].degrees_of_freedom == 30
    assert many.shared_terms(-2.0) == terms
    assert many.standard_uncertainty() == pytest.approx(math.sqrt(0.03**2 * 2 + 0.05**2 + 0.02**2), rel=0.01)
    assert "rezero" not in PlannedDesign("crossover", 6, SPREAD, shared=shared).shared_terms()


@pytest.mark.parametrize("references", [2, 3, 5])
def test_references_as_the_drift_correction_has_them(references):
    """Two sessions of four articles with references spread evenly: covariance of the correction itself."""
    tests = 4
    times, roles = [], []
    for session in (0.0, 10_000.0):
        at = np.linspace(0, 1000, references)
        mids = np.linspace(1, 999, 400)[np.linspace(10, 389, tests).astype(int)]
        rows = sorted([(t, "reference") for t in at] + [(t, "test") for t in mids])
        times += [session + t for t, _ in rows]
        roles += [role for _, role in rows]
    stretches = ["a"] * (len(times) // 2) + ["b"] * (len(times) // 2)
    found = correct_drift(
        [7.0] * len(times), [0.001] * len(times), times, stretches, roles, reference_repeatability=0.05
    )
    weights = paired_contrast(tests).weights
    true = math.sqrt(weights @ found.covariance @ weights)
    plan = PlannedDesign("paired", tests, SPREAD, references=references, reference_sd=0.05)
    planned = plan.shared_terms()["references"].standard_uncertainty
    assert planned == pytest.approx(true, rel=0.12)  # four articles do not fill the session evenly
    assert not PlannedDesign("controls", tests, SPREAD, references=references, reference_sd=0.05).shared_terms()


def test_inflation_of_a_pilot():
    """Factors 1.73, 1.46, 1.32, 1.21, 1.13: measured with an independent prototype, and by chi-square tables."""
    for dof, factor in ((3, 1.73), (5, 1.46), (8, 1.32), (15, 1.21), (30, 1.13)):
        plan = PlannedDesign("paired", 4, {"change": (0.25, dof)})
        assert plan.inflation == pytest.approx(factor, abs=0.0051)
        assert plan.inflation == pytest.approx(math.sqrt(dof / stats.chi2.ppf(0.2, dof)))
        assert plan.sd == pytest.approx(0.25 * plan.inflation)
    assert PlannedDesign("paired", 4, {"change": (0.25, 3)}, assurance=None).sd == 0.25


def test_several_components_share_their_degrees_of_freedom():
    plan = PlannedDesign("paired", 4, {"change": (0.1, 5), "mount": (0.1, 8)})
    dof = 0.03**2 / (0.01**2 / 5 + 0.02**2 / 8)  # Welch-Satterthwaite
    assert plan.inflation == pytest.approx(math.sqrt(dof / stats.chi2.ppf(0.2, dof)))


@pytest.mark.parametrize(
    ("design", "n", "p"),
    [("paired", 4, 0.125), ("paired", 6, 2 / 64), ("independent", 3, 0.1), ("independent", 4, 2 / 70),
     ("crossover", 7, 1 / 35), ("controls", 5, 2 / 252)],
)  # fmt: skip
def test_smallest_exact_p(design, n, p):
    plan = PlannedDesign(design, n, SPREAD)
    assert plan.smallest_exact_p == pytest.approx(p)
    assert any("cannot reach p = 0.05 in the exact test" in note for note in plan.notes) == (p > 0.05)


def test_cautions_and_renderings():
    single = PlannedDesign("single", 1, SPREAD, mounts=2)
    assert "the unit is the mount: whatever is found holds for this article only" in single.notes
    assert any("too little for a verdict" in note for note in single.notes)
    several = PlannedDesign("several", 6, SPREAD, conditions=4, blocks=False)
    assert any(note.startswith("6 comparisons with intervals by the studentised range") for note in several.notes)
    assert several.smallest_exact_p is None
    with_references = PlannedDesign("paired", 6, SPREAD, references=3, reference_sd=0.05)
    assert not any("drift of the bench" in note for note in with_references.notes)
    assert any("drift of the bench" in note for note in PlannedDesign("paired", 6, SPREAD).notes)
    text = str(with_references)
    assert "shared: references" in text and "smallest exact p" in text
    assert "<th" in with_references._repr_html_() and with_references.to_dict()["articles"] == 6


def test_power_never_falls_with_mounts_runs_or_articles():
    """Change hardly known and mounts well known: the case in which combined degrees of freedom alone mislead."""
    known = {"change": (0.173, 1.7), "mount": (0.052, 6.0), "run": (0.03, 10.0)}
    for design in ("paired", "independent", "controls"):
        components = known | ({"article": (0.3, 5.0)} if design == "independent" else {})
        sizes = [(n, m, r) for n in (6, 12) for m in (1, 2, 6) for r in (1, 4)]
        power = {
            size: power_of(PlannedDesign(design, size[0], components, mounts=size[1], runs=size[2]), 0.25)
            for size in sizes
        }
        for (n, m, r), found in power.items():
            more = [power[size] for size in sizes if size[0] >= n and size[1] >= m and size[2] >= r]
            # Two groups that vary more unequally have fewer degrees of freedom: a real effect, and a small one.
            assert min(more) >= found - (1e-9 if design == "paired" else 0.001)
