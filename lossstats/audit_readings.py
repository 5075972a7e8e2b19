"""Quoted levels, saving and percentage held against each other, under each reading of "%"."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations
from typing import Literal

from lossstats.exact_range import Coefficients, ExactRange, Limit, exact_range, make_range
from lossstats.quoted_number import QuotedNumber
from lossstats.rendering import Record

Word = Literal["agrees", "cannot all be true", "cannot be told"]
PercentOf = Literal["before", "after", "input power", "efficiency"]

# Words of each reading, and what 100 % is: coefficients on (before, after, input power).
READINGS: dict[PercentOf, tuple[str, tuple[int, int, int]]] = {
    "before": ("of the level before", (1, 0, 0)),
    "after": ("of the level after", (0, 1, 0)),
    "input power": ("of the input power (points of efficiency)", (0, 0, 1)),
    "efficiency": ("of the efficiency before (relative change)", (-1, 0, 1)),
}
LABELS = {"percent_back": "percent from the other end"}
# Seen from the other end the same change is a part of the other level.
_OTHER_END: dict[PercentOf, tuple[int, int, int]] = {"before": (0, 1, 0), "after": (1, 0, 0)}
_LINEAR = {"before": (1, 0, 0), "after": (0, 1, 0), "saving": (1, -1, 0), "input power": (0, 0, 1)}
_SAVING = (Fraction(1), Fraction(-1), Fraction(0))


@dataclass(frozen=True)
class Reading(Record):
    """What the quoted figures say under one reading of the percentage.

    Attributes
    ----------
    percent_of : str
        ``before``, ``after``, ``input power``, ``efficiency``; empty where no percentage is quoted.
    words : str
        The reading in words.
    verdict : {"agrees", "cannot all be true", "cannot be told"}
        Whether there are true values that round to every figure.
    quoted : dict of str to str
        The figures that take part, as written.
    possible : dict of str to ExactRange
        Where the figures agree: what each can be, given all the others and its own rounding.
    only_while : tuple of str
        Figures that cannot mean what is written, with what they would have to mean.
    mends : dict of str to ExactRange
        Where they do not agree: each figure that alone breaks the set, with the true values that would mend it.
    notes : tuple of str
        What a reader must know.
    units : dict of str to str
        Unit of each figure.
    """

    percent_of: str
    words: str
    verdict: Word
    quoted: dict[str, str]
    possible: dict[str, ExactRange]
    only_while: tuple[str, ...]
    mends: dict[str, ExactRange]
    notes: tuple[str, ...]
    units: dict[str, str]

    title = "Reading of the percentage"

    @property
    def sentence(self) -> str:
        """Verdict in one sentence that names the reading.

        Returns
        -------
        str
            For example ``"agrees, only while '8 W' (before) means 7.500 to 7.561 W"``.
        """
        parts: list[str] = [self.verdict]
        if self.only_while:
            parts[0] += ", only while " + " and ".join(self.only_while)
        parts += self.notes
        if self.mends:
            parts.append(
                "as they stand they would take "
                + ", or ".join(
                    f"{LABELS.get(name, name)} {mend.words(self.units[name])} in place of '{self.quoted[name]}'"
                    for name, mend in self.mends.items()
                )
            )
        elif self.verdict == "cannot all be true":
            parts.append("no change of a single figure mends them")
        return "; ".join(parts)

    def _rows(self) -> list[tuple[str, str]]:
        rows = [(self.words, self.sentence)]
        return rows + [(f"possible {LABELS.get(k, k)}", v.words(self.units[k])) for k, v in self.possible.items()]


@dataclass(frozen=True)
class QuotedSet:
    """The figures that take part in the constraint, and which way the change goes.

    Attributes
    ----------
    figures : dict of str to QuotedNumber
        By name: before, after, saving, percent, percent_back, input power.
    rise : bool
        The level after is higher: figures without a word are read as a rise.
    unit : str
        Of the levels, the saving and the input power.
    """

    figures: dict[str, QuotedNumber]
    rise: bool = False
    unit: str = "W"

    def sign(self, name: str) -> int:
        """Whether a figure counts a saving as positive.

        Parameters
        ----------
        name : str
            Of the figure.

        Returns
        -------
        int
            1, or -1 where it is the size of a rise.
        """
        if name not in {"saving", "percent", "percent_back"}:
            return 1
        word = self.figures[name].direction
        if name == "percent_back":  # "A is 50 % more than B" says that from A to B is a saving
            return {"more": 1, "less": -1}.get(word, self.sign("percent") if "percent" in self.figures else 1)
        return {"more": -1, "less": 1}.get(word, -1 if self.rise else 1)


def make_set(figures: dict[str, QuotedNumber], unit: str = "W") -> QuotedSet:
    """Put the quoted figures together.

    Parameters
    ----------
    figures : dict of str to QuotedNumber
        Those that were quoted.
    unit : str, default "W"
        Of the levels, the saving and the input power.

    Returns
    -------
    QuotedSet
        A rise where both levels are quoted and the level after is the higher.
    """
    rise = "before" in figures and "after" in figures and figures["before"].value < figures["after"].value
    return QuotedSet(figures, rise, unit)


def under_each_reading(claim: QuotedSet, percent_of: PercentOf | None = None) -> tuple[Reading, ...]:
    """Hold the figures against each other under every reading of the percentage.

    Parameters
    ----------
    claim : QuotedSet
        The figures.
    percent_of : {"before", "after", "input power", "efficiency"}, optional
        The one reading that the source states; all of them if left out.

    Returns
    -------
    tuple of Reading
        One without a percentage if none is quoted; "efficiency" only where the input power is quoted or the
        reading is asked for.

    Notes
    -----
    saving = before - after; percent = 100 saving / base, the base being the level before, the level after, the
    input power, or input power minus level before (efficiency = 1 - loss / input power, relative change). For a given
    percentage these are linear limits on (before, after, input power), so the possible values are a polytope and
    its extent along each figure is exact. Levels are above zero and below the input power, the same for both.
    """
    if not {"percent", "percent_back"} & set(claim.figures):
        return (_read(claim, ""),)
    wanted: tuple[PercentOf, ...] = (percent_of,) if percent_of else tuple(READINGS)
    known = "input power" in claim.figures
    return tuple(_read(claim, key) for key in wanted if key != "efficiency" or known or percent_of)


def _read(claim: QuotedSet, key: PercentOf | Literal[""]) -> Reading:
    words = READINGS[key][0] if key else "levels and saving"
    quoted = {name: figure.text for name, figure in claim.figures.items()}
    units = {name: figure.unit for name, figure in claim.figures.items()}
    notes = []
    if key not in {"before", "after"} and "percent_back" in claim.figures and key:
        notes.append("seen from the other end the percentage is the same under this reading")
    ranges = _ranges(claim, key)
    if ranges is None:
        return _impossible(claim, key, words, quoted, units, notes)
    only = tuple(
        f"'{quoted[name]}' ({LABELS.get(name, name)}) means {found.words(units[name])}"
        for name, found in ranges.items()
        if not _holds(found, claim.figures[name])
    )
    verdict: Word = "agrees"
    if key in {"input power", "efficiency"} and "input power" not in claim.figures:
        needed = _range_of(claim, key, "input power")
        bounded = needed is not None and (needed.low > 0 or needed.high < math.inf)
        notes.append(
            f"true only with an input power of {needed.words(claim.unit)}, which is not quoted"
            if needed is not None and bounded
            else "the input power is not quoted"
        )
        verdict = "cannot be told"
    return Reading(key, words, verdict, quoted, ranges, only, {}, tuple(notes), units)


def _impossible(
    claim: QuotedSet,
    key: PercentOf | Literal[""],
    words: str,
    quoted: dict[str, str],
    units: dict[str, str],
    notes: list[str],
) -> Reading:
    wider = _mended_by_wider(claim, key)
    if wider:
        which = " and ".join(f"'{claim.figures[name].text}'" for name in wider)
        notes.append(f"agrees only if the zeros before the decimal point of {which} hold places and are no digits")
    verdict: Word = "cannot be told" if wider else "cannot all be true"
    mends = {}
    for name in claim.figures:
        rest = replace(claim, figures={k: v for k, v in claim.figures.items() if k != name})
        found = _range_of(rest, key, name, claim.sign(name))
        if found is not None and found.high >= 0:  # a figure without a sign cannot be below zero
            mends[name] = found
    return Reading(key, words, verdict, quoted, {}, (), mends, tuple(notes), units)


def _mended_by_wider(claim: QuotedSet, key: PercentOf | Literal[""]) -> tuple[str, ...]:
    """The fewest figures whose zeros, taken as place holders, let the set agree."""
    loose = [name for name, figure in claim.figures.items() if figure.wider]
    for count in range(1, len(loose) + 1):
        for names in combinations(loose, count):
            figures = {k: v.read_wider() if k in names else v for k, v in claim.figures.items()}
            if exact_range(_limits(replace(claim, figures=figures), key), _zero()) is not None:
                return names
    return ()


def _ranges(claim: QuotedSet, key: PercentOf | Literal[""]) -> dict[str, ExactRange] | None:
    ranges = {}
    for name in claim.figures:
        found = _range_of(claim, key, name, claim.sign(name))
        if found is None:
            return None
        ranges[name] = found
    return ranges


def _range_of(claim: QuotedSet, key: PercentOf | Literal[""], name: str, sign: int = 1) -> ExactRange | None:
    limits = _limits(claim, key)
    if name in _LINEAR:
        return exact_range(limits, _times(_LINEAR[name], sign))
    base = _base(key, name)
    # percent = 100 saving / base is linear in x / base: scale so that the base is 1, with t = 1 / base as a fourth
    # variable (Charnes and Cooper (1962), Nav. Res. Logist. Q. 9, 181; from memory).
    zero, one = Fraction(0), Fraction(1)
    rows = [Limit((*c, -bound), zero, strict) for c, bound, strict in limits]
    rows += [Limit((zero, zero, zero, -one), zero, strict=True)]
    rows += [Limit((*_times(base, s), zero), Fraction(s)) for s in (1, -1)]
    return exact_range(rows, (*(100 * sign * c for c in _SAVING), zero))


def _limits(claim: QuotedSet, key: PercentOf | Literal[""]) -> list[Limit]:
    figures, zero = claim.figures, Fraction(0)
    rows = [Limit(_times(side, -1), zero, strict=True) for side in ((1, 0, 0), (0, 1, 0), (-1, 0, 1), (0, -1, 1))]
    for name, form in _LINEAR.items():
        if name in figures:
            low, high = _signed(claim, name)
            rows += [Limit(_times(form, 1), high), Limit(_times(form, -1), -low)]
    for name in {"percent", "percent_back"} & set(figures) if key else ():
        low, high = (end / 100 for end in _signed(claim, name))
        base = _base(key, name)
        # two limits: the saving is at least low times the base, and at most high times the base
        rows.append(Limit(tuple(low * d - s for d, s in zip(base, _SAVING, strict=True)), zero))
        rows.append(Limit(tuple(s - high * d for d, s in zip(base, _SAVING, strict=True)), zero))
    return rows


def _base(key: PercentOf | Literal[""], name: str) -> tuple[int, int, int]:
    if not key:
        raise ValueError("percent: found no reading; accepted: one of " + ", ".join(READINGS))
    return _OTHER_END.get(key, READINGS[key][1]) if name == "percent_back" else READINGS[key][1]


def _signed(claim: QuotedSet, name: str) -> tuple[Fraction, Fraction]:
    low, high = claim.figures[name].ends
    return (low, high) if claim.sign(name) > 0 else (-high, -low)


def _holds(found: ExactRange, figure: QuotedNumber) -> bool:
    """Whether the number as written is among the possible ones."""
    value = Fraction(str(figure.value))
    low, high = found.ends
    return (low is None or low <= value) and (high is None or value <= high)


def _times(form: tuple[int, ...], factor: int) -> Coefficients:
    return tuple(Fraction(factor * c) for c in form)


def _zero() -> Coefficients:
    return _times((0, 0, 0), 1)


def as_written(claim: QuotedSet) -> dict[str, float]:
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
    >>> from lossstats.quoted_number import read_quoted
    >>> claim = make_set({name: read_quoted(name, text) for name, text in (("before", "8 W"), ("after", "4.6 W"))})
    >>> {name: round(percent, 1) for name, percent in as_written(claim).items()}
    {'before': 42.5, 'after': 73.9}
    """
    values = {name: Fraction(str(figure.value)) for name, figure in claim.figures.items()}
    if not {"before", "after"} <= set(values):
        return {}
    point = (values["before"], values["after"], values.get("input power"))
    found = {}
    for key, (_, base) in READINGS.items():
        if base[2] and point[2] is None:
            continue
        whole = sum((b * (p or 0) for b, p in zip(base, point, strict=True)), Fraction(0))
        if whole > 0:
            found[str(key)] = float(100 * (point[0] - point[1]) / whole)
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
    >>> from lossstats.quoted_number import read_quoted
    >>> other_end(read_quoted("percent", "50 % more", unit="%")).words("%")
    '33.11 to 33.55 %'
    """
    sign = 1 if figure.direction == "more" else -1
    low, high = figure.ends
    if sign < 0 and high >= 100:
        return None
    # x more = x / (1 + x) less; x less = x / (1 - x) more
    return make_range(*(100 * end / (100 + sign * end) for end in (low, high)))
