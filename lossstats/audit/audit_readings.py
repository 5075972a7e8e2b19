"""Quoted levels, saving and percentage held against each other, under each reading of "%"."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations
from typing import Literal

from lossstats.audit.exact_range import ExactRange, exact_range, make_range
from lossstats.audit.quoted_number import QuotedNumber
from lossstats.audit.quoted_set import READINGS, PercentOf, QuotedSet, limits_of, range_of
from lossstats.records.rendering import Record

Word = Literal["agrees", "cannot all be true", "cannot be told"]

LABELS = {"percent_back": "percent from the other end"}
_NOTHING = (Fraction(0),) * 3


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
        Where they do not agree: each figure that alone breaks the set, with the true values that would mend it;
        negative where the change would have to go the other way.
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
                    f"{LABELS.get(name, name)} {_either_way(mend, self.units[name])} in place of '{self.quoted[name]}'"
                    for name, mend in self.mends.items()
                )
            )
        elif self.verdict == "cannot all be true":
            parts.append("no change of a single figure mends them")
        return "; ".join(parts)

    def _rows(self) -> list[tuple[str, str]]:
        rows = [(self.words, self.sentence)]
        return rows + [(f"possible {LABELS.get(k, k)}", v.words(self.units[k])) for k, v in self.possible.items()]


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
        One without a percentage if none is quoted. Unless asked for, "efficiency" only where the input power is
        quoted, and only the readings of the two levels where the change is quoted from both ends.

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
    if not percent_of:
        if {"percent", "percent_back"} <= set(claim.figures):  # points of efficiency are the same from both ends
            wanted = wanted[:2]
        elif "input power" not in claim.figures:
            wanted = wanted[:3]
    return tuple(_read(claim, key) for key in wanted)


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
        needed = range_of(claim, key, "input power")
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
        found = range_of(rest, key, name, claim.sign(name))
        if found is not None:
            mends[name] = found
    return Reading(key, words, verdict, quoted, {}, (), mends, tuple(notes), units)


def _mended_by_wider(claim: QuotedSet, key: PercentOf | Literal[""]) -> tuple[str, ...]:
    """The fewest figures whose zeros, taken as place holders, let the set agree."""
    loose = [name for name, figure in claim.figures.items() if figure.wider]
    for count in range(1, len(loose) + 1):
        for names in combinations(loose, count):
            figures = {k: v.read_wider() if k in names else v for k, v in claim.figures.items()}
            if exact_range(limits_of(replace(claim, figures=figures), key), _NOTHING) is not None:
                return names
    return ()


def _ranges(claim: QuotedSet, key: PercentOf | Literal[""]) -> dict[str, ExactRange] | None:
    ranges = {}
    for name in claim.figures:
        found = range_of(claim, key, name, claim.sign(name))
        if found is None:
            return None
        ranges[name] = found
    return ranges


def _either_way(mend: ExactRange, unit: str) -> str:
    low, high = mend.ends
    if high is None or high > 0:
        return mend.words(unit)
    return f"{make_range(-high, None if low is None else -low).words(unit)} the other way"


def _holds(found: ExactRange, figure: QuotedNumber) -> bool:
    """Whether the number as written is among the possible ones."""
    value = Fraction(str(figure.value))
    low, high = found.ends
    return (low is None or low <= value) and (high is None or value <= high)
