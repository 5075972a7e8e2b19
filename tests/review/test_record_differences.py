"""Two records held against each other: entries doubled, added, moved; each must be a departure of its own."""

import copy

import pytest

from lossstats.review.record_differences import record_differences, text_difference

RECORD = {
    "format": 2,
    "name": "trial",
    "settings": {"trial": {"better": "lower"}, "comparison": {"controls": []}},
    "runs": [
        {"run": f"r0{k}", "used": True, "level": {"value": 7.0 + k, "components": {}}, "screening": {"spikes": []}}
        for k in range(1, 6)
    ],
    "units": [
        {"unit": "K01", "condition": "dusty", "value": 7.1},
        {"unit": "K01", "condition": "cleaned", "value": 6.6},
    ],
    "notes": ["one", "two"],
    "inputs": {"trial.toml": "ab"},
    "versions": {"python": "3.12"},
}


def changed(change):
    sealed = copy.deepcopy(RECORD)
    change(sealed)
    return [(d.stage, d.where, d.sealed, d.found) for d in record_differences(sealed, RECORD)[1]]


def test_the_same_is_the_same():
    assert record_differences(copy.deepcopy(RECORD), RECORD) == (7, [])  # five levels, two units


def test_a_second_entry_of_the_same_name_before_the_true_one():
    false = {"unit": "K01", "condition": "dusty", "value": 99.0}
    found = changed(lambda c: c["units"].insert(0, false))
    assert ("unit table", "units / K01 dusty / value", "99.0", "7.1") in found
    assert any(where == "units / K01 dusty (2)" and text == "nothing" for _, where, _, text in found)


def test_a_second_run_after_the_true_one():
    found = changed(lambda c: c["runs"].append({**c["runs"][4], "level": {"value": 99.0}}))
    assert [(stage, where, text) for stage, where, _, text in found] == [("level", "runs / r05 (2)", "nothing")]


def test_another_order():
    assert changed(lambda c: c["runs"].reverse()) == [
        ("level", "runs", "r05, r04, r03, r02, r01", "another order: r01, r02, r03, r04, r05")
    ]
    assert [d[1] for d in changed(lambda c: c["notes"].reverse())] == ["notes / 1", "notes / 2"]


@pytest.mark.parametrize(
    ("change", "stage", "where"),
    [
        (lambda c: c.update(headline={"saving_percent": 38, "claim": "all belts"}), "record", "headline"),
        (lambda c: c.update(empty={}), "record", "empty"),
        (lambda c: c.update(more=[]), "record", "more"),
        (lambda c: c.update(claims=None), "record", "claims"),
        (lambda c: c["runs"][0].update(remark={}), "level", "runs / r01 / remark"),
        (lambda c: c["runs"][0]["level"].update(components=[]), "level", "runs / r01 / level / components"),
        (lambda c: c["settings"]["comparison"].pop("controls"), "settings", "settings / comparison / controls"),
        (lambda c: c["settings"]["comparison"].update(controls=[[]]), "settings", "settings / comparison / controls / 1"),
        (lambda c: c.pop("notes"), "verdict", "notes"),
        (lambda c: c["runs"][1].update(used=1), "window", "runs / r02 / used"),
        (lambda c: c["runs"][2]["level"].update(value=float("inf")), "level", "runs / r03 / level / value"),
        (lambda c: c["runs"][1]["level"].update(value=9.0 * (1 + 1e-8)), "level", "runs / r02 / level / value"),
        (lambda c: c["runs"][1]["screening"].update(spikes=[3]), "screening", "runs / r02 / screening / spikes / 1"),
    ],
)  # fmt: skip
def test_whatever_one_of_two_records_has_alone_or_otherwise(change, stage, where):
    assert [(found[0], found[1]) for found in changed(change)] == [(stage, where)]


def test_stages_come_in_the_order_of_the_work():
    def change(content):
        content["notes"][0] = "three"
        content["units"][0]["value"] = 1.0
        content["settings"]["trial"]["better"] = "higher"
        content["foreign"] = 1

    assert [found[0] for found in changed(change)] == ["record", "settings", "unit table", "verdict"]


def test_nine_digits():
    assert changed(lambda c: c["units"][0].update(value=7.1 * (1 + 1e-10))) == []
    ((_, departures), by) = (record_differences({"units": [1.5]}, {"units": [1.0]}), pytest.approx(1 / 3))
    assert departures[0].by == by


def test_the_first_line_that_differs():
    assert text_difference("s", "f", "a\nb\n", "a\nb\n") == []
    (found,) = text_difference("s", "f", "a\nbc\n", "a\nb\n")
    assert (found.where, found.sealed, found.found) == ("f, line 2", "…bc…", "…b…")
    assert [d.where for d in text_difference("s", "f", "a\n\n", "a\n")] == ["f, line 2"]


def test_names_of_entries_are_shown_escaped():
    _, (departure,) = record_differences({"runs": [{"run": "r\x1b[2J\n", "level": 1}]}, {"runs": []})
    assert departure.where == r"runs / r\x1b[2J\n"


@pytest.mark.parametrize("sealed", [float("inf"), -float("inf")])
def test_a_number_too_large_for_any_record_departs(sealed):
    numbers, (departure,) = record_differences(
        {"runs": [{"run": "r01", "level": sealed}]}, {"runs": [{"run": "r01", "level": 1.5}]}
    )
    assert (numbers, departure.where, departure.by) == (1, "runs / r01 / level", None)
