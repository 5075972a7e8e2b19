"""Words for three conditions or more, for every kind of outcome."""

from dataclasses import replace

import pytest

from lossstats.several.ranking import rank_conditions
from lossstats.several.ranking_statement import in_words, make_ranking_statement, places_of
from lossstats.trial_folder.settings import ComparisonKeys, ScopeKeys, Settings, TrialKeys

VALUES = {
    "oil A": [6.0, 6.2, 5.5, 5.6, 6.1, 6.4],
    "oil B": [5.4, 5.7, 4.9, 5.1, 5.7, 5.8],
    "oil C": [6.0, 6.0, 5.4, 5.6, 6.2, 6.3],
    "oil D": [6.3, 6.5, 5.9, 5.9, 6.4, 6.8],
}
SETTINGS = Settings(
    TrialKeys("Which oil?", note="Invented."),
    ComparisonKeys("", "", "several", conditions=tuple(VALUES), control="oil A", blocks="article"),
    ScopeKeys("conveyor chains", "bench 1", "four oils", "280 W"),
)


def words(settings=SETTINGS, notes=(), **options):
    ranking = rank_conditions(VALUES, **{"control": "oil A", "blocks": True, "matters": 0.2, **options})
    return make_ranking_statement(settings, ranking, notes), ranking


def test_against_a_control():
    s, ranking = words()
    # Differences A - B: 0.6 0.5 0.6 0.5 0.4 0.6, mean 0.533, sd 0.0816; factor t(5) at 1 - 0.05 / 6: 3.534.
    # half-width 3.534 * 0.0816 / sqrt(6) = 0.1178
    assert "0.533 W lower with oil B than with oil A (0.416 W to 0.651 W; " in s.sentences[0]
    assert "higher with oil D than with oil A" in s.sentences[0]
    assert s.sentences[0].endswith("(95 % intervals that hold together).")
    # A - C: mean 0.05, sd 0.105, half-width 0.151: from -0.10 to 0.201, just beyond what matters.
    assert s.sentences[1] == (
        "Verdict against oil A: oil B saves more than 0.2 W; oil C is not worse by 0.2 W; oil D costs "
        "more than 0.2 W. Cannot be told apart, which is not the same as equal: oil C and oil A."
    )
    assert s.sentences[2].startswith(
        "Basis: six articles, each measured in all four conditions; means oil B 5.43, oil C"
    )
    assert ranking.method in s.sentences[2] and "any difference at all: p " in s.sentences[2]
    assert s.scope == (
        "Articles: conveyor chains.",
        "Bench: bench 1.",
        "Lubricant: four oils.",
        "Operating point: 280 W.",
    )
    assert s.notes[-1] == "Invented."


def test_percent_has_the_sign_of_the_sentence():
    s, ranking = words()
    ratios = ranking.ratios
    b, d = ratios.loc["oil B"], ratios.loc["oil D"]
    assert f"; {100 - b['percent']:.1f} %, {100 - b['high']:.1f} % to {100 - b['low']:.1f} %)" in s.sentences[0]
    assert f"{d['percent'] - 100:.2f} %, " in s.sentences[0]


def test_what_may_not_be_claimed():
    s, _ = words(notes=("drift of the bench cannot be told apart from the conditions",))
    claims = " ".join(s.not_claimed)
    for words_ in (
        "equal, or that their order is real",
        "Any difference between conditions other than oil A",
        "every single article",
        "the bench or the passing of time",
        "input power: percent here is of the level with oil A",
    ):
        assert words_ in claims
    assert "put the articles into their conditions" not in claims and "none was fixed" not in claims
    free, _ = words(matters=None, blocks=False, control=None)
    claims = " ".join(free.not_claimed)
    assert "put the articles into their conditions" in claims and "none was fixed" in claims
    assert "other than" not in claims and "input power" not in claims and "passing of time" not in claims


def test_all_pairs():
    s, ranking = words(control=None)
    shown = [pair for pair in ranking.comparisons if pair.verdict.difference_shown]
    assert len(shown) == 5
    assert s.sentences[0].count(" than with ") == 3 and "; 2 more differences are in the table" in s.sentences[0]
    assert s.sentences[1].startswith("Verdict on the two best: ") and "oil B" in s.sentences[1]
    assert s.sentences[1].endswith("equal: oil C and oil A.")


def test_nothing_shown():
    s, _ = words(blocks=False, control=None, confidence=0.999)
    assert s.sentences[0] == (
        "No difference in power loss is shown by any of the 6 comparisons (99.9 % intervals that hold together)."
    )
    assert "Basis: six articles in each of four conditions, other articles in each; " in s.sentences[2]


def test_all_told_apart():
    far = {name: [x + 3 * k for x in VALUES["oil A"]] for k, name in enumerate("ABC")}
    far["B"][0] += 0.01
    far["C"][1] += 0.01
    s = make_ranking_statement(SETTINGS, rank_conditions(far, blocks=True), ())
    assert "told apart" not in s.sentences[1]


def test_two_units_have_no_verdict():
    two = {name: values[::3] for name, values in VALUES.items()}
    s = make_ranking_statement(SETTINGS, rank_conditions(two, control="oil A", blocks=False), ())
    assert "no verdict (two units give an interval, but too little for a verdict)" in s.sentences[1]


def test_higher_is_better():
    settings = replace(SETTINGS, trial=replace(SETTINGS.trial, better="higher"))
    s, _ = words(settings, better="higher")
    assert (
        "0.533 W lower with oil B than with oil A" in s.sentences[0] and "oil B costs more than 0.2 W" in s.sentences[1]
    )


@pytest.mark.parametrize(("low", "places"), [(0.0412, 3), (0.0002, 4), (0.20001, 5)])
def test_no_printed_end_crosses_zero_or_what_matters(low, places):
    _, ranking = words()
    pair = replace(ranking.comparisons[0], low=low)
    assert places_of(pair) == places
    assert f"({low:.{places}f} W to " in in_words(SETTINGS, ranking, pair)
