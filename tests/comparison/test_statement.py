"""The words of the statement for every kind of outcome."""

from dataclasses import replace

import pytest
from planned import planned

from lossstats.comparison.comparison import compare_groups, compare_pairs, compare_single, compare_with_controls
from lossstats.comparison.statement import make_statement
from lossstats.run_plan.plan_record import plan_record
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.several.ranking import rank_conditions
from lossstats.several.ranking_statement import make_ranking_statement
from lossstats.trial_folder.plan_file import seal_plan
from lossstats.trial_folder.settings import ComparisonKeys, ScopeKeys, Settings, TrialKeys
from lossstats.trial_folder.trial import Trial

BEFORE, AFTER = [7.10, 6.84, 7.32, 6.95], [6.61, 6.40, 6.71, 6.52]
SETTINGS = Settings(
    TrialKeys("Does it pay?", note="Invented."),
    ComparisonKeys("dusty", "cleaned", "paired", difference_that_matters=0.25),
    ScopeKeys("conveyor chains", "bench 1", "same oil", "280 W"),
)


def words(comparison, settings=SETTINGS, notes=()):
    return make_statement(settings, comparison, notes)


def test_saves():
    c = compare_pairs(BEFORE, AFTER, matters=0.25)
    s = words(c)
    # mean 0.4925, u = s / 2 = 0.0413, t(3) = 3.182: rounded to two digits of u, JCGM 100, 7.2.6
    assert s.sentences[0] == (
        "The power loss is 0.492 W lower cleaned than dusty (95 % interval 0.361 W to 0.624 W), which is "
        f"{c.percent.value:.2f} % of the level before ({c.percent.low:.2f} % to {c.percent.high:.2f} %)."
    )
    assert s.sentences[1] == "Verdict: cleaned against dusty saves more than 0.25 W."
    assert s.sentences[2].startswith("Basis: four articles, each measured dusty and cleaned (paired t, 3 effective degrees of freedom; p = 0.0013; exact sign-flip p = 0.12, smallest reachable 0.12).")  # fmt: skip
    assert s.scope[0] == "Articles: conveyor chains."
    assert "Invented." in s.notes


@pytest.mark.parametrize(
    ("matters", "words"),
    [
        (0.25, "saves more than 0.25 W."),
        (0.5, "saves (whether more than 0.5 W is not decided)."),
        (None, "saves."),
        (1.0, "makes no difference that matters (1 W), though a smaller one is shown."),
    ],
)
def test_a_size_that_was_to_matter_is_told_or_left_open(matters, words):
    """The interval is 0.361 W to 0.624 W."""
    assert words_of_verdict(compare_pairs(BEFORE, AFTER, matters=matters)) == f"Verdict: cleaned against dusty {words}"


def words_of_verdict(comparison):
    return words(comparison).sentences[1]


def test_costs_is_told_as_higher():
    s = words(compare_pairs(AFTER, BEFORE, matters=0.25))
    assert "0.492 W higher cleaned than dusty (95 % interval 0.361 W to 0.624 W)" in s.sentences[0]
    assert "costs more than 0.25 W" in s.sentences[1]


def test_undecided_names_the_number_that_would_decide():
    s = words(compare_pairs([7.0, 7.3, 6.8, 7.1], [6.9, 6.9, 6.9, 6.8], matters=0.1))
    assert s.sentences[1].startswith("Verdict: cleaned against dusty is not decided: the interval holds 0")
    assert "units a condition would decide, if centre and scatter stay" in s.sentences[1]
    assert any("not decided is not the same as equal" in line for line in s.not_claimed)


def test_rounding_never_moves_an_end_across_zero_or_the_difference_that_matters():
    # low = 0.0012 at u = 0.15 would print as 0.00
    d = [0.3312, 0.0712, 0.5512, 0.4012]
    c = compare_pairs([7 + x for x in d], [7.0] * 4, matters=1.0)
    low = c.difference.low
    assert 0 < low < 0.02
    text = words(c).sentences[0]
    shown_low = float(text.split("interval ")[1].split(" W")[0])
    assert shown_low > 0


def test_description_claims_nothing():
    s = words(compare_single(6.75, 6.20), replace(SETTINGS, comparison=replace(SETTINGS.comparison, design="single")))
    assert (
        s.sentences[0]
        == "The power loss read 6.75 W dusty and 6.20 W cleaned: 0.55 W lower, 8.1 % of the level before."
    )
    assert "a description and not a claim" in s.sentences[1]
    assert s.scope[0] == "Articles: this article only."
    assert s.not_claimed[0].startswith("A saving")


@pytest.mark.parametrize(
    ("comparison", "text"),
    [
        (compare_groups(BEFORE, AFTER[:3]), "four articles dusty and three other articles cleaned (Welch t"),
        (compare_with_controls(BEFORE, AFTER, [7, 7.1], [7, 7.2]), "four treated articles and two untouched articles beside them"),
        (compare_single(7.0, 6.5, repeatability=0.1, repeatability_dof=9), "repeatability known from elsewhere, source not stated"),
    ],
)  # fmt: skip
def test_basis_by_design(comparison, text):
    keys = replace(
        SETTINGS.comparison, design=comparison.design, repeatability=0.1 if comparison.design == "single" else None
    )
    assert text in words(comparison, replace(SETTINGS, comparison=keys)).sentences[2]


def test_without_a_difference_that_matters_smallness_is_not_claimed():
    assert any("none was fixed before the trial" in line for line in words(compare_pairs(BEFORE, AFTER)).not_claimed)


def test_drift_note_takes_the_cause_out_of_the_claim():
    s = words(compare_pairs(BEFORE, AFTER), notes=("bench drift and treatment cannot be told apart by these runs",))
    assert any("the passing of time did it" in line for line in s.not_claimed)


def test_three_renderings():
    s = words(
        compare_pairs(BEFORE, AFTER, matters=0.25), replace(SETTINGS, trial=replace(SETTINGS.trial, note="a <b> note"))
    )
    assert str(s).startswith("The power loss is 0.492 W lower")
    assert max(map(len, str(s).splitlines())) <= 100
    assert "a &lt;b&gt; note" in s._repr_html_()
    assert s.to_dict()["sentences"] == list(s.sentences)


def test_a_rule_changed_after_the_plan_was_sealed_stands_in_the_statement():
    settings = planned(articles="K01 K02 K03 K04", one_way=False)
    sealed = seal_plan(settings, lay_out_runs(settings))
    changed = replace(
        settings,
        trial=replace(settings.trial, question="Does it?"),
        comparison=replace(settings.comparison, difference_that_matters=0.6, confidence=0.9),
    )
    for now, last in (
        (settings, "Basis"),
        (changed, "Rules changed after the plan was sealed: confidence: planned 0.95, found 0.9; "
                  "difference_that_matters: planned nothing, found 0.6."),
    ):  # fmt: skip
        notes = plan_record(Trial(None, now, (), plan=sealed)).notes
        assert words(compare_pairs(BEFORE, AFTER), notes=notes).sentences[-1].startswith(last)
        ranking = rank_conditions({"A": BEFORE, "B": AFTER, "C": AFTER[::-1]})
        assert make_ranking_statement(SETTINGS, ranking, notes).sentences[-1].startswith(last)
