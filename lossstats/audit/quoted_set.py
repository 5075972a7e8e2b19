"""Quoted figures as limits on the levels and the input power, the percentage under one reading."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from lossstats.audit.exact_range import Coefficients, ExactRange, Limit, exact_range, make_range
from lossstats.audit.quoted_number import QuotedNumber

PercentOf = Literal["before", "after", "input power", "efficiency"]

# Words of each reading, and what 100 % is: coefficients on (before, after, input power).
READINGS: dict[PercentOf, tuple[str, tuple[int, int, int]]] = {
    "before": ("of the level before", (1, 0, 0)),
    "after": ("of the level after", (0, 1, 0)),
    "input power": ("of the input power (points of efficiency)", (0, 0, 1)),
    "efficiency": ("of the efficiency before (relative change)", (-1, 0, 1)),
}
# Seen from the other end the same change is a part of the other level.
_OTHER_END: dict[PercentOf, tuple[int, int, int]] = {"before": (0, 1, 0), "after": (1, 0, 0)}
_LINEAR = {"before": (1, 0, 0), "after": (0, 1, 0), "saving": (1, -1, 0), "input power": (0, 0, 1)}
_SAVING = (Fraction(1), Fraction(-1), Fraction(0))


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


def range_of(claim: QuotedSet, key: PercentOf | Literal[""], name: str, sign: int = 1) -> ExactRange | None:
    """What a figure can be where every limit holds.

    Parameters
    ----------
    claim : QuotedSet
        The figures.
    key : str
        Reading of the percentage; empty where it plays no part.
    name : str
        Of the figure, quoted or not.
    sign : {1, -1}
        -1 to count a rise as positive.

    Returns
    -------
    ExactRange or None
        None where the figures of the claim cannot all be true.
    """
    limits = limits_of(claim, key)
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


def limits_of(claim: QuotedSet, key: PercentOf | Literal[""]) -> list[Limit]:
    """Linear limits on (level before, level after, input power) that the figures set.

    Parameters
    ----------
    claim : QuotedSet
        The figures.
    key : str
        Reading of the percentage; empty where it plays no part.

    Returns
    -------
    list of Limit
        Levels lie above zero and below the input power.
    """
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


def change_range(claim: QuotedSet) -> ExactRange | None:
    """What the saving can be by the levels and the saving as quoted, whatever the percentage means.

    Parameters
    ----------
    claim : QuotedSet
        The figures.

    Returns
    -------
    ExactRange or None
        Negative for a rise; None where neither the saving nor both levels are quoted, or they do not agree.
    """
    figures = {k: v for k, v in claim.figures.items() if k in {"before", "after", "saving"}}
    if "saving" not in figures and len(figures) < 2:
        return None
    return range_of(replace(claim, figures=figures), "", "saving")


def percent_range(claim: QuotedSet, percent_of: PercentOf) -> ExactRange | None:
    """What the percentage can be by the other figures alone.

    Parameters
    ----------
    claim : QuotedSet
        The figures; quoted percentages are left aside.
    percent_of : {"before", "after", "input power", "efficiency"}
        The reading.

    Returns
    -------
    ExactRange or None
        Negative for a rise; None where the levels and the saving do not agree.
    """
    figures = {k: v for k, v in claim.figures.items() if not k.startswith("percent")}
    return range_of(replace(claim, figures=figures), percent_of, "percent")


def quoted_percent(claim: QuotedSet) -> ExactRange | None:
    """The quoted percentage with its rounding, negative for a rise.

    Parameters
    ----------
    claim : QuotedSet
        The figures.

    Returns
    -------
    ExactRange or None
        None where no percentage is quoted.
    """
    return make_range(*_signed(claim, "percent")) if "percent" in claim.figures else None


def _base(key: PercentOf | Literal[""], name: str) -> tuple[int, int, int]:
    if not key:
        raise ValueError("percent: found no reading; accepted: one of " + ", ".join(READINGS))
    return _OTHER_END.get(key, READINGS[key][1]) if name == "percent_back" else READINGS[key][1]


def _signed(claim: QuotedSet, name: str) -> tuple[Fraction, Fraction]:
    low, high = claim.figures[name].ends
    return (low, high) if claim.sign(name) > 0 else (-high, -low)


def _times(form: tuple[int, ...], factor: int) -> Coefficients:
    return tuple(Fraction(factor * c) for c in form)
