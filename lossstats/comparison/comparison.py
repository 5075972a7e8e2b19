"""Two conditions compared, by design: difference and percent with intervals, p, exact p, verdict."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from lossstats.comparison.contrast import (
    Array,
    Contrast,
    controlled_contrast,
    crossover_contrast,
    group_contrast,
    paired_contrast,
)
from lossstats.comparison.saving import (
    Better,
    Floors,
    Options,
    Shared,
    level_doubt_note,
    percent_saving,
    scatter_of,
    shared_terms,
)
from lossstats.comparison.verdict import Verdict, decide
from lossstats.exact_tests.resampling import ExactTest, permute_groups, sign_flip
from lossstats.records.estimate import (
    Estimate,
    Interval,
    Spread,
    Term,
    combine,
    coverage_factor,
    equivalence_p,
    make_estimate,
    two_sided_p,
    wider_scatter,
)
from lossstats.records.rendering import Record, shown_dof, shown_p
from lossstats.records.units import order_of, same_units, unit_values

MOST_UNITS_SEARCHED = 500


@dataclass(frozen=True)
class Comparison(Record):
    """Result of comparing two conditions.

    Attributes
    ----------
    design : str
        ``paired``, ``independent``, ``controls`` or ``single``.
    n : tuple of int
        Units of replication: pairs, or units a group; for ``single`` the mounts of each condition.
    difference : Estimate or None
        The saving: before minus after (after minus before where higher is better).
    why_no_interval : str
        Why `difference` is None.
    percent : Estimate or None
        The saving in percent of the level before.
    why_no_percent : str
        Why `percent` is None.
    p_value : float or None
        Two-sided, of no difference; by the same spread as the interval.
    p_equivalence : float or None
        Of the two one-sided tests against the difference that matters: below 0.025 exactly where the 95 % interval
        lies within it. None where no such difference was fixed.
    exact : ExactTest or None
        The exact test that goes with the design, beside the p.
    fieller_percent : Interval or None
        Fieller limits of the percentage from scatter alone, as a check of the log ratio.
    before_mean, after_mean : float
        Means of the unit values.
    observed, observed_percent : float
        The saving as observed; `observed_percent` is nan where the level before is not above zero.
    verdict : Verdict
        By the one rule.
    units_to_decide : int or None
        Units (a condition) at which an interval of the present centre and scatter would decide.
    notes : tuple of str
        What a reader must know.
    period : Estimate or None
        For a crossover: how much lower the second period read than the first, whatever the condition.
    """

    design: str
    n: tuple[int, ...]
    difference: Estimate | None
    why_no_interval: str
    percent: Estimate | None
    why_no_percent: str
    p_value: float | None
    exact: ExactTest | None
    fieller_percent: Interval | None
    before_mean: float
    after_mean: float
    observed: float
    observed_percent: float
    verdict: Verdict
    units_to_decide: int | None = None
    notes: tuple[str, ...] = field(default=())
    period: Estimate | None = None
    p_equivalence: float | None = None

    title = "Comparison"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [("verdict", self.verdict.words)]
        for name, estimate, why in (
            ("saving", self.difference, self.why_no_interval),
            ("in percent", self.percent, self.why_no_percent),
        ):
            if estimate is None:
                rows.append((name, f"no interval: {why}"))
                continue
            (label, interval), *rest = estimate._rows()
            rows.append((name, f"{dict(rest)['value']}, {label} {interval}"))
        if self.difference is not None:
            rows.append(("degrees of freedom", shown_dof(self.difference.degrees_of_freedom)))
        rows.append(("design, units", f"{self.design}, {' and '.join(map(str, self.n))}"))
        if self.units_to_decide is not None:
            rows.append(("units that would decide", str(self.units_to_decide)))
        if self.period is not None:
            (label, interval), *rest = self.period._rows()
            rows.append(("second period lower by", f"{dict(rest)['value']}, {label} {interval}"))
        if self.p_value is not None:
            rows.append(("p", shown_p(self.p_value)))
        if self.p_equivalence is not None:
            rows.append(("p of two one-sided tests", shown_p(self.p_equivalence)))
        if self.exact is not None:
            rows.append(("exact p", f"{shown_p(self.exact.p_value)} (smallest reachable {self.exact.smallest_p:.2g})"))
        return rows + [("note", note) for note in self.notes]


def compare_pairs(
    before: Any,
    after: Any,
    *,
    confidence: float = 0.95,
    matters: float | None = None,
    shared: Shared | None = None,
    level_uncertainty: float = 0.0,
    resolution: float = 0.0,
    better: Better = "lower",
    unit: str = "W",
) -> Comparison:
    """Same articles before and after: paired t on one difference an article.

    Parameters
    ----------
    before, after : mapping {article: value}, pandas.Series or sequence of float
        One value an article, the same articles in the same order.
    confidence : float, default 0.95
        Of the intervals.
    matters : float, optional
        The difference that matters, fixed before the data were seen.
    shared : mapping, optional
        Errors that the scatter cannot show: ``{"gain": relative u, "zero": u, "rezero": u of one zero,
        "drift": u of the difference}``; a value may be a pair (u, degrees of freedom), or a `SharedTerm` under
        any name.
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
    Comparison
        Difference: paired t. Percent: log ratio of the means, limits by t.

    Raises
    ------
    TypeError
        If runs or samples are passed as units.
    ValueError
        If there are fewer than two units, the units do not match, a value is not finite, or the values do not
        scatter and neither `level_uncertainty` nor `resolution` is given.

    Notes
    -----
    Not for units that were not measured in both conditions; not for one article measured several times (its
    mounts may be compared with `compare_groups`, for that article only). Before and after differ in time, too:
    without reference runs or untouched controls a drift of the bench cannot be told from the treatment.

    Examples
    --------
    >>> result = compare_pairs([7.10, 6.84, 7.32, 6.95], [6.61, 6.40, 6.71, 6.52], matters=0.25)
    >>> result.verdict.words
    'saves more than 0.25 W'
    """
    same_units(before, after)
    y, z = unit_values("before", before), unit_values("after", after)
    floors = Floors((1 / len(y), 1 / len(z)), level_uncertainty, resolution)
    options = Options(confidence, matters, shared or {}, floors, better, unit)
    return _compare("paired", (y, z), paired_contrast(len(y)), (len(y),), lambda: sign_flip(y - z), options)


def compare_groups(
    before: Any,
    after: Any,
    *,
    confidence: float = 0.95,
    matters: float | None = None,
    shared: Shared | None = None,
    level_uncertainty: float = 0.0,
    resolution: float = 0.0,
    better: Better = "lower",
    unit: str = "W",
) -> Comparison:
    """Independent articles in each condition: Welch t.

    Parameters
    ----------
    before, after : mapping {article: value}, pandas.Series or sequence of float
        One value an article; no article in both.
    confidence : float, default 0.95
        Of the intervals.
    matters : float, optional
        The difference that matters.
    shared : mapping, optional
        Errors that the scatter cannot show, as in `compare_pairs`.
    level_uncertainty, resolution : float, default 0
        Floors, as in `compare_pairs`.
    better : {"lower", "higher"}
        Which way is better.
    unit : str
        Shown beside the numbers.

    Returns
    -------
    Comparison
        Difference: Welch t. Percent: log ratio with Welch-Satterthwaite degrees of freedom.

    Raises
    ------
    TypeError
        If runs or samples are passed as units.
    ValueError
        As in `compare_pairs`.

    Notes
    -----
    Welch (1947), Biometrika 34, 28. Unequal numbers of units hurt it more than unequal spreads: its size at a
    nominal 5 % is 7.5 % for 2 against 6 units.
    """
    y, z = unit_values("before", before), unit_values("after", after)
    floors = Floors((1 / len(y), 1 / len(z)), level_uncertainty, resolution)
    options = Options(confidence, matters, shared or {}, floors, better, unit)
    contrast = group_contrast(len(y), len(z))
    return _compare("independent", (y, z), contrast, (len(y), len(z)), lambda: permute_groups(y, z), options)


def compare_with_controls(
    before: Any,
    after: Any,
    control_before: Any,
    control_after: Any,
    *,
    confidence: float = 0.95,
    matters: float | None = None,
    shared: Shared | None = None,
    level_uncertainty: float = 0.0,
    resolution: float = 0.0,
    better: Better = "lower",
    unit: str = "W",
) -> Comparison:
    """Treated articles before and after, with untouched articles run in both sessions beside them.

    Parameters
    ----------
    before, after : mapping {article: value}, pandas.Series or sequence of float
        One value a treated article.
    control_before, control_after : mapping {article: value}, pandas.Series or sequence of float
        One value an untouched article.
    confidence : float, default 0.95
        Of the intervals.
    matters : float, optional
        The difference that matters.
    shared : mapping, optional
        Errors that the scatter cannot show, as in `compare_pairs`.
    level_uncertainty, resolution : float, default 0
        Floors, as in `compare_pairs`.
    better : {"lower", "higher"}
        Which way is better.
    unit : str
        Shown beside the numbers.

    Returns
    -------
    Comparison
        Difference in differences by Welch t on the changes; percent of the treated level before, the level
        after corrected by the change of the controls.

    Raises
    ------
    TypeError
        If runs or samples are passed as units.
    ValueError
        As in `compare_pairs`.
    """
    same_units(before, after)
    same_units(control_before, control_after, ("control_before", "control_after"))
    parts = (
        unit_values("before", before),
        unit_values("after", after),
        unit_values("control_before", control_before),
        unit_values("control_after", control_after),
    )
    treated, untouched = parts[0] - parts[1], parts[2] - parts[3]
    n = (len(treated), len(untouched))
    floors = Floors((2 / n[0], 2 / n[1]), level_uncertainty, resolution)
    options = Options(confidence, matters, shared or {}, floors, better, unit)
    return _compare("controls", parts, controlled_contrast(*n), n, lambda: permute_groups(treated, untouched), options)


def compare_crossover(
    before: Any,
    after: Any,
    after_first: Any,
    *,
    confidence: float = 0.95,
    matters: float | None = None,
    shared: Shared | None = None,
    level_uncertainty: float = 0.0,
    resolution: float = 0.0,
    better: Better = "lower",
    unit: str = "W",
) -> Comparison:
    """Compare the two conditions of articles that were measured in both, some in the one order and some in the other.

    Parameters
    ----------
    before, after : mapping {article: value}, pandas.Series or sequence of float
        One value an article, the same articles in the same order.
    after_first : collection of article names, or sequence of bool
        The articles that were measured in the condition after first; bools where the articles have no names.
    confidence : float, default 0.95
        Of the intervals.
    matters : float, optional
        The difference that matters.
    shared : mapping, optional
        Errors that the scatter cannot show, as in `compare_pairs`.
    level_uncertainty, resolution : float, default 0
        Floors, as in `compare_pairs`.
    better : {"lower", "higher"}
        Which way is better.
    unit : str
        Shown beside the numbers.

    Returns
    -------
    Comparison
        Mean of the two order means, by Welch t; a period effect cancels in it and stands in `period`.

    Raises
    ------
    TypeError
        If runs or samples are passed as units.
    ValueError
        As in `compare_pairs`, and if an order holds fewer than two articles.

    Notes
    -----
    Not where the treatment cannot be undone: an article is dusty before it is cleaned, and dusting it again is
    another dusting. A treatment that carries over to the next period cannot be told from its effect. Jones and
    Kenward (2014), Design and Analysis of Cross-Over Trials, 2.3 (from memory).
    """
    same_units(before, after)
    y, z = unit_values("before", before), unit_values("after", after)
    turned = order_of(before, after_first)
    n = (int(np.count_nonzero(~turned)), int(np.count_nonzero(turned)))
    if min(n) < 2:
        raise ValueError(f"after_first: found {n[0]} and {n[1]} articles in the two orders; accepted: at least 2 each")
    floors = Floors((1 / len(y), 1 / len(z)), level_uncertainty, resolution)
    options = Options(confidence, matters, shared or {}, floors, better, unit)
    fall = np.where(turned, z - y, y - z)  # first period minus second
    contrast = crossover_contrast(turned)
    result = _compare("crossover", (y, z), contrast, n, lambda: permute_groups(fall[~turned], fall[turned]), options)
    halves = Contrast((contrast.groups[0], -contrast.groups[1]))
    cells = np.concatenate([y, z])
    period = make_estimate(halves.value(cells), Spread(halves.scatter(cells)), confidence, unit=unit)
    return replace(result, period=period)


def compare_single(
    before: float,
    after: float,
    *,
    repeatability: float | None = None,
    repeatability_dof: float | None = None,
    mounts: tuple[int, int] = (1, 1),
    confidence: float = 0.95,
    matters: float | None = None,
    shared: Shared | None = None,
    level_uncertainty: float = 0.0,
    resolution: float = 0.0,
    better: Better = "lower",
    unit: str = "W",
) -> Comparison:
    """One article before and after, with or without a repeatability known from elsewhere.

    Parameters
    ----------
    before, after : float
        Mean of the levels of its mounts in each condition.
    repeatability : float, optional
        Standard deviation of the level of one mount of such an article, refit included, known from other work.
    repeatability_dof : float, optional
        Its degrees of freedom; required with it.
    mounts : tuple of int
        Mounts behind each value.
    confidence : float, default 0.95
        Of the intervals.
    matters : float, optional
        The difference that matters.
    shared : mapping, optional
        Errors that the scatter cannot show, as in `compare_pairs`.
    level_uncertainty, resolution : float, default 0
        Floors, as in `compare_pairs`.
    better : {"lower", "higher"}
        Which way is better.
    unit : str
        Shown beside the numbers.

    Returns
    -------
    Comparison
        With a repeatability: an interval, for this article only. Without: a description, no interval and no
        verdict.

    Raises
    ------
    ValueError
        If a value is not finite, the repeatability is not above 0 or comes without degrees of freedom, or the
        number of mounts is below 1.
    """
    y, z = unit_values("before", [before], at_least=1), unit_values("after", [after], at_least=1)
    if min(mounts) < 1:
        raise ValueError(f"mounts: found {mounts!r}; accepted: two whole numbers of at least 1")
    floors = Floors((1 / mounts[0], 1 / mounts[1]), level_uncertainty, resolution)
    options = Options(confidence, matters, shared or {}, floors, better, unit)
    only = "the claim is for this article only: one article says nothing about others"
    if repeatability is None:
        return _describe(float(y[0]), float(z[0]), mounts, only, options)
    if not (repeatability > 0 and repeatability_dof is not None and repeatability_dof > 0):
        raise ValueError(
            f"repeatability, repeatability_dof: found {repeatability!r}, {repeatability_dof!r}; accepted: a standard "
            "deviation above 0 with its degrees of freedom above 0"
        )
    known = Term(repeatability * math.sqrt(1 / mounts[0] + 1 / mounts[1]), repeatability_dof)
    return _compare("single", (y, z), group_contrast(1, 1), mounts, None, options, known=known, notes=(only,))


def _compare(
    design: str,
    parts: tuple[Array, ...],
    contrast: Contrast,
    n: tuple[int, ...],
    exact: Callable[[], ExactTest] | None,
    options: Options,
    *,
    known: Term | None = None,
    notes: tuple[str, ...] = (),
) -> Comparison:
    """Steps common to all designs: difference, percent, p, exact p, verdict."""
    cells = np.concatenate(parts)
    saving = options.sign * contrast.value(cells)
    spread = Spread(
        known or scatter_of(contrast, cells, options.shared),
        options.floors.of((1, 1)),
        shared_terms(options.shared, contrast, cells, parts),
        options.floors.parts((1, 1)),
    )
    _refuse_zero_spread(spread)
    difference = make_estimate(saving, spread, options.confidence, unit=options.unit)
    percent, why_no_percent, fieller = percent_saving(parts, contrast, cells, known, options)
    verdict = _verdict(difference, n, design, options)
    test = None if exact is None else _enumerated(exact)
    return Comparison(
        design, n, difference, "", percent, why_no_percent, two_sided_p(saving, spread), test, fieller,
        float(parts[0].mean()), float(parts[1].mean()), saving, _share(saving, parts[0]), verdict,
        _units_to_decide(verdict, saving, spread, n, options),
        notes + _notes(spread, n, test, design, options) + (level_doubt_note(parts, cells, options) if percent else ()),
        p_equivalence=None if options.matters is None else equivalence_p(saving, options.matters, spread),
    )  # fmt: skip


def _refuse_zero_spread(spread: Spread) -> None:
    if spread.scatter.standard_uncertainty == 0 and spread.floor == 0:
        raise ValueError(
            "the units do not scatter at all: found a standard deviation of 0; accepted: give resolution= (the display "
            "step) or level_uncertainty=, since readings on a coarse scale may agree by rounding alone"
        )


def _verdict(difference: Estimate, n: tuple[int, ...], design: str, options: Options) -> Verdict:
    if design != "single" and min(n) == 2:
        why = "two units give an interval, but too little for a verdict"
        return Verdict("no verdict", "no verdict", matters=options.matters, why=why)
    return decide(difference.low, difference.high, matters=options.matters, unit=options.unit)


def _enumerated(exact: Callable[[], ExactTest]) -> ExactTest | None:
    try:
        return exact()
    except ValueError:  # too many relabellings to enumerate; the inputs themselves were checked before
        return None


def _units_to_decide(
    verdict: Verdict, saving: float, spread: Spread, n: tuple[int, ...], options: Options
) -> int | None:
    """Units a condition at which the present centre and scatter would give a firm verdict, if any number does."""
    if verdict.firm or verdict.kind == "no verdict":
        return None

    def decides(more: int) -> bool:
        factor = max(n) / more
        fewer = wider_scatter(spread, math.sqrt(factor), (more - 1) / max(max(n) - 1, 1))
        ends = make_estimate(saving, fewer, options.confidence, unit=options.unit)
        return decide(ends.low, ends.high, matters=options.matters, unit=options.unit).firm

    # More units give nested intervals, so what decides once decides from there on.
    numbers = range(max(n) + 1, MOST_UNITS_SEARCHED + 1)
    first = bisect_left(numbers, True, key=decides)  # noqa: FBT003
    return numbers[first] if first < len(numbers) else None


def _notes(
    spread: Spread, n: tuple[int, ...], test: ExactTest | None, design: str, options: Options
) -> tuple[str, ...]:
    notes = []
    used = spread.units(options.confidence)
    if used != spread.scatter:
        notes.append(
            "the scatter between units is smaller than the readings alone would cause; the readings set the interval"
        )
    if design == "independent" and n[0] != n[1] and min(n) < 4:
        notes.append(f"unequal and small groups ({n[0]} and {n[1]}): the Welch interval may hold the truth too seldom")
    shared = combine(list(spread.shared.values())).standard_uncertainty
    if shared > 2 * used.standard_uncertainty and min(n) <= 4:
        notes.append("dominated by errors common to all units (instrument, drift): more units would not narrow it")
    if test is not None:
        notes += test.notes
    return tuple(notes)


def _share(saving: float, before: Array) -> float:
    mean = float(before.mean())
    return 100 * saving / mean if mean > 0 else math.nan


def _describe(before: float, after: float, mounts: tuple[int, int], only: str, options: Options) -> Comparison:
    """One article, no known repeatability: what was seen, and no claim."""
    saving = options.sign * (before - after)
    why = "one article without a known repeatability: how far a refit alone moves the level is not known"
    verdict = Verdict("no verdict", "no verdict: a description of what was read", matters=options.matters, why=why)
    bearable = abs(saving) / (coverage_factor(Term(0.0), options.confidence) * math.sqrt(1 / mounts[0] + 1 / mounts[1]))
    could = (
        f"only if the standard deviation of a refit were known to be below {bearable:.2g} {options.unit} would the "
        f"change read here lie outside what refitting does"
    )
    share = _share(saving, np.array([before]))
    return Comparison(
        "single",
        mounts,
        None,
        why,
        None,
        why,
        None,
        None,
        None,
        before,
        after,
        saving,
        share,
        verdict,
        None,
        (only, could),
    )
