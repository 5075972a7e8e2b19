"""Spread by source: equations against the analysis of variance, unbiased by simulation, folders, bad input."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from lossstats.components import variance_components
from lossstats.pilot import MeanSquare, components_from_trials, mean_squares, planning_components, pool, solve
from lossstats.planned_design import PlannedDesign
from lossstats.simulate import Bench, Noise, Readings, lay_out, simulate_trial
from lossstats.trial import read_trial

EXAMPLES = Path(__file__).parents[1] / "example_runs"
SD = {"article": 0.3, "change": 0.15, "mount": 0.1, "run": 0.05}


def cells(rng, layout, *, blocks=True):
    """Levels by article and condition; layout: for each article the numbers of runs of its mounts."""
    found = {}
    for number, runs in enumerate(layout):
        level = rng.normal(0, SD["article"])
        conditions = ("A", "B") if blocks else ("AB"[number % 2],)
        for condition in conditions:
            own = level + rng.normal(0, SD["change"] / math.sqrt(2))
            found[f"K{number}", condition] = [
                list(own + rng.normal(0, SD["mount"]) + rng.normal(0, SD["run"], r)) for r in runs
            ]
    return found


def test_balanced_pairs_are_the_paired_t_and_nested_anova():
    table = cells(np.random.default_rng(3), [(2, 2)] * 5)
    squares = mean_squares(table, blocks=True)
    means = {key: np.mean(value) for key, value in table.items()}
    differences = [means[f"K{i}", "A"] - means[f"K{i}", "B"] for i in range(5)]
    assert squares["change"].value == pytest.approx(np.var(differences, ddof=1))
    assert (squares["change"].degrees_of_freedom, squares["mount"].degrees_of_freedom) == (4, 10)
    assert squares["change"].expected == {"change": 1, "mount": 1, "run": 0.5}
    found, _ = solve(squares)
    sums = {name: square.value for name, square in squares.items()}
    assert found["change"][0] ** 2 == pytest.approx(sums["change"] - sums["mount"])  # 2 MS of mount means / 2 mounts
    assert found["mount"][0] ** 2 == pytest.approx(sums["mount"] - sums["run"] / 2)
    dof = (sums["change"] - sums["mount"]) ** 2 / (sums["change"] ** 2 / 4 + sums["mount"] ** 2 / 10)  # Satterthwaite
    assert found["change"].degrees_of_freedom == pytest.approx(dof)


@pytest.mark.parametrize("layout", [[(2, 2)] * 4, [(1,), (2, 2, 1), (3, 1)]])
def test_runs_and_mounts_as_in_the_components_of_a_nested_table(layout):
    table = cells(np.random.default_rng(2), layout)
    rows = [(a + c, m, v) for (a, c), mounts in table.items() for m, runs in enumerate(mounts) for v in runs]
    nested = variance_components(
        dict(zip(("article", "mount", "value"), map(list, zip(*rows, strict=True)), strict=True)), ["article", "mount"]
    )
    found, _ = solve({k: v for k, v in mean_squares(table, blocks=True).items() if k in ("run", "mount")})
    assert found["run"][0] == pytest.approx(nested.sd["residual"])
    if layout[0] == (2, 2):
        assert found["mount"][0] == pytest.approx(nested.sd["mount"])


@pytest.mark.parametrize("blocks", [True, False])
@pytest.mark.parametrize("layout", [[(2, 2)] * 6, [(1,), (2, 2, 1), (3, 1), (1, 1), (2,), (1, 2)]])
def test_unbiased(layout, blocks):
    rng, trials = np.random.default_rng(4), 400
    found = []
    for _ in range(trials):
        squares = mean_squares(cells(rng, layout, blocks=blocks), blocks=blocks)
        names = [name for name in ("run", "mount", "change", "article") if name in squares]
        system = [[squares[a].expected.get(b, 0.0) for b in names] for a in names]
        found.append(np.linalg.solve(system, [squares[name].value for name in names]))
    mean, error = np.mean(found, axis=0), np.std(found, axis=0) / math.sqrt(trials)
    true = [SD[name] ** 2 for name in names]
    if not blocks:
        true[-1] += SD["change"] ** 2 / 2  # what an article adds in one condition
    assert (np.abs(mean - true) < 4 * error).all()


def test_a_negative_variance_is_shown_as_0_and_said():
    squares = {"run": MeanSquare(1.0, 8, {"run": 1.0}), "mount": MeanSquare(0.4, 6, {"mount": 1.0, "run": 0.5})}
    found, notes = solve(squares)
    assert found["mount"] == (0.0, 6) and found["run"] == (1.0, 8)
    assert notes == ("mount: cannot be told from 0 with 6 degrees of freedom; that does not make it 0",)


def test_pooling_by_degrees_of_freedom():
    few, many = MeanSquare(1.0, 2, {"run": 1.0}), MeanSquare(4.0, 6, {"run": 0.5})
    assert pool([{"run": few}, {"run": many}, {}])["run"] == MeanSquare(3.25, 8, {"run": 0.625})


def test_example_with_remounts():
    """Invented trial with known truth: change 0.1, mount 0.06 with run 0.02, article 0.3 W; each within its 99 % range."""
    found = components_from_trials(EXAMPLES / "flour_dust")
    assert set(found.components) == {"mount", "change", "article", "readings"}
    for name, true in (("mount", math.hypot(0.06, 0.02)), ("change", 0.1), ("article", 0.3)):
        sd, dof = found.components[name]
        low, high = (sd * math.sqrt(dof / q) for q in stats.chi2.ppf([0.995, 0.005], dof))
        assert low < true < high
    assert found.reference_sd == pytest.approx(0.06) and found.reference_dof == 20  # stated in its trial.toml
    assert "no run was repeated in a mount: mount contains run" in found.notes
    assert found.components["readings"].standard_uncertainty < 0.02
    assert "plan with" in str(found) and "<table" in found._repr_html_()
    assert found.table.planning_sd["change"] > found.table.sd["change"]


def test_what_it_finds_goes_into_a_plan():
    found = components_from_trials(EXAMPLES / "flour_dust")
    plan = PlannedDesign("paired", 6, found.components, mounts=2, references=4, reference_sd=found.reference_sd)
    assert plan.inflation > 1
    sd, dof = found.components["change"]
    assert found.planning_sd()["change"] == pytest.approx(sd * math.sqrt(dof / stats.chi2.ppf(0.2, dof)))


def test_refits_of_the_reference_stand_in_for_mounts():
    found = components_from_trials(read_trial(EXAMPLES / "four_oils"))
    assert found.notes[0].startswith("no mount was repeated: refit and run of the reference article stand in")
    sd, readings = (found.components[name].standard_uncertainty for name in ("mount", "readings"))
    assert math.hypot(sd, readings) == pytest.approx(0.05) and found.components[
        "mount"
    ].degrees_of_freedom == pytest.approx(20)


def quick(design, rng, **keys):
    plan = lay_out(design, **keys)
    quiet = Readings(samples=30, noise=Noise(0.002))
    plan = replace(plan, readings=quiet, bench=Bench(), articles=replace(plan.articles, mount_sd=0.1, run_sd=0.0))
    trial, _ = simulate_trial(plan, rng=rng)
    settling = replace(trial.settings.settling, still_moving="use with a note")
    return replace(trial, settings=replace(trial.settings, settling=settling))


def test_trials_are_pooled_and_the_change_needs_pairs():
    groups = quick("independent", 1, articles=4, mounts=2, references_every=None)
    alone = components_from_trials(groups)
    assert "change" not in alone.components and "half the variance of their change" in alone.notes[-1]
    with pytest.raises(ValueError, match="'change' among them"):
        PlannedDesign("paired", 4, alone.components)
    controlled = quick("controls", 2, articles=3, controls=3, mounts=2, references_every=None)
    both = components_from_trials([groups, controlled])
    assert len(both.trials) == 2 and len(controlled.settings.comparison.controls) == 3
    assert both.components["mount"].degrees_of_freedom == pytest.approx(8 + 12)
    alone_controls = components_from_trials(controlled).components
    assert "change" in alone_controls and alone_controls["mount"].degrees_of_freedom == pytest.approx(12)


def test_components_of_a_nested_table_for_a_plan():
    rng = np.random.default_rng(6)
    rows = {"article": np.repeat(list("ABCD"), 4), "mount": np.tile([1, 1, 2, 2], 4), "value": rng.normal(size=16)}
    nested = variance_components(rows, ["article", "mount"])
    planned = planning_components(nested)
    assert planned == {
        "article": nested.planning_sd("article"), "mount": nested.planning_sd("mount"), "run": nested.planning_sd("residual"),
    }  # fmt: skip
    assert min(planned.values()) > 0
    alone = planning_components(variance_components(rows, ["article"]), assurance=0.9)
    assert set(alone) == {"article", "mount"}
    with pytest.raises(ValueError, match="found: the level 'day'; accepted: article, mount"):
        planning_components(variance_components({**rows, "day": rows["article"]}, ["day"]))


def test_bad_input_is_named():
    with pytest.raises(ValueError, match="found nothing repeated, neither runs nor mounts nor articles"):
        components_from_trials(EXAMPLES / "one_chain")
    with pytest.raises(ValueError, match="folders_or_trials: found none; accepted: at least one trial"):
        components_from_trials([])
    trial = quick("independent", 1, articles=2, references_every=None)
    other = replace(trial, settings=replace(trial.settings, trial=replace(trial.settings.trial, unit="kW")))
    with pytest.raises(ValueError, match="found the units W, kW; accepted: one and the same"):
        components_from_trials([trial, other])
