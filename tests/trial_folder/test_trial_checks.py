"""Rows of a run sheet against each other. Evidence: sequences laid out by hand whose faults are known."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from lossstats.trial_folder.run_sheet import SheetRow
from lossstats.trial_folder.settings import ComparisonKeys
from lossstats.trial_folder.trial_checks import check_rows

START = datetime(2031, 3, 3, 8, tzinfo=UTC)


def rows(*entries: str) -> list[SheetRow]:
    """One run every ten minutes; an entry is "K01 dusty 1", "REF 2" (reference) or "" (zero)."""
    made = []
    for index, entry in enumerate(entries):
        article, condition, mount = {3: entry.split(), 2: [entry[:3], "", entry[4:]], 0: ["", "", ""]}[
            len(entry.split())
        ]
        role = "test" if condition else "reference" if article else "zero"
        name = f"r{index:02d}"
        start = START + timedelta(minutes=10 * index)
        made.append(SheetRow(index + 2, name, start, role, article, condition, mount, f"samples/{name}.csv", ""))
    return made


def told(made: list[SheetRow], design: Any, lasts_s: dict[str, float] | None = None, **more: Any) -> list[str]:
    return [str(fault) for fault in check_rows(made, ComparisonKeys("dusty", "cleaned", design, **more), lasts_s or {})]


PAIRED = ("K01 dusty 1", "K02 dusty 1", "K01 cleaned 1", "K02 cleaned 1")


@pytest.mark.parametrize(
    ("design", "entries", "more"),
    [
        ("paired", PAIRED, {}),
        ("paired", ("", "REF 1", *PAIRED, "REF 2", ""), {}),
        ("paired", ("K01 dusty 1", "K01 dusty 1", "", "K01 dusty 1", "K01 dusty 2", *PAIRED[1:]), {}),
        ("paired", ("K01 dusty 1", "K01 cleaned 1", "K02 cleaned 1", "K02 dusty 1"), {}),
        ("independent", ("K01 dusty 1", "K02 cleaned 1", "K03 dusty 1"), {}),
        ("controls", PAIRED, {"controls": ("K02",)}),
        ("single", ("K01 dusty 1", "REF 1", "K01 dusty 2", "REF 2", "K01 cleaned 1", "REF 3", "K01 cleaned 2"), {}),
    ],
)
def test_legitimate_orders_are_taken(design: str, entries: tuple[str, ...], more: dict[str, Any]) -> None:
    assert told(rows(*entries), design, **more) == []


def test_mount_that_comes_back_after_another_fitting() -> None:
    again = told(rows("K01 dusty 1", "REF 1", "K01 dusty 1", "REF 1", "K01 cleaned 1"), "single")
    assert [text.partition(";")[0] for text in again] == [
        "run_sheet.csv, line 4, column 6 (mount): found mount '1' of K01 again, after REF (line 3) was on the bench",
        "run_sheet.csv, line 5, column 6 (mount): found mount '1' of REF again, after K01 (line 4) was on the bench",
    ]


def test_a_run_may_begin_when_the_one_before_ends_and_not_earlier() -> None:
    made = rows(*PAIRED)
    assert told(made, "paired", {"samples/r00.csv": 600.0}) == []
    late = told(made, "paired", {"samples/r00.csv": 601.0})
    assert late == [
        (
            "run_sheet.csv, line 3, column 2 (start): found 2031-03-03T08:10:00+00:00, while run r00 goes on until "
            "2031-03-03T08:10:01+00:00; accepted: a start after the end of the run before"
        )
    ]


def test_equal_starts_are_no_order() -> None:
    made = rows(*PAIRED)
    made[1] = SheetRow(**{**vars(made[1]), "start": START})
    assert told(made, "paired")[0].startswith(
        "run_sheet.csv, line 3, column 2 (start): found 2031-03-03T08:00:00+00:00, not after line 2"
    )


@pytest.mark.parametrize(
    ("design", "entries", "more", "message"),
    [
        ("paired", PAIRED[:3], {}, "no test run in condition 'cleaned' of K02"),
        ("paired", ("K01 dusty 1", "K01 cleaned 1"), {}, "test runs of K01 only; accepted: two articles or more"),
        ("paired", ("REF 1", ""), {}, "no test run; accepted: test runs in both conditions"),
        ("independent", PAIRED[:2], {}, "no test run in condition 'cleaned'; accepted"),
        ("independent", PAIRED[:3], {}, "test runs in both conditions of K01; accepted"),
        ("controls", PAIRED, {"controls": ("K09",)}, "no test run of the control article 'K09'"),
        ("controls", PAIRED[:3], {"controls": ("K02",)}, "no test run in condition 'cleaned' of K02"),
        ("controls", PAIRED, {"controls": ("K01", "K02")}, "control articles only"),
        ("single", PAIRED, {}, "test runs of K01, K02; accepted: test runs of one article"),
        ("single", PAIRED[:1], {}, "no test run in condition 'cleaned' of K01"),
        ("paired", (*PAIRED, "K01 1"), {}, "'K01' as reference article, a test article in lines 2, 4"),
    ],
)
def test_designs_that_the_runs_do_not_fit(
    design: str, entries: tuple[str, ...], more: dict[str, Any], message: str
) -> None:
    faults = told(rows(*entries), design, **more)
    assert len(faults) == 1
    assert message in faults[0]


def test_many_articles_are_named_up_to_twelve() -> None:
    faults = told(rows(*(f"K{number:02d} dusty 1" for number in range(1, 16))), "paired")
    assert "of K01, K02, K03, K04, K05, K06, K07, K08, K09, K10, K11, K12 and 3 more; accepted" in faults[0]


def test_without_settings_only_what_needs_none_is_checked() -> None:
    assert check_rows(rows("K01 dusty 1"), None, {}) == []


def told_of_several(blocks: Any, *entries: str) -> list[str]:
    keys = ComparisonKeys("", "", "several", conditions=("A", "B", "C"), blocks=blocks)
    return [str(fault).partition(": ")[2] for fault in check_rows(rows(*entries), keys, {})]


def test_several_conditions_in_blocks() -> None:
    blocks = [f"K0{k} {c} 1" for k in (1, 2) for c in "BCA"]
    assert told_of_several("article", *blocks) == []
    assert told_of_several("article", *blocks[:-1]) == [
        "found no test run in condition 'A' of K02; accepted: every article in every condition, as blocks = 'article' says; "
        "for an article that went out role dropped in all its rows, with the reason in remarks"
    ]
    assert told_of_several("article", *blocks[:3]) == [
        "found test runs of K01 only; accepted: two articles or more: one article stands for itself"
    ]
    assert told_of_several("article") == []
    assert told_of_several("article", "") == ["found no test run; accepted: test runs in every condition"]


def test_several_conditions_with_articles_of_their_own() -> None:
    own = [f"K{c}{k} {c} 1" for k in (1, 2) for c in "ABC"]
    assert told_of_several("none", *own) == []
    assert told_of_several("none", *own[:-1]) == [
        "found test runs of KC1 only in condition 'C'; accepted: two articles or more in every condition"
    ]
    assert told_of_several("none", *own, "KA1 B 1") == [
        "found test runs in more than one condition of KA1; accepted: every article in one condition, as blocks = 'none' "
        "says (or blocks = 'article')"
    ]
    assert told_of_several("none", *(entry for entry in own if " C " not in entry)) == [
        "found no test run in condition 'C'; accepted: test runs in every condition"
    ]
