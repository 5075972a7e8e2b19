"""Three conditions or more, compared with all intervals holding together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from lossstats.comparison.saving import Better, Shared
from lossstats.comparison.verdict import Verdict, decide
from lossstats.several.condition_pairs import Pair, Request, Uncertain, family_of, make_pairs
from lossstats.several.conditions import Conditions, check_conditions
from lossstats.several.overall import OverallTest, blocked_test, welch_anova
from lossstats.several.ranked import ControlRatio, PairDifference, Ranking

__all__ = ["ControlRatio", "PairDifference", "Ranking", "rank_conditions", "welch_anova"]

# Ends of a ratio that are a thousand times apart say nothing.
_LARGEST_LOG = math.log(1000) / 2


def rank_conditions(
    conditions: Any,
    *,
    control: str | None = None,
    blocks: Any = None,
    confidence: float = 0.95,
    matters: float | None = None,
    shared: Shared | None = None,
    level_uncertainty: float = 0.0,
    resolution: float = 0.0,
    better: Better = "lower",
    unit: str = "W",
) -> Ranking:
    """Compare three conditions or more: all pairs, or each with a control, family-wise error held.

    Parameters
    ----------
    conditions : mapping {name: values}
        Values: mapping {article: value}, pandas.Series or sequence of float, one value a unit.
    control : str, optional
        The condition with which each other one is compared, fixed before the data were seen. Left out: all pairs.
    blocks : bool or sequence of str, optional
        True: every article was measured in every condition; False: other articles in each. Left out: as the names of
        the articles say, other articles where they have none. A sequence names the articles of unnamed values.
    confidence : float, default 0.95
        That all intervals of differences hold together; likewise those of the ratios.
    matters : float, optional
        The difference that matters, fixed before the data were seen.
    shared : mapping, optional
        Errors that the scatter cannot show, as in `lossstats.compare_pairs`; a covariance is over the
        cells of all conditions in order.
    level_uncertainty : float, default 0
        Standard uncertainty of one unit value that its readings alone cause; a floor, never added.
    resolution : float, default 0
        Display step, a floor as well.
    better : {"lower", "higher"}
        Which way is better.
    unit : str
        Shown beside the numbers.

    Returns
    -------
    Ranking
        Differences with simultaneous intervals and adjusted p, ratios to the control, groups that cannot be told
        apart.

    Raises
    ------
    TypeError
        If runs or samples are passed as units.
    ValueError
        If there are fewer than three conditions, fewer than two units in one, a value is not finite, the control is
        not among the conditions, articles are in some conditions only, or the units do not scatter and no floor is
        given.

    Notes
    -----
    Independent articles, all pairs: Games and Howell, intervals and p. Independent articles, control: intervals by
    the many-to-one quantile with unequal variances, p by Holm from single Welch tests. Blocks: paired t of each
    pair, intervals by Bonferroni, p by Holm; the differences may scatter and correlate in any way, as they hold
    under any correlation. Words follow the intervals.

    The factor of the family multiplies the scatter and what drift does to each comparison. A gain error is one and
    the same in all comparisons, so it has its own single factor; the half-width is the root of the sum of squares
    of the two. Simulated with true differences of 0 to 2.5 W, scatter 0.2 W, five units: all intervals hold together
    in 94.6 % and more for gain errors up to 3 %, in 92.6 % for one of 10 %, which exceeds the scatter (all pairs).

    Family-wise error at a nominal 5 %, three and four conditions, four to ten units, standard deviations 1:1:1:4 and
    4:1:1:1 included: 4.4 to 5.6 % all pairs, 4.0 to 5.5 % control, 2.9 to 5.1 % blocks.

    Examples
    --------
    >>> ranking = rank_conditions(
    ...     {"A": [6.5, 6.7, 6.4, 6.6], "B": [6.1, 6.0, 6.2, 5.9], "C": [6.6, 6.4, 6.6, 6.7]}, control="A"
    ... )
    >>> ranking.order, ranking.groups
    (('B', 'A', 'C'), (('A', 'C'),))
    """
    request = Request(control, confidence, matters, shared or {}, level_uncertainty, resolution, better, unit)
    request.options((2, 2))  # checks what was asked for before it looks at the values
    checked = check_conditions(conditions, blocks)
    if control is not None and control not in checked.names:
        raise ValueError(f"control: found {control!r}; accepted: {' or '.join(map(repr, checked.names))}, or None")
    pairs = make_pairs(checked, request)
    comparisons = _differences(checked, request, pairs)
    means = {name: float(values.mean()) for name, values in checked.values.items()}
    order = tuple(sorted(means, key=lambda name: means[name] if better == "lower" else -means[name]))
    overall, why = _overall(checked)
    return Ranking(
        order=order,
        means={name: means[name] for name in order},
        n=checked.n,
        blocks=checked.blocks,
        control=control,
        confidence=confidence,
        method=_method(checked, control),
        comparisons=comparisons,
        groups=_groups(order, comparisons, control),
        control_ratios=_ratios(checked, request, pairs),
        overall=overall,
        why_no_overall=why,
        unit=unit,
        notes=_notes(checked, request, pairs, comparisons),
    )


def _differences(conditions: Conditions, request: Request, pairs: Sequence[Pair]) -> tuple[PairDifference, ...]:
    parts = [pair.difference for pair in pairs]
    family = family_of(conditions, request.control, parts)
    separate = [part.separate for part in parts]
    ratios = [part.value / term.standard_uncertainty for part, term in zip(parts, separate, strict=True)]
    adjusted = family.adjusted_p(ratios, separate)
    found = []
    for pair, part, term, p in zip(pairs, parts, separate, adjusted, strict=True):
        factor = family.factor(term, request.confidence)
        half = part.half_width(factor)
        low, high = part.value - half, part.value + half
        found.append(
            PairDifference(
                first=pair.first,
                second=pair.second,
                difference=part.value,
                low=low,
                high=high,
                standard_uncertainty=part.spread.combined(request.confidence).standard_uncertainty,
                degrees_of_freedom=term.degrees_of_freedom,
                factor=factor,
                components=part.spread.components(request.confidence),
                p_adjusted=p,
                verdict=_verdict(low, high, (conditions.n[pair.first], conditions.n[pair.second]), request),
                _spread=part.spread,
            )
        )
    return tuple(found)


def _verdict(low: float, high: float, n: tuple[int, int], request: Request) -> Verdict:
    if min(n) == 2:
        why = "two units give an interval, but too little for a verdict"
        return Verdict("no verdict", "no verdict", matters=request.matters, why=why)
    return decide(low, high, matters=request.matters, unit=request.unit)


def _ratios(conditions: Conditions, request: Request, pairs: Sequence[Pair]) -> tuple[ControlRatio, ...]:
    if request.control is None:
        return ()
    logs: list[Uncertain] = [pair.log_ratio for pair in pairs if pair.log_ratio is not None]
    scale = 1 / abs(float(conditions.values[request.control].mean())) if logs else 1.0
    family = family_of(conditions, request.control, logs, scale) if logs else None
    found = []
    for pair in pairs:
        if pair.log_ratio is None or family is None:
            found.append(ControlRatio(pair.second, None, None, None, pair.why_no_ratio))
            continue
        half = pair.log_ratio.half_width(family.factor(pair.log_ratio.separate, request.confidence))
        if half > _LARGEST_LOG:
            why = f"the level {pair.second} or {pair.first} is not clearly above zero, so a ratio means nothing"
            found.append(ControlRatio(pair.second, None, None, None, why))
            continue
        percent, low, high = (100 * math.exp(pair.log_ratio.value + x) for x in (0.0, -half, half))
        found.append(ControlRatio(pair.second, percent, low, high))
    return tuple(found)


def _groups(
    order: Sequence[str], comparisons: Sequence[PairDifference], control: str | None
) -> tuple[tuple[str, ...], ...]:
    """Largest sets in which no two conditions are told apart; with a control, the set around it."""
    alike: dict[str, set[str]] = {name: set() for name in order}
    for pair in comparisons:
        if not pair.verdict.difference_shown:
            alike[pair.first].add(pair.second)
            alike[pair.second].add(pair.first)
    if control is not None:
        sets = [alike[control] | {control}] if alike[control] else []
    else:
        sets = [found for found in _cliques(alike, set(), set(order), set()) if len(found) > 1]
    ranked = [tuple(sorted(found, key=order.index)) for found in sets]
    return tuple(sorted(ranked, key=lambda found: [order.index(name) for name in found]))


def _cliques(alike: dict[str, set[str]], chosen: set[str], open_: set[str], done: set[str]) -> list[set[str]]:
    # Bron and Kerbosch (1973), Communications of the ACM 16, 575.
    if not open_ and not done:
        return [chosen]
    found = []
    for name in sorted(open_):
        found += _cliques(alike, chosen | {name}, open_ & alike[name], done & alike[name])
        open_, done = open_ - {name}, done | {name}
    return found


def _overall(conditions: Conditions) -> tuple[OverallTest | None, str]:
    try:
        if conditions.blocks:
            return blocked_test(np.array(list(conditions.values.values()))), ""
        return welch_anova(conditions.values), ""
    except ValueError as error:  # the values were checked before: what is left is a scatter of 0
        return None, str(error).partition(";")[0]


def _method(conditions: Conditions, control: str | None) -> str:
    if conditions.blocks:
        return "paired t of each comparison, intervals by Bonferroni, p by Holm: hold under any correlation"
    if control is None:
        return "Games and Howell: studentised range with Welch degrees of freedom of each pair"
    return "many-to-one quantile with unequal variances and Welch degrees of freedom of each comparison; p by Holm"


def _notes(
    conditions: Conditions, request: Request, pairs: Sequence[Pair], comparisons: Sequence[PairDifference]
) -> tuple[str, ...]:
    notes = []
    below = [pair for pair in pairs if pair.difference.by_readings]
    if below:
        notes.append(
            f"the scatter between units is smaller than the readings alone would cause in {_listed(below)}; the "
            "readings set these intervals"
        )
    n = conditions.n.values()
    if not conditions.blocks and len(set(n)) > 1 and min(n) < 4:
        notes.append(
            f"unequal and small groups ({', '.join(map(str, n))}): the intervals may hold the truth too seldom"
        )
    judged = [pair for pair in comparisons if pair.verdict.kind != "no verdict"]
    split = [p for p in judged if (p.p_adjusted < 1 - request.confidence) != p.verdict.difference_shown]
    if split:
        notes.append(f"interval and adjusted p disagree in {_listed(split)}, near the limit: words follow the interval")
    if request.control is not None:
        notes.append(f"each condition was compared with {request.control}, the others not with each other")
    return tuple(notes)


def _listed(pairs: Sequence[Pair] | Sequence[PairDifference]) -> str:
    return ", ".join(f"{pair.second} against {pair.first}" for pair in pairs)
