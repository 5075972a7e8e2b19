"""The whole job on simulated trials of every design."""

from dataclasses import replace

import numpy as np
import pytest

from lossstats.comparison.comparison import compare_pairs
from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.conclusion import NotSettledError
from lossstats.simulator.examples import example_trial
from lossstats.simulator.simulate import (
    Approach,
    Articles,
    Bench,
    Display,
    Faults,
    LinearDrift,
    Noise,
    Readings,
    declare,
    lay_out,
    lay_out_blocks,
    simulate_trial,
)

QUIET = Readings(samples=40, interval_s=20.0, noise=Noise(correlated_sd=0.002, phi=0.3), display=Display(step=0.001), approach=Approach((0.5,), (60.0,)))  # fmt: skip
EXACT = Articles(saving=0.5, article_sd=0.3, change_sd=0.05, mount_sd=0.0, run_sd=0.0)


def trial_of(design, change=None, rng=1, **options):
    plan = replace(lay_out(design, **options), articles=EXACT, readings=QUIET, bench=Bench(day_shifts=(0.0, 0.1)))
    settings = declare(plan)
    settings = replace(settings, drift=replace(settings.drift, reference_repeatability=0.002))
    settings = replace(settings, comparison=replace(settings.comparison, difference_that_matters=0.25))
    plan = replace(plan, settings=settings)
    return simulate_trial(change(plan) if change else plan, rng=rng)


@pytest.mark.parametrize(
    ("design", "options"),
    [("paired", {"articles": 4}), ("independent", {"articles": 5}), ("controls", {"articles": 4, "controls": 3}), ("single", {"mounts": 4})],
)  # fmt: skip
def test_the_truth_is_found_in_every_design(design, options):
    trial, truth = trial_of(design, **options)
    result = analyse(trial)
    c = result.comparison
    assert c.design == design
    wanted = truth.saving if design == "independent" else truth.saving_of_articles
    # Articles, their changes, readings: what is left is a few mW of reading noise and the shared drift term.
    assert c.difference.value == pytest.approx(wanted, abs=0.35 if design == "independent" else 0.01)
    assert c.difference.low < wanted < c.difference.high
    assert result.levels["corrected"].notna().sum() == sum(r.role != "zero" for r in trial.runs)


def test_day_shift_is_removed_by_references_and_not_without():
    trial, truth = trial_of("paired", articles=5)
    without = replace(trial, settings=replace(trial.settings, drift=replace(trial.settings.drift, references="ignore")))
    assert analyse(trial).comparison.difference.value == pytest.approx(truth.saving_of_articles, abs=0.01)
    uncorrected = analyse(without)
    assert uncorrected.comparison.difference.value == pytest.approx(truth.saving_of_articles - 0.1, abs=0.01)
    assert any("cannot be told apart" in note for note in uncorrected.notes)
    assert any("bench or the passing of time" in line for line in uncorrected.statement.not_claimed)


def slow_run(plan, name="r02"):
    runs = tuple(replace(r, approach=Approach((1.0,), (900.0,))) if r.name == name else r for r in plan.runs)
    return replace(plan, runs=runs)


def with_rule(trial, rule):
    return replace(
        trial, settings=replace(trial.settings, settling=replace(trial.settings.settling, still_moving=rule))
    )


def test_a_moving_run_is_refused_by_default():
    trial, _ = trial_of("paired", slow_run, articles=3, mounts=2)
    with pytest.raises(
        NotSettledError,
        match=r"still moving at the end of the run: found r02 .*accepted: longer runs, or a rule declared",
    ) as caught:
        analyse(trial)
    assert caught.value.runs == ("r02",)


def test_a_moving_run_left_out_or_used_stands_in_the_result():
    trial, _ = trial_of("paired", slow_run, articles=3, mounts=2)
    left_out = analyse(with_rule(trial, "leave out"))
    assert not left_out.levels.loc["r02", "used"]
    assert left_out.notes[0] == "1 run left out by the declared rule, still moving at the end: r02"
    assert next(u for u in left_out.units if u.unit == "K01" and u.condition == "before").mounts == 1
    used = analyse(with_rule(trial, "use with a note"))
    assert used.levels.loc["r02", "used"]
    assert any("used although still moving" in note and "r02" in note for note in used.notes)
    assert any("r02" in line for line in used.statement.notes)


def test_an_article_that_loses_a_condition_is_named():
    trial, _ = trial_of("paired", slow_run, articles=4, mounts=1)
    result = analyse(with_rule(trial, "leave out"))
    assert result.comparison.n == (3,)
    assert any("unit left out: K01: no usable run in one condition" in note for note in result.notes)


def spiked(plan):
    runs = tuple(replace(r, faults=Faults(spikes=((20, 0.2),))) if r.name == "r03" else r for r in plan.runs)
    return replace(plan, runs=runs)


def test_flagged_samples_are_kept_unless_declared():
    trial, _ = trial_of("paired", spiked, articles=3)
    kept = analyse(trial)
    row = kept.levels.loc["r03"]
    assert row["flagged"] == 1
    assert row["level"] != row["level_without_flagged"]
    rule = replace(trial.settings.screening, flagged_samples="leave out")
    dropped = analyse(replace(trial, settings=replace(trial.settings, screening=rule)))
    assert dropped.levels.loc["r03", "level"] == pytest.approx(row["level_without_flagged"], abs=1e-12)


def test_one_article_with_one_mount_is_a_description():
    trial, _ = trial_of("single", mounts=1, references_every=None)
    result = analyse(trial)
    assert result.comparison.difference is None
    assert result.verdict.kind == "no verdict"
    assert result.budget.table.empty and result.budget.why_none == result.comparison.why_no_interval


