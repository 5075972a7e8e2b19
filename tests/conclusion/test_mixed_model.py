"""The cross-check by a mixed model, against a textbook, closed forms for balanced data, and simulated truth."""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.mixed_model import mixed_model_check
from lossstats.simulator.examples import example_trial
from lossstats.simulator.simulate import Articles, Bench, Display, Noise, Readings, lay_out, simulate_trial

MACHINES = Path(__file__).parents[1] / "published" / "data" / "machines.csv"


def machines():
    table = pd.read_csv(MACHINES, comment="#").rename(
        columns={"Worker": "article", "Machine": "condition", "score": "value"}
    )
    return table.assign(mount=table.groupby(["article", "condition"]).cumcount().astype(str))


@pytest.mark.parametrize(("after", "effect"), [("B", 7.9667), ("C", 13.9167)])
def test_machines(after, effect):
    """Pinheiro and Bates (2000), Mixed-Effects Models in S and S-PLUS, 1.3: fm2Machine, worker and machine in worker.

    The fixed effects are read there; the standard deviations are those of R nlme, recomputed. The standard error is
    their closed form for balanced data.
    """
    found = mixed_model_check(machines(), before="A", after=after)
    assert found.interior and (found.runs, found.articles) == (54, 6)
    assert -found.saving == pytest.approx(effect, abs=0.00005)
    sds = found.sds
    assert sds["article"] == pytest.approx(4.78105, rel=2e-4)
    assert sds["change of an article"] == pytest.approx(3.729532, rel=2e-4)
    assert sds["mount, run"] == pytest.approx(0.9615771, rel=2e-4)
    assert found.standard_error == pytest.approx(math.sqrt(2 * (3.729532**2 + 0.9615771**2 / 3) / 6), rel=2e-4)
    assert found.planned_saving is None and "the planned comparison" not in found.sentence


def paired_t(table, before="before", after="after"):
    """Mean of the paired differences of the articles' means, and its standard error."""
    means = table.groupby(["article", "mount", "condition"])["value"].mean().groupby(["article", "condition"]).mean()
    d = means.unstack()[before] - means.unstack()[after]
    return d.mean(), d.std() / math.sqrt(len(d))


def test_machines_two_at_a_time_are_the_paired_t():
    table = machines()
    table = table[table["condition"] != "C"]
    found = mixed_model_check(table)
    assert (found.saving, found.standard_error) == pytest.approx(paired_t(table, "A", "B"), rel=1e-4)


def balanced(rng, articles=6, mounts=2, runs=1, article_sd=0.3, change_sd=0.12, mount_sd=0.06, run_sd=0.02):
    rows = []
    for a in range(articles):
        level = rng.normal(6.5, article_sd)
        for condition, shift in (("before", 0.0), ("after", -0.4)):
            own = level + shift + rng.normal(0, change_sd / math.sqrt(2))
            for m in range(mounts):
                mounted = own + rng.normal(0, mount_sd)
                rows += [(f"K{a}", condition, str(m), mounted + rng.normal(0, run_sd)) for _ in range(runs)]
    return pd.DataFrame(rows, columns=["article", "condition", "mount", "value"])


def variance_components(table, mounts):
    """Balanced two-level components by their mean squares (textbook), article and change of an article."""
    cells = table.groupby(["article", "condition"])["value"]
    within = cells.var().mean()
    means = cells.mean().unstack()
    change = (means["before"] - means["after"]).var() / 2
    return means.mean(axis=1).var() - change / 2, change - within / mounts, within


def test_balanced_data_give_the_paired_t_or_nothing():
    """Closed form: with all components above 0, REML is the paired t on the articles' means; else no number."""
    rng = np.random.default_rng(7)
    interior = 0
    for _ in range(15):
        table = balanced(rng, change_sd=rng.choice([0.0, 0.05, 0.15]), article_sd=rng.choice([0.0, 0.3]))
        found = mixed_model_check(table)
        article, change, within = variance_components(table, 2)
        if min(article, change) <= 0:
            assert not found.interior and found.saving is None and found.standard_error is None
        elif found.interior:
            interior += 1
            assert (found.saving, found.standard_error) == pytest.approx(paired_t(table), rel=1e-3)
            assert found.sds["change of an article"] == pytest.approx(math.sqrt(change), rel=5e-3)
            assert found.sds["article"] == pytest.approx(math.sqrt(article), rel=5e-3)
    assert 3 <= interior <= 12


def test_one_run_a_cell_leaves_the_change_in_the_residual():
    table = balanced(np.random.default_rng(1), mounts=1)
    found = mixed_model_check(table)
    assert list(found.sds) == ["article", "change of an article, mount, run"]
    assert (found.saving, found.standard_error) == pytest.approx(paired_t(table), rel=1e-4)


def test_all_levels_are_told_apart_where_each_is_repeated():
    table = balanced(np.random.default_rng(11), articles=20, mounts=3, runs=3, change_sd=0.2, run_sd=0.03)
    found = mixed_model_check(table)
    wanted = {"article": 0.3, "change of an article": 0.2 / math.sqrt(2), "mount": 0.06, "run": 0.03}
    assert list(found.sds) == list(wanted)
    # Truth known: chi-squared limits of these degrees of freedom, generously.
    assert found.sds["run"] == pytest.approx(0.03, rel=0.12) and found.sds["mount"] == pytest.approx(0.06, rel=0.25)
    assert found.sds["article"] == pytest.approx(0.3, rel=0.5)
    assert (found.saving, found.standard_error) == pytest.approx(paired_t(table), rel=1e-3)


