"""The words: a statement an engineer would sign, its scope, and what may not be claimed."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

if TYPE_CHECKING:
    from lossstats.comparison.comparison import Comparison
    from lossstats.comparison.verdict import Verdict
    from lossstats.records.estimate import Estimate
    from lossstats.several.ranked import PairDifference
    from lossstats.trial_folder.settings import Settings

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
# Tables of trial.toml whose keys decide what comes out.
_RULES = (
    "log",
    "readings",
    "comparison",
    "settling",
    "screening",
    "drift",
    "operating_point",
    "instrument",
    "bench_model",
)


@dataclass(frozen=True)
class Statement(Record):
    """What may be signed, in the order of reading.

    Attributes
    ----------
    sentences : tuple of str
        Two or three sentences; one more where a rule was changed after the plan was sealed.
    scope : tuple of str
        What the claim is about.
    not_claimed : tuple of str
        What these data do not allow to be said.
    notes : tuple of str
        Remarks that belong to the claim: runs left out, drift, the note of the trial.
    """

    sentences: tuple[str, ...]
    scope: tuple[str, ...]
    not_claimed: tuple[str, ...]
    notes: tuple[str, ...] = ()

    title = "Statement"

    def _rows(self) -> list[tuple[str, str]]:
        named = (("scope", self.scope), ("may not be claimed", self.not_claimed), ("note", self.notes))
        return [("statement", " ".join(self.sentences)), *((name, line) for name, lines in named for line in lines)]

    def __str__(self) -> str:
        blocks = [_wrapped(" ".join(self.sentences), "")]
        for heading, lines in (("Scope", self.scope), ("May not be claimed", self.not_claimed), ("Notes", self.notes)):
            if lines:
                blocks.append("\n".join([heading, *(_wrapped(line, "- ") for line in lines)]))
        return "\n\n".join(blocks)

    def _repr_html_(self) -> str:
        parts = [f"<p>{escape(' '.join(self.sentences))}</p>"]
        for heading, lines in (("Scope", self.scope), ("May not be claimed", self.not_claimed), ("Notes", self.notes)):
            if lines:
                items = "".join(f"<li>{escape(line)}</li>" for line in lines)
                parts.append(f"<h4>{heading}</h4><ul>{items}</ul>")
        return "".join(parts)


def make_statement(settings: Settings, comparison: Comparison, notes: Sequence[str]) -> Statement:
    """Put a comparison into words.

    Parameters
    ----------
    settings : Settings
        Question, names, scope.
    comparison : Comparison
        The finished comparison.
    notes : sequence of str
        Notes of the analysis: runs left out, drift.

    Returns
    -------
    Statement
        Numbers rounded to two significant digits of the standard uncertainty (JCGM 100, 7.2.6), to more where
        rounding would move an end across 0 or across the difference that matters.
    """
    first = (
        _describe(settings, comparison)
        if comparison.difference is None
        else _interval(settings, comparison, comparison.difference)
    )
    sentences = (*first, _basis(settings, comparison), *changed_rules(notes))
    remark = (settings.trial.note,) if settings.trial.note else ()
    return Statement(
        sentences,
        _scope(settings, comparison),
        _not_claimed(comparison, notes),
        (*comparison.notes, *notes, *remark),
    )


def changed_rules(notes: Sequence[str]) -> tuple[str, ...]:
    """Say in the statement itself that a rule is another one than the plan sealed.

    Parameters
    ----------
    notes : sequence of str
        Notes of the analysis, departures from the plan among them.

    Returns
    -------
    tuple of str
        One sentence, or none.
    """
    departure = re.compile(rf"departs from the sealed plan: trial\.toml, key (?:{'|'.join(_RULES)})\.(.+)")
    changed = [found[1] for found in map(departure.fullmatch, notes) if found]
    return (f"Rules changed after the plan was sealed: {'; '.join(changed)}.",) if changed else ()


def _describe(settings: Settings, c: Comparison) -> tuple[str, ...]:
    keys, unit = settings.comparison, settings.trial.unit
    before, after, change = (f"{shown(x, 2)} {unit}" for x in (c.before_mean, c.after_mean, c.observed))
    share = "" if math.isnan(c.observed_percent) else f", {shown(c.observed_percent, 1)} % of the level before"
    return (
        f"The {settings.trial.measurand} read {before} {keys.before} and {after} {keys.after}: "
        f"{change} {settings.trial.better}{share}.",
        f"This is a description and not a claim: {c.why_no_interval}.",
    )


def _interval(settings: Settings, c: Comparison, d: Estimate) -> tuple[str, ...]:
    keys, unit = settings.comparison, settings.trial.unit
    places = printed_places(d, c.verdict.matters)
    direction = settings.trial.better if d.value >= 0 else {"lower": "higher", "higher": "lower"}[settings.trial.better]
    sign = 1 if d.value >= 0 else -1
    low, high = sorted((sign * d.low, sign * d.high))
    percent = ""
    if c.percent is not None:
        tenths = decimals_for(c.percent.standard_uncertainty)
        ends = sorted((sign * c.percent.low, sign * c.percent.high))
        percent = (
            f", which is {shown(abs(c.percent.value), tenths)} % of the level before "
            f"({shown(ends[0], tenths)} % to {shown(ends[1], tenths)} %)"
        )
    else:
        percent = f"; no percentage is given, because {c.why_no_percent}"
    return (
        f"The {settings.trial.measurand} is {shown(abs(d.value), places)} {unit} {direction} {keys.after} than "
        f"{keys.before} ({d.confidence * 100:g} % interval {shown(low, places)} {unit} to {shown(high, places)} {unit})"
        f"{percent}.",
        _verdict_sentence(settings, c),
    )


def printed_places(d: Estimate | PairDifference, matters: float | None) -> int:
    """Count the decimals at which no printed end lies on another side of 0 or of the difference that matters.

    Parameters
    ----------
    d : Estimate or PairDifference
        Value and interval to be printed.
    matters : float or None
        The difference that matters, if one was fixed.

    Returns
    -------
    int
        Those of two significant digits of the standard uncertainty, or a few more.
    """
    places = decimals_for(d.standard_uncertainty)
    marks = [0.0] if matters is None else [0.0, matters, -matters]
    for more in range(places, places + 4):
        if all(
            (round(end, more) > m) == (end > m) and (round(end, more) < m) == (end < m)
            for end in (d.low, d.high)
            for m in marks
        ):
            return more
    return places


def _verdict_sentence(settings: Settings, c: Comparison) -> str:
    keys, unit, verdict = settings.comparison, settings.trial.unit, c.verdict
    subject = f"Verdict: {keys.after} against {keys.before}"
    if verdict.kind == "no verdict":
        return f"{subject}, no verdict: {verdict.why}."
    if verdict.firm:
        return f"{subject} {verdict.words}{size_left_open(verdict, unit)}."
    n = c.units_to_decide
    more = "" if n is None else f"; about {n} units a condition would decide, if centre and scatter stay"
    return f"{subject} {verdict.words}: {verdict.why}{more}."


def size_left_open(verdict: Verdict, unit: str) -> str:
    """Say that a difference is shown whose size was to matter and is not told.

    Parameters
    ----------
    verdict : Verdict
        Of one comparison.
    unit : str
        Unit of the difference that matters.

    Returns
    -------
    str
        To stand behind the words of the verdict; empty where there is nothing to say.
    """
    if verdict.kind not in {"saves", "costs"} or verdict.beyond_matters or verdict.matters is None:
        return ""
    return f" (whether more than {verdict.matters:g} {unit} is not decided)"


def _basis(settings: Settings, c: Comparison) -> str:
    keys = settings.comparison
    before, after, first, last = keys.before, keys.after, c.n[0], c.n[-1]
    source = f"repeatability known from elsewhere, {keys.repeatability_source or 'source not stated'}"
    data, method = {
        "paired": (f"{count_of(first, 'article')}, each measured {before} and {after}", "paired t"),
        "crossover": (
            f"{count_of(first, 'article')} {before} first and {count_of(last, 'article')} {after} first",
            "Welch t on the changes from period to period",
        ),
        "independent": (
            f"{count_of(first, 'article')} {before} and {count_of(last, 'other article')} {after}",
            "Welch t",
        ),
        "controls": (
            f"{count_of(first, 'treated article')} and {count_of(last, 'untouched article')} beside them",
            "Welch t on the changes",
        ),
        "single": (
            f"one article, {count_of(first, 'mount')} {before} and {count_of(last, 'mount')} {after}",
            "Welch t on mounts" if keys.repeatability is None else source,
        ),
    }[c.design]
    if c.difference is None:
        return f"Basis: {data}."
    text = f"Basis: {data} ({method}, {shown_dof(c.difference.degrees_of_freedom)} effective degrees of freedom"
    if c.p_value is not None:
        text += f"; p {p_is(c.p_value)}"
    if c.exact is not None:
        name = "sign-flip" if c.design == "paired" else "permutation"
        text += f"; exact {name} p {p_is(c.exact.p_value)}, smallest reachable {c.exact.smallest_p:.2g}"
    return text + ")."


def p_is(p: float) -> str:
    """Show a p value behind the letter p.

    Parameters
    ----------
    p : float
        From 0 to 1.

    Returns
    -------
    str
        For example ``"= 0.031"``; never ``"= 0"``.

    Examples
    --------
    >>> p_is(0.03125), p_is(3e-7), p_is(0.998)
    ('= 0.031', '< 0.0001', '> 0.99')
    """
    if 0.995 <= p < 1:
        return "> 0.99"
    return "< 0.0001" if p < 0.0001 else f"= {p:.2g}"


def count_of(n: int, noun: str) -> str:
    """Show a number with what is counted, small numbers in words.

    Parameters
    ----------
    n : int
        The number.
    noun : str
        What is counted, in the singular.

    Returns
    -------
    str
        For example ``"six articles"``.

    Examples
    --------
    >>> count_of(1, "mount"), count_of(6, "article"), count_of(40, "article")
    ('one mount', 'six articles', '40 articles')
    """
    number = _NUMBERS[n] if n < len(_NUMBERS) else str(n)
    return f"{number} {noun}{'' if n == 1 else 's'}"


def _scope(settings: Settings, c: Comparison) -> tuple[str, ...]:
    scope = settings.scope
    who = "this article only" if c.design == "single" else scope.articles or "articles like those measured"
    lines = [f"Articles: {who}."]
    for name, text in (
        ("Bench", scope.bench),
        ("Lubricant", scope.lubricant),
        ("Operating point", scope.operating_point),
    ):
        lines.append(f"{name}: {text or 'not stated in the trial'}.")
    return tuple(lines)


def _not_claimed(c: Comparison, notes: Sequence[str]) -> tuple[str, ...]:
    lines = []
    if c.difference is None:
        lines.append("A saving: without a known repeatability the change read may be the refit alone.")
    if c.design == "single":
        lines.append("Anything about other articles: one article stands for itself.")
    else:
        lines.append("The same change for every single article: the interval is for the mean of such articles.")
    if any("cannot be told apart" in note for note in notes) and c.design != "controls":
        lines.append(
            "That the treatment and not the bench or the passing of time did it: there were no reference runs or "
            "untouched controls to tell."
        )
    if c.verdict.kind in {"undecided", "not worse", "not better"}:
        lines.append("That there is no difference: not decided is not the same as equal.")
    if c.verdict.matters is None and c.difference is not None:
        lines.append("That a difference is too small to matter: none was fixed before the trial.")
    lines.append("Other benches, lubricants and operating points, or how long it lasts.")
    lines.append("A percentage of the input power: percent here is of the level before.")
    return tuple(lines)


def _wrapped(text: str, bullet: str) -> str:
    import textwrap

    return textwrap.fill(text, 100, initial_indent=bullet, subsequent_indent=" " * len(bullet))
