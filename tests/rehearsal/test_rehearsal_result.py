"""What a rehearsal came to. Evidence: the binomial definitions of both intervals; counts by hand; renderings."""

import json

import numpy as np
import pytest
from planned import planned
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from lossstats.rehearsal.rehearsal import rehearse
from lossstats.rehearsal.rehearsal_result import VERDICTS, HalfWidth, median_half_width, share_of, summed
from lossstats.rehearsal.rehearsed_trials import Outcome


@pytest.fixture(scope="module")
def rehearsal():
    settings = planned(one_way=True, comparison={"difference_that_matters": 0.25})
    return rehearse(settings, 30, components={"article": 0.3, "change": (0.1, 7), "mount": 0.08, "run": 0.04})


@pytest.mark.parametrize(("count", "trials"), [(0, 20), (1, 200), (9, 200), (199, 200), (200, 200)])
def test_a_share_against_its_definition_and_statsmodels(count, trials):
    share = share_of(count, trials)
    assert (share.value, share.count, share.trials) == (count / trials, count, trials)
    # Clopper and Pearson: at the ends the count found, or one further out, has a chance of 2.5 %.
    if count:
        assert stats.binom.sf(count - 1, trials, share.low) == pytest.approx(0.025, abs=1e-8)
    if count < trials:
        assert stats.binom.cdf(count, trials, share.high) == pytest.approx(0.025, abs=1e-8)
    assert (share.low, share.high) == pytest.approx(proportion_confint(count, trials, method="beta"), abs=1e-8)


def test_none_of_many_in_closed_form():
    assert share_of(0, 200).high == pytest.approx(1 - 0.025 ** (1 / 200))


def test_words_of_a_share():
    assert share_of(9, 200).words == "4.5 % (2.1 % to 8.4 %)"
    assert share_of(3, 20).words == "15 % (3 % to 38 %)"
    assert str(share_of(9, 200)).splitlines() == ["Share of trials", "  share   4.5 % (2.1 % to 8.4 %)", "  trials  9 of 200"]  # fmt: skip


def test_the_median_lies_between_order_statistics():
    # Twenty values: from the 6th lowest to the 6th highest, 95.9 % (the sign test's table; recomputed here).
    found = median_half_width(np.random.default_rng(1).permutation(np.arange(1.0, 21.0)), "W")
    assert (found.value, found.low, found.high) == (10.5, 6.0, 15.0)
    assert 1 - 2 * stats.binom.cdf(5, 20, 0.5) == pytest.approx(0.9586, abs=1e-4)
    assert 1 - 2 * stats.binom.cdf(6, 20, 0.5) < 0.95


@pytest.mark.parametrize("n", [6, 7, 30, 201])
def test_the_interval_of_the_median_is_the_narrowest_that_holds_95_percent(n):
    found = median_half_width(np.arange(1.0, n + 1), "W")
    k = int(found.low)
    assert found.high == n + 1 - k
    assert 1 - 2 * stats.binom.cdf(k - 1, n, 0.5) >= 0.95 > 1 - 2 * stats.binom.cdf(k, n, 0.5)


def test_five_trials_are_too_few_for_an_interval_of_the_median():
    found = median_half_width([0.3, 0.1, 0.2, 0.4, 0.5], "W")
    assert found == HalfWidth(0.3, None, None, "W")
    assert (
        str(found) == "Median half-width\n  median half-width  0.30 W (too few trials for an interval of this median)"
    )


def test_counts_by_hand():
    outcomes = [
        Outcome("saves", wrong=True, shown=True, held=False, held_percent=True, half_width=0.1, half_width_percent=1.0),
        Outcome("undecided", held=True, held_percent=None, half_width=0.3, moving=2, left_out=1),
        Outcome("no verdict"),
        Outcome("refused", moving=3, left_out=4),
    ]
    found = summed(outcomes, 0.0, "W", runs=4)
    assert list(found.verdicts) == list(VERDICTS)
    counts = {name: share.count for name, share in found.verdicts.items() if share.count}
    assert counts == {"saves": 1, "undecided": 1, "no verdict": 1, "refused": 1}
    assert (found.wrong.count, found.shown.count, found.wrong.trials) == (1, 1, 4)
    assert (found.coverage.count, found.coverage.trials) == (1, 2)
    assert (found.coverage_percent.count, found.coverage_percent.trials) == (1, 1)
    assert found.half_width.value == pytest.approx(0.2) and found.half_width_percent.value == 1.0
    assert (found.moving, found.left_out) == (5 / 16, 5 / 16)
    assert "runs still moving, left out" in str(found)


def test_no_interval_at_all_is_said():
    found = summed([Outcome("refused", moving=1, left_out=4)] * 3, 0.2, "W", runs=4)
    assert found.coverage is found.coverage_percent is found.half_width is found.half_width_percent is None
    assert "interval holds the truth             no interval" in str(found)


def test_renderings(rehearsal):
    text, html = str(rehearsal), rehearsal._repr_html_()
    assert text.startswith("Rehearsal of a plan\n  in words")
    for part in ("false claims at no saving", "power at 0.25 W", "no saving: interval holds the truth", "bench"):
        assert part in text and part in html
    assert "seed 1" in text and "from settled levels" in text
    assert html.startswith("<table><caption>Rehearsal of a plan</caption>") and "color" not in html
    content = json.loads(json.dumps(rehearsal.to_dict()))
    assert content["power"]["count"] == rehearsal.some.verdicts["saves"].count
    assert content["components"]["change"] == [0.1, 7]
    assert content["bench"]["level"] == 6.5
    assert content["none"]["verdicts"]["saves"]["trials"] == 30


def test_the_table_holds_every_share(rehearsal):
    table = rehearsal.table
    assert list(table.columns) == ["saving", "quantity", "value", "low", "high", "count", "trials"]
    assert len(table) == 2 * (len(VERDICTS) + 6)
    row = table[(table.saving == 0.25) & (table.quantity == "verdict: saves")].iloc[0]
    assert (row["value"], row["low"], row["count"]) == (
        rehearsal.power.value, rehearsal.power.low, rehearsal.power.count
    )  # fmt: skip
    width = table[(table.saving == 0) & (table.quantity == "half-width, W")].iloc[0]
    assert width["value"] == rehearsal.none.half_width.value
    assert table["trials"].isna().sum() == 4
