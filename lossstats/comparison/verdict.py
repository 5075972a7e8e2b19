"""The decision rule: from one interval and the difference that matters to a verdict in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from lossstats.records.rendering import Record

Kind = Literal["no difference that matters", "saves", "costs", "not worse", "not better", "undecided", "no verdict"]


@dataclass(frozen=True)
class Verdict(Record):
    """What may be said, and why.

    Attributes
    ----------
    kind : str
        One of the exclusive outcomes of the rule.
    words : str
        The outcome as a clause for a sentence.
    beyond_matters : bool
        The whole interval lies beyond the difference that matters.
    difference_shown : bool
        Zero lies outside the interval.
    matters : float or None
        The difference that matters, None if none was fixed.
    why : str
        Why there is no verdict, or which rule gave it.
    """

    kind: Kind
    words: str
    beyond_matters: bool = False
    difference_shown: bool = False
    matters: float | None = None
    why: str = ""

    title = "Verdict"

    @property
    def firm(self) -> bool:
        """True for saves, costs, and no difference that matters.

        Returns
        -------
        bool
            Whether the trial has decided.
        """
        return self.kind in {"saves", "costs", "no difference that matters"}

    def _rows(self) -> list[tuple[str, str]]:
        return [("verdict", self.words), ("why", self.why)]


def decide(low: float, high: float, *, matters: float | None = None, unit: str = "W") -> Verdict:
    """Verdict from the interval [low, high] of the saving and the difference that matters.

    Parameters
    ----------
    low, high : float
        Ends of one 95 % interval of the saving (positive: better).
    matters : float, optional
        The difference that matters, > 0, fixed before the data were seen. Without it nothing can be called
        equal.
    unit : str
        Unit shown in the words.

    Returns
    -------
    Verdict
        The rules are exclusive and read in order.

    Raises
    ------
    ValueError
        If the ends are not in order or `matters` is not above 0.

    Notes
    -----
    Each rule is a one-sided test at 2.5 % (intersection-union for the first), so a single verdict needs no
    correction for multiplicity: Berger and Hsu (1996), Statistical Science 11, 283 (from memory).

    Examples
    --------
    >>> decide(0.12, 0.61, matters=0.25).kind
    'saves'
    >>> decide(-0.05, 0.11, matters=0.25).kind
    'no difference that matters'
    """
    if not low <= high:
        raise ValueError(f"low, high: found {low!r}, {high!r}; accepted: two numbers in order")
    if matters is not None and not 0 < matters < math.inf:
        raise ValueError(f"matters: found {matters!r}; accepted: a finite number above 0, or None if none was fixed")
    shown = low > 0 or high < 0
    if matters is not None and -matters < low and high < matters:
        words = f"makes no difference that matters ({matters:g} {unit})"
        if shown:
            words += ", though a smaller one is shown"
        return Verdict("no difference that matters", words, matters=matters, difference_shown=shown,
                       why="the whole interval lies within the difference that matters")  # fmt: skip
    if shown:
        return _one_sided(low, high, matters, unit)
    if matters is not None and low > -matters:
        return Verdict("not worse", f"is not worse by {matters:g} {unit}", matters=matters,
                       why="the interval holds 0 but ends above minus the difference that matters")  # fmt: skip
    if matters is not None and high < matters:
        return Verdict("not better", f"is not better by {matters:g} {unit}", matters=matters,
                       why="the interval holds 0 but ends below the difference that matters")  # fmt: skip
    both = "" if matters is None else " and reaches beyond the difference that matters on both sides"
    return Verdict("undecided", "is not decided", matters=matters, why=f"the interval holds 0{both}")


def _one_sided(low: float, high: float, matters: float | None, unit: str) -> Verdict:
    kind: Kind = "saves" if low > 0 else "costs"
    nearest = low if low > 0 else -high
    beyond = matters is not None and nearest > matters
    words = f"{kind} more than {matters:g} {unit}" if beyond else kind
    side = "beyond the difference that matters" if beyond else "on one side of 0"
    return Verdict(kind, words, beyond, difference_shown=True, matters=matters, why=f"the whole interval lies {side}")
