"""The decisions, their options, and the words for them."""

from dataclasses import replace

import pytest

from lossstats.conclusion.decisions import (
    EXACT,
    FIT,
    LOGS,
    OPTIONS,
    WINDOW,
    all_combinations,
    checked_options,
    in_words,
    one_at_a_time,
    planned_decisions,
)
from lossstats.simulator.simulate import declare, lay_out

SETTINGS = declare(lay_out("paired"))
PLANNED = planned_decisions(SETTINGS)


def test_the_plan_is_read_from_the_settings_and_goes_back_into_them():
    s = replace(
        SETTINGS,
        settling=replace(SETTINGS.settling, still_moving="leave out", final_window=0.4),
        screening=replace(SETTINGS.screening, flagged_samples="leave out"),
        drift=replace(SETTINGS.drift, zeros="ignore"),
    )
    planned = planned_decisions(s)
    assert (planned.level, planned.final_window, planned.still_moving) == (FIT, 0.4, "leave out")
    assert (planned.flagged_samples, planned.references, planned.zeros) == ("leave out", "interpolate", "ignore")
    assert planned.settings(SETTINGS) == s


def test_each_way_differs_in_one_decision():
    ways = one_at_a_time(PLANNED, checked_options(None))
    changed = [{k for k in vars(w) if vars(w)[k] != vars(PLANNED)[k]} for w in ways]
    assert len(set(ways)) == len(ways) == 12
    # The level of a run and its final window are one decision.
    assert all(len(names) == 1 or names == {"level", "final_window"} for names in changed)
    tried = {(name, vars(w)[name]) for w, names in zip(ways, changed, strict=True) for name in names}
    wanted = {(name, option) for name, options in OPTIONS.items() for option in options}
    assert tried == {(n, o) for n, o in wanted if vars(PLANNED)[n] != o}


def test_a_subset_of_choices():
    ways = one_at_a_time(PLANNED, checked_options({"references": ["ignore"], "level": WINDOW}))
    assert [in_words(w, PLANNED, "paired") for w in ways] == [
        "level: mean of the final third",
        "reference runs ignored",
    ]
    near = one_at_a_time(PLANNED, checked_options({"final_window": (0.333333333333, 0.4)}))
    assert [w.final_window for w in near] == [0.4]
    assert one_at_a_time(PLANNED, checked_options({})) == []


def test_combinations_are_all_of_them_but_the_plan():
    single = [
        replace(PLANNED, level=WINDOW),
        replace(PLANNED, level=WINDOW, final_window=0.5),
        replace(PLANNED, references="ignore"),
        replace(PLANNED, interval=EXACT),
        replace(PLANNED, percent=LOGS),
    ]
    ways = all_combinations(PLANNED, single)
    assert len(set(ways)) == 3 * 2 * 2 - 1
    assert PLANNED not in ways and {w.percent for w in ways} == {PLANNED.percent}
    assert replace(PLANNED, level=WINDOW, final_window=0.5, references="ignore", interval=EXACT) in ways


@pytest.mark.parametrize(
    ("design", "change", "words"),
    [
        ("paired", {}, "as planned"),
        ("paired", {"final_window": 0.4}, "settled or not by the final 0.4"),
        ("paired", {"interval": EXACT}, "exact sign-flip interval"),
        ("controls", {"interval": EXACT}, "exact permutation interval"),
        ("paired", {"percent": LOGS}, "percent by the mean of the articles' log ratios"),
        ("independent", {"percent": LOGS}, "percent by the ratio of the geometric means"),
        ("paired", {"still_moving": "use with a note", "zeros": "ignore"}, "runs still moving used, zero runs ignored"),
    ],
)
def test_words(design, change, words):
    assert in_words(replace(PLANNED, **change), PLANNED, design) == words


@pytest.mark.parametrize(
    ("choices", "text"),
    [
        ({"window": [0.5]}, "choices: found the decision 'window'; accepted: 'level', 'final_window', 'flagged"),
        ({"zeros": ["off"]}, r"choices\['zeros'\]: found 'off'; accepted: a sequence of 'interpolate', 'ignore'"),
        ({"zeros": "off"}, r"choices\['zeros'\]: found 'off'"),
        ({"final_window": [0.95]}, r"choices\['final_window'\]: found 0.95; accepted: numbers from 0.1 to 0.9"),
    ],
)
def test_unknown_choices_are_refused(choices, text):
    with pytest.raises(ValueError, match=text):
        checked_options(choices)