def test_one_article_with_known_repeatability():
    trial, truth = trial_of("single", mounts=2)
    keys = replace(
        trial.settings.comparison, repeatability=0.05, repeatability_dof=12, repeatability_source="check runs"
    )
    result = analyse(replace(trial, settings=replace(trial.settings, comparison=keys)))
    assert result.comparison.difference.components["scatter"] == pytest.approx(0.05)
    assert "check runs" in str(result.statement)


def test_the_comparison_is_the_public_one_on_the_unit_table():
    result = analyse(example_trial("flour_dust"))
    table = result.unit_table.loc["treated"]
    plain = compare_pairs(table["dusty"].to_dict(), table["cleaned"].to_dict())
    assert result.comparison.difference.value == pytest.approx(plain.difference.value, abs=1e-12)
    assert result.comparison.difference.components["scatter"] == pytest.approx(plain.difference.standard_uncertainty)


def test_budget_adds_up():
    result = analyse(example_trial("flour_dust"))
    table = result.budget.table
    total = np.sqrt((table["contribution"] ** 2).sum())
    assert total == pytest.approx(result.comparison.difference.standard_uncertainty)
    total = np.sqrt((table["percent_contribution"] ** 2).sum())
    assert total == pytest.approx(result.comparison.percent.standard_uncertainty)
    assert table["share"].sum() == pytest.approx(1) and table["percent_share"].sum() == pytest.approx(1)
    assert set(table.index[table["contribution"] > 0]) == {"scatter", "gain", "drift"}


def test_higher_is_better():
    trial, truth = trial_of("paired", articles=4)
    flipped = replace(trial, settings=replace(trial.settings, trial=replace(trial.settings.trial, better="higher")))
    assert analyse(flipped).comparison.difference.value == pytest.approx(-analyse(trial).comparison.difference.value)


def test_progress_is_called():
    seen = []
    trial, _ = trial_of("paired", articles=3)

    def watch(items):
        for item in items:
            seen.append(item)
            yield item

    analyse(trial, progress=watch)
    assert len(seen) == len(trial.runs)


def several(blocks, control, rng=1):
    plan = lay_out_blocks(["A", "B", "C"], articles=5, savings=(0.5, 0.1), rng=3)
    if not blocks:
        runs = (replace(r, article=r.article + r.condition) if r.role == "test" else r for r in plan.runs)
        plan = replace(plan, runs=tuple(runs))
    articles = replace(EXACT, other_savings=(0.1,))
    plan = replace(plan, articles=articles, readings=QUIET, bench=Bench((LinearDrift(0.02),)))
    settings = declare(plan)
    keys = replace(settings.comparison, difference_that_matters=0.25, control=control)
    drift = replace(settings.drift, reference_repeatability=0.002)
    return simulate_trial(replace(plan, settings=replace(settings, comparison=keys, drift=drift)), rng=rng)


@pytest.mark.parametrize(("blocks", "control"), [(True, "A"), (True, None), (False, "B")])
def test_several_conditions(blocks, control):
    trial, truth = several(blocks, control)
    result = analyse(trial)
    assert result.comparison is None and result.ranking.blocks == blocks and result.ranking.control == control
    assert len(result.ranking.comparisons) == (2 if control else 3)
    for pair in result.ranking.comparisons:
        articles = [levels for levels in truth.articles.values() if {pair.first, pair.second} & set(levels)]
        mean = {c: np.mean([a[c] for a in articles if c in a]) for c in (pair.first, pair.second)}
        assert pair.difference == pytest.approx(mean[pair.first] - mean[pair.second], abs=0.01)
    assert result.verdict == result.ranking.leading.verdict
    assert sum(result.budget.table["share"]) == pytest.approx(1.0)
    assert list(result.unit_table.columns) == ["A", "B", "C"]
    assert len(result.unit_table) == (5 if blocks else 15)
    with pytest.raises(ValueError, match="result: found several conditions; accepted: a result of two, or its ranking"):
        result.compared  # noqa: B018


def test_several_conditions_lose_an_article_that_lost_a_run():
    trial, _ = several(blocks=True, control="A")
    moving = replace(trial.runs[1], values=trial.runs[1].values + np.linspace(0.8, 0.0, len(trial.runs[1].values)))
    settling = replace(trial.settings.settling, still_moving="leave out")
    runs = (trial.runs[0], moving, *trial.runs[2:])
    result = analyse(replace(trial, runs=runs, settings=replace(trial.settings, settling=settling)))
    assert result.ranking.n == {"A": 4, "B": 4, "C": 4}
    assert any(f"unit left out: {moving.article}" in note for note in result.statement.notes)


def test_crossover_by_the_order_in_the_run_sheet():
    """Half the articles in the other order: a step between the bench days cancels without any reference run."""
    trial, truth = trial_of("paired", articles=6, references_every=None)
    turned = {"K02", "K04", "K06"}
    swap = {"before": "after", "after": "before"}
    runs = []
    for planned in trial.runs:
        run = planned
        if run.article in turned:  # the readings of the other condition, a day earlier or later, with its day shift
            other = next(r for r in trial.runs if r.article == run.article and r.condition == swap[run.condition])
            shift = 0.1 if run.condition == "after" else -0.1
            run = replace(run, condition=swap[run.condition], values=other.values + shift, time_s=other.time_s)
        runs.append(run)
    keys = replace(trial.settings.comparison, design="crossover")
    result = analyse(replace(trial, runs=tuple(runs), settings=replace(trial.settings, comparison=keys)))
    c = result.comparison
    assert (c.design, c.n) == ("crossover", (3, 3))
    assert c.difference.value == pytest.approx(truth.saving_of_articles, abs=0.01)
    assert c.period.value == pytest.approx(-0.1, abs=0.06)
    assert "three articles before first and three articles after first" in str(result.statement).replace("\n", " ")