def test_independent_groups_of_equal_spread():
    """Closed form: balanced and interior, the fixed effect is the difference of means, its error pooled."""
    table = balanced(np.random.default_rng(3), articles=8, mounts=3)
    table["article"] = table["article"] + table["condition"]
    found = mixed_model_check(table)
    means = table.groupby(["condition", "article"])["value"].mean()
    before, after = means["before"], means["after"]
    assert list(found.sds) == ["article", "mount, run"]
    assert found.saving == pytest.approx(before.mean() - after.mean(), rel=1e-6)
    assert found.standard_error == pytest.approx(math.sqrt((before.var() + after.var()) / 8), rel=1e-3)


def test_flour_dust():
    """One mount of one chain left out: nearly balanced, so nearly the planned estimate."""
    result = analyse(example_trial("flour_dust"))
    found = mixed_model_check(result)
    assert found.interior and (found.runs, found.articles) == (23, 6)
    assert found.planned_saving == result.compared.difference.value
    assert found.planned_scatter == pytest.approx(result.budget.table.loc["scatter", "contribution"])
    assert found.saving == pytest.approx(found.planned_saving, abs=0.05 * found.planned_scatter)
    assert found.standard_error == pytest.approx(found.planned_scatter, rel=0.05)
    assert found.sentence == (
        "A mixed model of the runs gives a saving of 0.428 W (standard error 0.055 W), the planned comparison 0.429 W "
        "(0.054 W from scatter): 0.01 standard errors apart. It knows the scatter of the runs alone, neither gain nor "
        "shared drift, and is a check, not a claim."
    )


def simulated(design, better="lower", **options):
    plan = lay_out(design, references_every=None, **options)
    articles = Articles(change_sd=0.2, mount_sd=0.05)
    readings = Readings(samples=40, noise=Noise(0.002), display=Display(0.001))
    trial, _ = simulate_trial(replace(plan, articles=articles, readings=readings, bench=Bench()), rng=6)
    return replace(trial, settings=replace(trial.settings, trial=replace(trial.settings.trial, better=better)))


@pytest.mark.parametrize("better", ["lower", "higher"])
def test_controls_are_taken_off(better):
    result = analyse(simulated("controls", better, articles=5, controls=5, mounts=2))
    found = mixed_model_check(result)
    assert found.interior
    # Balanced, as many controls as treated: the pooled error is that of Welch.
    assert found.saving == pytest.approx(result.compared.difference.value, abs=1e-6)
    assert found.standard_error == pytest.approx(found.planned_scatter, rel=1e-3)


def test_an_article_that_lost_a_condition_is_not_in_the_model():
    trial = simulated("paired", articles=5, mounts=2)
    result = analyse(trial)
    runs = tuple(replace(r, used=r.article != "K02" or r.condition == "before") for r in result.runs)
    units = tuple(u for u in result.units if u.unit != "K02")
    assert mixed_model_check(replace(result, runs=runs, units=units)).articles == 4


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda: analyse(example_trial("one_chain")), "one article has no scatter between articles"),
        (lambda: balanced(np.random.default_rng(1), articles=2), r"found 2 article\(s\); at least 3 are needed"),
        (lambda: analyse(simulated("independent", articles=4)), "one run an article: nothing tells the article from its run"),
        (lambda: balanced(np.random.default_rng(1), mount_sd=0.0, run_sd=0.0), "the runs do not scatter"),
        (lambda: balanced(np.random.default_rng(2), change_sd=0.0, mount_sd=0.3), "on the boundary"),
    ],
)  # fmt: skip
def test_where_there_is_no_number_there_is_a_reason(make, why):
    found = mixed_model_check(make())
    assert not found.interior and found.saving is None and found.standard_error is None and not found.sds
    assert re.search(why, found.why_not)
    assert (
        found.sentence == f"No cross-check by a mixed model: {found.why_not}. The planned comparison does not need it."
    )


@pytest.mark.parametrize(
    ("change", "options", "text"),
    [
        ({"columns": ["article", "condition", "value"]}, {}, "table: found no column 'mount'; accepted: a row a run with the columns article, condition, mount, value"),
        ({"nan": True}, {}, "table, row 3, value: found nan; accepted: finite numbers"),
        ({}, {"before": "A", "after": "after"}, "before, after: found 'A', 'after'; accepted: two of 'before', 'after'"),
        ({}, {"before": "after"}, "before, after: found 'after', None; accepted: two of"),
    ],
)  # fmt: skip
def test_a_table_with_faults_is_refused(change, options, text):
    table = balanced(np.random.default_rng(1))
    if change.get("nan"):
        table.loc[2, "value"] = np.nan
    with pytest.raises(ValueError, match=text):
        mixed_model_check(table[change.get("columns", table.columns)], **options)


def test_renderings():
    found = mixed_model_check(machines(), before="A", after="B")
    assert str(found).startswith("Cross-check by a mixed model\n  in words")
    assert "sd, change of an article" in found._repr_html_() and found.to_dict()["interior"] is True
