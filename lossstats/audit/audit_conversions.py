"""One change in the words of every base: less of the one level, more of the other, points of efficiency."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from lossstats.audit.exact_range import ExactRange, make_range
from lossstats.audit.quoted_number import QuotedNumber, read_quoted
from lossstats.audit.quoted_set import READINGS, PercentOf, QuotedSet, percent_range
from lossstats.records.rendering import decimals_for, shown


def as_written(claim: QuotedSet) -> dict[PercentOf, float]:
    """The percentage under each reading with the numbers as written, rounding left aside.

    Parameters
    ----------
    claim : QuotedSet
        The figures; both levels must be quoted, and the input power for the last two readings.

    Returns
    -------
    dict of str to float
        Reading to percent, negative for a rise; empty where a level is missing.

    Examples
    --------
    >>> from lossstats.audit.quoted_set import make_set
    >>> claim = make_set({name: read_quoted(name, text) for name, text in (("before", "8 W"), ("after", "4.6 W"))})
    >>> {name: round(percent, 1) for name, percent in as_written(claim).items()}
    {'before': 42.5, 'after': 73.9}
    """
    values = {name: Fraction(str(figure.value)) for name, figure in claim.figures.items()}
    if not {"before", "after"} <= set(values):
        return {}
    point = (values["before"], values["after"], values.get("input power"))
    found: dict[PercentOf, float] = {}
    for key, (_, base) in READINGS.items():
        if base[2] and point[2] is None:
            continue
        whole = sum((b * (p or 0) for b, p in zip(base, point, strict=True)), Fraction(0))
        if whole > 0:
            found[key] = float(100 * (point[0] - point[1]) / whole)
    return found


def other_end(figure: QuotedNumber) -> ExactRange | None:
    """The same change in percent of the other level.

    Parameters
    ----------
    figure : QuotedNumber
        ``"50 % more"`` or ``"33 % less"``; without a word it is taken as less.

    Returns
    -------
    ExactRange or None
        Size of the change seen from the other end, with the rounding carried; None where 100 % less may be meant.

    Examples
    --------
    >>> other_end(read_quoted("percent", "50 % more", unit="%")).words("%")
    '33.11 to 33.55 %'
    """
    sign = 1 if figure.direction == "more" else -1
    low, high = figure.ends
    if sign < 0 and high >= 100:
        return None
    # x more = x / (1 + x) less; x less = x / (1 - x) more
    return make_range(*(100 * end / (100 + sign * end) for end in (low, high)))


def in_words(claim: QuotedSet) -> tuple[str, ...]:
    """Every conversion that the figures allow, one sentence each.

    Parameters
    ----------
    claim : QuotedSet
        The figures.

    Returns
    -------
    tuple of str
        Of the two levels as written, what rounding leaves open in brackets; without both levels, of a percentage.

    Examples
    --------
    >>> from lossstats.audit.quoted_set import make_set
    >>> claim = make_set({name: read_quoted(name, text) for name, text in (("before", "5.1 W"), ("after", "8 W"))})
    >>> print(*in_words(claim), sep="; ")
    8 W is 57 % (rounding: 46 to 68) more than 5.1 W; 5.1 W is 36.2 % (rounding: 31.3 to 40.6) less than 8 W
    """
    return tuple(_of_levels(claim) or _of_percentages(claim))


def _of_levels(claim: QuotedSet) -> list[str]:
    percents = as_written(claim)
    if not percents:
        return []
    before, after = (claim.figures[name].with_unit for name in ("before", "after"))
    down = percents.get("before", percents.get("after", 0.0)) >= 0
    lines = []
    for key, percent in percents.items():
        size = _with_rounding(claim, key, percent)
        if key == "before":
            lines.append(f"{after} is {size} {'less' if down else 'more'} than {before}")
        elif key == "after":
            lines.append(f"{before} is {size} {'more' if down else 'less'} than {after}")
        elif key == "input power":
            points = size.replace(" %", " points", 1)
            lines.append(
                f"the efficiency is {points} {'higher' if down else 'lower'} after, the loss in % of the input"
            )
        else:
            lines.append(f"the efficiency is {size} {'higher' if down else 'lower'} after, relative to that before")
    return lines


def _with_rounding(claim: QuotedSet, key: PercentOf, percent: float) -> str:
    figures = {name: figure for name, figure in claim.figures.items() if name != "saving"}
    found = percent_range(replace(claim, figures=figures), key)
    if found is None or None in found.ends:
        return f"{shown(abs(percent), decimals_for(abs(percent), 3))} %"
    places = decimals_for(found.high - found.low)
    if found.low < 0 < found.high:
        low, high = (found.low, found.high) if percent >= 0 else (-found.high, -found.low)
    else:
        low, high = sorted((abs(found.low), abs(found.high)))
    return f"{shown(abs(percent), places)} % (rounding: {shown(low, places)} to {shown(high, places)})"


def _of_percentages(claim: QuotedSet) -> list[str]:
    lines = []
    for name in ("percent", "percent_back"):
        if name in claim.figures:
            figure = claim.figures[name]
            size = figure.text.removesuffix(figure.direction).removesuffix(" ").removesuffix("%").rstrip()
            words = (figure.direction,) if figure.direction else ("less", "more")
            lines += [_turned(size, figure, word) for word in words]
    return lines


def _turned(size: str, figure: QuotedNumber, word: str) -> str:
    shown_word = "more" if word == "more" else "less"
    turned = read_quoted("percent", f"{size} {shown_word}", unit="%")
    found = other_end(turned)
    if found is None:
        return f"{size} % less cannot be said from the other end: the rest may be nothing"
    back = "less" if word == "more" else "more"
    nominal = 100 * figure.value / (100 + (figure.value if word == "more" else -figure.value))
    places = decimals_for(found.high - found.low) if found.high > found.low else 1
    ends = f"rounding: {shown(found.low, places)} to {shown(found.high, places)}"
    return f"A is {size} % {word} than B says: B is {shown(nominal, max(places - 1, 0))} % ({ends}) {back} than A"
