"""The words for three conditions or more: what may be signed, its scope, and what may not be claimed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lossstats.comparison.statement import Statement, changed_rules, count_of, p_is, printed_places, size_left_open
from lossstats.records.rendering import decimals_for, shown

if TYPE_CHECKING:
    from lossstats.several.ranked import ControlRatio, PairDifference, Ranking
    from lossstats.trial_folder.settings import Settings

MOST_PAIRS_IN_WORDS = 3


def make_ranking_statement(settings: Settings, ranking: Ranking, notes: Sequence[str]) -> Statement:
    """Put a ranking into words.

    Parameters
    ----------
    settings : Settings
        Question, names, scope.
    ranking : Ranking
        The finished ranking.
    notes : sequence of str
        Notes of the analysis: runs left out, drift.

    Returns
    -------
    Statement
        Words follow the simultaneous intervals; numbers rounded to two significant digits of the standard
        uncertainty, to more where rounding would move an end across 0 or across the difference that matters.
    """
    remark = (settings.trial.note,) if settings.trial.note else ()
    return Statement(
        (_told_apart(settings, ranking), _verdicts(ranking), _basis(ranking), *changed_rules(notes)),
        _scope(settings),
        _not_claimed(ranking, notes),
        (*ranking.notes, *notes, *remark),
    )


def places_of(pair: PairDifference) -> int:
    """Find how many decimals a difference needs.

    Parameters
    ----------
    pair : PairDifference
        The difference.

    Returns
    -------
    int
        Decimals at which no printed end lies on another side of 0, or of the difference that matters, than it does.
    """
    return printed_places(pair, pair.verdict.matters)


def in_words(settings: Settings, ranking: Ranking, pair: PairDifference) -> str:
    """Say what one comparison found.

    Parameters
    ----------
    settings : Settings
        Unit and direction.
    ranking : Ranking
        The ranking.
    pair : PairDifference
        One of its comparisons.

    Returns
    -------
    str
        For example ``"0.42 W lower with B than with A (0.31 W to 0.53 W; 6.4 %, 4.8 % to 8.0 %)"``.
    """
    unit, better = settings.trial.unit, settings.trial.better
    worse = "higher" if better == "lower" else "lower"
    sign, places = (1 if pair.difference >= 0 else -1), places_of(pair)
    low, high = sorted((sign * pair.low, sign * pair.high))
    ratio = next((r for r in ranking.control_ratios if r.condition == pair.second), None)
    return (
        f"{shown(abs(pair.difference), places)} {unit} {better if sign > 0 else worse} with {pair.second} than with "
        f"{pair.first} ({shown(low, places)} {unit} to {shown(high, places)} {unit}{_percent(ratio)})"
    )


def _percent(ratio: ControlRatio | None) -> str:
    # Change in percent of the control, with the sign that the change in the unit has.
    if ratio is None or ratio.percent is None or ratio.low is None or ratio.high is None:
        return ""
    sign = 1 if ratio.percent >= 100 else -1
    places = decimals_for((ratio.high - ratio.low) / 4)
    value, *ends = (sign * (x - 100) for x in (ratio.percent, ratio.low, ratio.high))
    low, high = (shown(end, places) for end in sorted(ends))
    return f"; {shown(value, places)} %, {low} % to {high} %"


def _told_apart(settings: Settings, ranking: Ranking) -> str:
    apart = [pair for pair in ranking.comparisons if pair.verdict.difference_shown]
    together = f"{ranking.confidence * 100:g} % intervals that hold together"
    if not apart:
        number = len(ranking.comparisons)
        return f"No difference in {settings.trial.measurand} is shown by any of the {number} comparisons ({together})."
    apart.sort(key=lambda pair: -abs(pair.difference) / pair.standard_uncertainty)
    if ranking.control is None and len(apart) > MOST_PAIRS_IN_WORDS:
        named = "; ".join(in_words(settings, ranking, pair) for pair in apart[:MOST_PAIRS_IN_WORDS])
        left = len(apart) - MOST_PAIRS_IN_WORDS
        more = f"; {left} more {'difference is' if left == 1 else 'differences are'} in the table"
    else:
        named, more = "; ".join(in_words(settings, ranking, pair) for pair in apart), ""
    return f"The {settings.trial.measurand} is {named}{more} ({together})."


def _verdicts(ranking: Ranking) -> str:
    """Verdicts of all comparisons with the control, or of the two best conditions; groups that cannot be told apart."""
    groups = "; ".join(_and(group) for group in ranking.groups)
    if ranking.control is None:
        pair = ranking.leading
        first = f"Verdict on the two best: {pair.second} against {pair.first} {_verdict(pair, ranking.unit)}."
        return f"{first} Cannot be told apart, which is not the same as equal: {groups}." if groups else first
    by_order = sorted(ranking.comparisons, key=lambda pair: ranking.order.index(pair.second))
    clauses = "; ".join(f"{pair.second} {_verdict(pair, ranking.unit)}" for pair in by_order)
    verdict = f"Verdict against {ranking.control}: {clauses}."
    return f"{verdict} Cannot be told apart, which is not the same as equal: {groups}." if groups else verdict


def _verdict(pair: PairDifference, unit: str) -> str:
    verdict = pair.verdict
    if verdict.kind == "no verdict":
        return f"no verdict ({verdict.why})"
    return verdict.words + size_left_open(verdict, unit)


def _basis(ranking: Ranking) -> str:
    conditions = count_of(len(ranking.order), "condition")
    n = sorted(set(ranking.n.values()))
    if ranking.blocks:
        data = f"{count_of(n[0], 'article')}, each measured in all {conditions}"
    else:
        number = count_of(n[0], "article") if len(n) == 1 else f"{n[0]} to {n[-1]} articles"
        data = f"{number} in each of {conditions}, other articles in each"
    means = ", ".join(f"{name} {shown(ranking.means[name], 2)}" for name in ranking.order)
    overall = ranking.overall
    test = "" if overall is None else f"; any difference at all: p {p_is(overall.p_value)}, {overall.method}"
    return f"Basis: {data}; means {means} {ranking.unit}; {ranking.method}{test}."


def _scope(settings: Settings) -> tuple[str, ...]:
    scope = settings.scope
    named = (("Bench", scope.bench), ("Lubricant", scope.lubricant), ("Operating point", scope.operating_point))
    return (
        f"Articles: {scope.articles or 'articles like those measured'}.",
        *(f"{name}: {text or 'not stated in the trial'}." for name, text in named),
    )


def _not_claimed(ranking: Ranking, notes: Sequence[str]) -> tuple[str, ...]:
    lines = []
    if ranking.groups:
        lines.append("That conditions that cannot be told apart are equal, or that their order is real.")
    if ranking.control is not None and len(ranking.order) > 2:
        lines.append(
            f"Any difference between conditions other than {ranking.control}: the intervals were made for the "
            f"comparisons with {ranking.control} alone."
        )
    lines.append("The same change for every single article: the intervals are for the means of such articles.")
    if any("cannot be told apart" in note for note in notes):
        lines.append("That the conditions and not the bench or the passing of time did it: nothing was there to tell.")
    if not ranking.blocks:
        lines.append("More than chance put the articles into their conditions: if it was not by lot, they may differ.")
    if any(pair.verdict.matters is None for pair in ranking.comparisons):
        lines.append("That a difference is too small to matter: none was fixed before the trial.")
    lines.append("Other benches, lubricants and operating points, or how long it lasts.")
    if ranking.control_ratios:
        lines.append(f"A percentage of the input power: percent here is of the level with {ranking.control}.")
    return tuple(lines)


def _and(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
