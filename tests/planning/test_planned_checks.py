"""What a plan is refused for, and what is said of it."""

import math

import pytest

from lossstats.planning.planned_checks import as_term
from lossstats.planning.planned_design import PlannedDesign

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05}


def plan(design="paired", articles=6, components=SPREAD, **keys):
    return PlannedDesign(design, articles, components, **keys)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: plan("matched"), "design: found 'matched'; accepted: 'paired', 'crossover'"),
        (lambda: plan(articles=1), "articles: found 1; accepted: a whole number of at least 2"),
        (lambda: plan(articles=2.5), "articles: found 2.5"),
        (lambda: plan(articles=math.inf), "articles: found inf"),
        (lambda: plan(runs=math.nan), "runs: found nan"),
        (lambda: plan("crossover", 3), "articles: found 3; accepted: a whole number of at least 4"),
        (lambda: plan("single", 2, mounts=3), "articles: found 2; accepted: 1 for design single"),
        (lambda: plan("single", 1), "mounts: found 1; accepted: a whole number of at least 2"),
        (lambda: plan(runs=0), "runs: found 0; accepted: a whole number of at least 1"),
        (lambda: plan("several"), "conditions: found 2; accepted: a whole number of at least 3"),
        (lambda: plan(conditions=3), "conditions: found 3; accepted: 2 for design paired"),
        (lambda: plan(controls=3), "controls: found 3 in design paired"),
        (lambda: plan("controls", controls=1), "controls: found 1; accepted: a whole number of at least 2"),
        (lambda: plan(confidence=1.0), "confidence: found 1.0"),
        (lambda: plan(assurance=0), "assurance: found 0; accepted: between 0 and 1"),
        (lambda: plan(run_length=0), "run_length: found 0"),
        (lambda: plan(references=1, reference_sd=1), "references: found 1; accepted: 0, or at least 2 a session"),
        (lambda: plan(references=2), "reference_sd: found 0.0 with 2 references"),
        (lambda: plan(components={"change": -0.1}), r"components\['change'\]: found -0.1; accepted: a standard deviation of 0"),
        (lambda: plan(components={"change": math.nan}), r"components\['change'\]: found nan"),
        (lambda: plan(components={"change": (0.1, 0)}), r"components\['change'\]: found \(0.1, 0\); accepted: degrees of freedom"),
        (lambda: plan(components={"chain": 0.1}), "components: found 'chain'; accepted: article, change, mount, run, readings"),
        (lambda: plan(components={"article": 0.1}), "components: found article; accepted: 'change' among them"),
        (lambda: plan("independent", components={"change": 0.1}), "accepted: 'article' among them, which design independent"),
        (lambda: plan(components=dict.fromkeys(SPREAD, 0.0)), "components: found a spread of 0 for the units of design paired"),
        (lambda: plan("controls", components={"change": 0.1}), "components: found a spread of 0 for the units"),
        (lambda: plan(repeatability=0.1), "repeatability: found 0.1 with design paired; accepted: design 'single' and no comp"),
        (lambda: plan("single", 1, repeatability=0.1), "repeatability: found 0.1 with 4 components"),
        (lambda: plan("single", 1, {}, repeatability=-0.1), "repeatability: found -0.1; accepted: a standard deviation"),
        (lambda: plan("single", 1, {}, repeatability=0.0), "found a spread of 0"),
        (lambda: plan("single", 1, {}, mounts=0, repeatability=0.1), "mounts: found 0; accepted: a whole number of at least 1"),
        (lambda: plan(shared={"drift": -1}), r"shared\['drift'\]: found -1"),
    ],
)  # fmt: skip
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()


def test_a_standard_deviation_with_and_without_degrees_of_freedom():
    assert as_term(0.1) == (0.1, math.inf)
    assert as_term((0.1, 5)) == as_term([0.1, 5]) == (0.1, 5)


def test_estimates_and_families_are_said():
    estimated = plan(components={"change": (0.1, 5)}).notes
    assert any(
        note.startswith("standard deviations are estimates: planned with 1.46 times theirs") for note in estimated
    )
    assert any("so that 80 % of such plans reach their power" in note for note in estimated)
    for keys, held in (({}, "Bonferroni"), ({"blocks": False, "against_control": True}, "many-to-one")):
        notes = plan("several", conditions=3, **keys).notes
        assert any(f"comparisons with {held} intervals" in note for note in notes)
