"""Influence of single units, against analyses of trials without them."""

import json
from dataclasses import replace
from functools import cache

import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.leave_out import leave_one_out
from lossstats.simulator.examples import example_trial
from lossstats.simulator.simulate import Articles, Display, Noise, Readings, lay_out, lay_out_blocks, simulate_trial

READINGS = Readings(samples=40, noise=Noise(0.002), display=Display(0.001))
LAYOUTS = {
    "independent": ("independent", {"articles": 4, "references_every": 8}),
    "controls": ("controls", {"articles": 4, "controls": 3, "references_every": 7}),
    "mounts": ("single", {"mounts": 4, "references_every": None}),
}


def trial_of(design, model=None, shift=None, matters=0.25, **options):
    plan = replace(lay_out(design, **options), articles=model or Articles(change_sd=0.05), readings=READINGS)
    trial, _ = simulate_trial(plan, rng=4)
    keys = replace(trial.settings.comparison, difference_that_matters=matters)
    runs = tuple(replace(r, values=r.values + (shift or {}).get((r.article, r.condition), 0.0)) for r in trial.runs)
    return replace(trial, runs=runs, settings=replace(trial.settings, comparison=keys))


@cache
def simulated(name):
    return example_trial(name) if name == "flour_dust" else trial_of(LAYOUTS[name][0], **LAYOUTS[name][1])


@cache
def influence(name):
    return leave_one_out(simulated(name))


def without(trial, left_out):
    """The trial without a unit: an article, or a mount and its condition."""
    unit, _, condition = left_out.partition(" ")
    article, _, mount = unit.partition("/")

    def stays(run):
        named = run.article == article and (not mount or run.mount == mount) and condition in {"", run.condition}
        return run.role != "test" or not named

    return replace(trial, runs=tuple(run for run in trial.runs if stays(run)))


@pytest.mark.parametrize("name", ["flour_dust", *LAYOUTS])
def test_each_row_is_the_analysis_without_the_unit(name):
    trial = simulated(name)
    found = influence(name)
    whole = analyse(trial).compared
    assert (found.planned.saving, found.planned.low) == (whole.difference.value, whole.difference.low)
    assert len(found.rows) == {"flour_dust": 6, "independent": 8, "controls": 7, "mounts": 8}[name]
    assert not found.not_left_out and not found.why_none
    for row in found.rows[::4]:  # the whole job each time
        c = analyse(without(trial, row.left_out)).compared
        wanted = (c.difference.value, c.difference.low, c.difference.high, c.percent.value, c.percent.high)
        assert (row.saving, row.low, row.high, row.percent, row.percent_high) == pytest.approx(wanted, abs=1e-12)
        assert row.verdict == c.verdict.words and row.changed == (c.verdict.words != whole.verdict.words)
    for row in found.rows:
        assert row.shift == pytest.approx(row.saving - whole.difference.value, abs=1e-15)
    assert found.most == max(found.rows, key=lambda row: abs(row.shift)).left_out
    assert found.hangs_on == tuple(row.left_out for row in found.rows if row.changed)


def test_the_article_that_makes_the_difference_is_named():
    """Five articles that save nothing and one that saves much: the verdict is that one's."""
    same = Articles(saving=0.0, article_sd=0.3, change_sd=0.01, mount_sd=0.0, run_sd=0.0)
    trial = trial_of("paired", same, {("K04", "before"): 0.9}, matters=0.15, articles=6)
    found = leave_one_out(trial)
    assert found.most == "K04" and found.hangs_on == ("K04",)
    row = next(row for row in found.rows if row.left_out == "K04")
    assert row.saving == pytest.approx(0.0, abs=0.03) and found.planned.saving == pytest.approx(0.15, abs=0.03)
    assert found.sentences[0].startswith("Without K04 the saving changes most: 0.1")
    assert found.sentences[1].startswith(
        f"The planned verdict ({found.planned.verdict}) hangs on K04: without K04 it is: makes no difference that matters"
    )
    assert "In kind" not in found.sentences[1]


def test_a_verdict_that_hangs_on_nobody():
    even = Articles(saving=0.5, change_sd=0.01, mount_sd=0.0, run_sd=0.0)
    found = leave_one_out(trial_of("paired", even, articles=6, matters=0.25))
    assert found.hangs_on == ()
    assert found.sentences[1] == "The planned verdict (saves more than 0.25 W) stands without any one of them."


def test_in_flour_dust_the_size_hangs_on_single_chains_and_the_saving_on_none():
    found = influence("flour_dust")
    assert found.most == "K04" and len(found.hangs_on) == 4
    assert {row.kind for row in found.rows} == {"saves"}
    assert found.sentences[1].endswith("it is: saves. In kind (saves) it is the same without any of them.")


def test_two_that_are_left_give_no_verdict():
    found = leave_one_out(trial_of("paired", articles=3))
    assert [row.kind for row in found.rows] == ["no verdict"] * 3
    assert found.sentences[1].endswith(
        "cannot do without any one of them: two units give an interval, but too little for a verdict."
    )


@pytest.mark.parametrize(
    ("design", "options", "text"),
    [
        ("paired", {"articles": 2}, "Nothing was left out: found 2 article(s); at least 3 in a condition are needed, so that two stay."),
        ("single", {"mounts": 1}, "Nothing was left out: found 1 and 1 mount(s); at least 3 in a condition are needed, so that two stay."),
        ("independent", {"articles": 2}, "Nothing was left out: found 2 and 2 article(s); at least 3"),
    ],
)  # fmt: skip
def test_too_few_units_say_so(design, options, text):
    found = leave_one_out(trial_of(design, **options))
    assert not found.rows and not found.most and found.sentences[0].startswith(text)
    assert len(found.table) == 1
    assert all("at least 3 are needed to spare one" in item.reason for item in found.not_left_out)


def test_a_side_too_small_to_spare_one_is_listed():
    found = leave_one_out(trial_of("controls", articles=4, controls=2))
    assert [row.left_out for row in found.rows] == ["K01", "K02", "K03", "K04"]
    assert [(item.choice, item.reason) for item in found.not_left_out] == [
        ("C01", "found 2 untouched unit(s); at least 3 are needed to spare one"),
        ("C02", "found 2 untouched unit(s); at least 3 are needed to spare one"),
    ]


def test_several_conditions_are_refused():
    trial, _ = simulate_trial(replace(lay_out_blocks("ABC", articles=3, rng=1), readings=READINGS), rng=1)
    with pytest.raises(ValueError, match="design: found 'several'; accepted: a trial that compares two conditions"):
        leave_one_out(trial)


def test_renderings():
    found = influence("flour_dust")
    assert str(found).startswith("What hangs on single units\n  with all") and "without K04" in found._repr_html_()
    assert json.loads(json.dumps(found.to_dict()))["most"] == "K04"
    assert str(found.rows[0]).startswith("Without one unit\n  without  K02")
    table = found.table
    assert table.loc[0, "left_out"] == "" and table["saving"].iloc[1:].tolist() == [row.saving for row in found.rows]
