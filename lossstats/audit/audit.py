"""Audit of quoted figures: can they all be true, under which reading of "%", and what would have to be true."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from lossstats.audit.audit_check import Check
from lossstats.audit.audit_conversions import in_words
from lossstats.audit.audit_readings import LABELS, Reading, Word, under_each_reading
from lossstats.audit.audit_samples import possible_means, possible_spread, reachable_p, spread_of_the_mean
from lossstats.audit.audit_sizes import above_repeatability, above_resolution
from lossstats.audit.audit_spread import interval_centred, interval_follows, p_follows, spread_of_one, zero_and_p
from lossstats.audit.audit_verdict import overall_verdict
from lossstats.audit.exact_range import ExactRange
from lossstats.audit.quoted_number import QuotedNumber, read_quoted
from lossstats.audit.quoted_samples import QuotedSamples, Quotes, read_samples
from lossstats.audit.quoted_set import READINGS, PercentOf, QuotedSet, change_range, make_set, quoted_percent
from lossstats.records.estimate import check_confidence
from lossstats.records.rendering import Record

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Audit(Record):
    """What the quoted figures say when held against each other.

    Attributes
    ----------
    verdict : {"agrees", "cannot all be true", "cannot be told"}
        Of all figures together. It is about the figures as written, not about anybody's intent.
    why : str
        Under which reading, or by which check.
    figures : dict of str to QuotedNumber
        As read, with their rounding intervals.
    readings : tuple of Reading
        One a reading of the percentage.
    checks : tuple of Check
        Of n, spread, interval, p and sizes.
    words : tuple of str
        The change in the words of every base.
    notes : tuple of str
        What a reader must know.
    """

    verdict: Word
    why: str
    figures: dict[str, QuotedNumber]
    readings: tuple[Reading, ...]
    checks: tuple[Check, ...]
    words: tuple[str, ...]
    notes: tuple[str, ...]

    title = "Audit of quoted figures"

    @property
    def possible(self) -> bool:
        """Whether nothing was found that cannot be true.

        Returns
        -------
        bool
            True as well where it cannot be told.
        """
        return self.verdict != "cannot all be true"

    @property
    def table(self) -> pd.DataFrame:
        """Every figure under every reading.

        Returns
        -------
        pandas.DataFrame
            Columns reading, verdict, figure, quoted, rounding_low, rounding_high, possible_low, possible_high,
            breaks (the figure alone breaks the set; the possible values are then those that would mend it).
        """
        import pandas as pd

        rows = [self._row(reading, name) for reading in self.readings for name in reading.quoted]
        return pd.DataFrame(rows, columns=list(_COLUMNS))

    def _row(self, reading: Reading, name: str) -> tuple[Any, ...]:
        figure = self.figures[name]
        found = reading.possible.get(name) or reading.mends.get(name)
        ends = (found.low, found.high) if found else (None, None)
        head = (reading.words, reading.verdict, name, figure.text, figure.low, figure.high)
        return (*head, *ends, name in reading.mends)

    def _rows(self) -> list[tuple[str, str]]:
        rows = [("verdict", f"{self.verdict}: {self.why}")]
        rows += [(LABELS.get(name, name), f"'{f.text}', read as {f.read_as}") for name, f in self.figures.items()]
        rows += [(reading.words, reading.sentence) for reading in self.readings]
        rows += [("as written", words) for words in self.words]
        rows += [row for check in self.checks for row in check._rows()]
        return rows + [("note", note) for note in self.notes]


_COLUMNS = (
    "reading", "verdict", "figure", "quoted", "rounding_low", "rounding_high", "possible_low",
    "possible_high", "breaks",
)  # fmt: skip


def audit_figures(
    *,
    before: str | None = None,
    after: str | None = None,
    saving: str | None = None,
    percent: str | None = None,
    percent_back: str | None = None,
    percent_of: PercentOf | None = None,
    input_power: str | None = None,
    unit: str = "W",
    about: Collection[str] = (),
    n: int | Sequence[int] | None = None,
    sd: Quotes | None = None,
    sem: Quotes | None = None,
    interval: str | tuple[str, str] | None = None,
    confidence: float = 0.95,
    p: str | None = None,
    p_by: Literal["t", "exact"] | None = None,
    paired: bool | None = None,
    grid: str | None = None,
    resolution: str | None = None,
    repeatability: str | None = None,
) -> Audit:
    """Hold quoted figures against each other: can they all be true, and what would have to be.

    Parameters
    ----------
    before, after : str, optional
        Levels with the digits as written, such as ``"8 W"``, ``"4.6 W"``, ``"4,65"``.
    saving : str, optional
        Level before minus level after; ``"2.9 W more"`` for a rise, ``"about 0.5 W"`` where it is vague.
    percent : str, optional
        ``"38 %"``; ``"50 % more"`` for a rise. Where the level after is the higher one, a figure without a word is
        read as the size of the rise.
    percent_back : str, optional
        The same change as quoted from the other end: "A is 50 % worse than B" (`percent`, of B) against "B is 33 %
        better than A".
    percent_of : {"before", "after", "input power", "efficiency"}, optional
        What the source says 100 % is; every reading is tried if left out.
    input_power : str, optional
        The same for both levels.
    unit : str, default "W"
        Of levels, saving, input power, spread, steps.
    about : collection of str
        Names of figures that the source calls "about"; they may also be written ``"about 0.5"``.
    n : int or pair of int, optional
        Pairs, or units a condition.
    sd, sem : str or pair of str, optional
        Standard deviation and standard error of the mean: paired, of the differences; else of the units in each
        condition, one for both or one each.
    interval : str or pair of str, optional
        Of the saving, ``"0.2 to 0.8 W"``, or of the percentage, ``"2 to 11 %"``.
    confidence : float, default 0.95
        Of the interval.
    p : str, optional
        ``"0.03"`` or ``"< 0.05"``, two-sided.
    p_by : {"t", "exact"}, optional
        Kind of test that the source names.
    paired : bool, optional
        Whether the same articles stand in both conditions; both are tried if left out.
    grid : str, optional
        Step on which each of the n averaged values lies, where they are single readings or were rounded.
    resolution : str, optional
        Display step of the bench.
    repeatability : str, optional
        Standard deviation of the level of one mount, known for such benches; nothing is assumed if left out.

    Returns
    -------
    Audit
        Verdict, readings, checks, words. ``agrees``: true values exist that round to every figure, under at least
        one reading of the percentage, and no check fails. ``cannot all be true``: no reading is possible, or a
        check fails however the figures are paired. ``cannot be told``: neither.

    Raises
    ------
    TypeError
        If a figure is a number: its rounding would be lost.
    ValueError
        If a figure cannot be read in one way only, or none is quoted.

    Notes
    -----
    Ends of the rounding intervals and of the readings are exact fractions; those of t and p are floating point with
    a relative slack of 1e-9. Both ends of a rounding interval count as possible.

    Examples
    --------
    >>> audit = audit_figures(before="8.0 W", after="4.6 W", percent="38 %", percent_of="before")
    >>> audit.verdict
    'cannot all be true'
    >>> audit.readings[0].mends["before"].words("W")
    '7.28 to 7.56 W'
    """
    check_confidence(confidence)
    _check_choice("percent_of", percent_of, tuple(READINGS))
    _check_choice("p_by", p_by, ("t", "exact"))
    texts = {"before": before, "after": after, "saving": saving, "percent": percent, "percent_back": percent_back}
    claim = _read_claim({**texts, "input power": input_power}, unit, frozenset(about))
    beside = {"n": n, "sd": sd, "sem": sem, "interval": interval, "p": p}
    if not claim.figures and all(value is None for value in beside.values()):
        raise ValueError("figures: found none; accepted: at least one of before, after, saving, percent, interval, p")
    designs = _designs(beside, paired, confidence, p_by, unit)
    readings = under_each_reading(claim, percent_of) if _can_be_held(claim) else ()
    steps = {"grid": grid, "resolution": resolution, "repeatability": repeatability}
    sizes = {name: _read_step(name, text, unit) for name, text in steps.items() if text is not None}
    common = _common_checks(claim, designs[0], sizes, paired=paired)
    by_design = [_design_checks(design, change_range(claim)) for design in designs]
    verdict, why = overall_verdict(readings, common, by_design, designs)
    checks = tuple(common + [check for found in by_design for check in found])
    return Audit(verdict, why, claim.figures, readings, checks, in_words(claim), _notes(claim, readings))


def _read_claim(texts: dict[str, str | None], unit: str, about: frozenset[str]) -> QuotedSet:
    _check_names(about, texts)
    return make_set(
        {
            name: read_quoted(name, text, unit="%" if name.startswith("percent") else unit, about=name in about)
            for name, text in texts.items()
            if text is not None
        },
        unit,
    )


def _can_be_held(claim: QuotedSet) -> bool:
    """Whether there are figures enough that one could contradict the others."""
    names = set(claim.figures)
    if {"percent", "percent_back"} & names:
        return len(names) > 2 or {"percent", "percent_back"} == names
    return {"before", "after", "saving"} <= names


def _check_names(about: frozenset[str], texts: dict[str, str | None]) -> None:
    unknown = sorted(about - {name for name, text in texts.items() if text is not None})
    if unknown:
        raise ValueError(f"about: found {unknown[0]!r}; accepted: names of the figures quoted, such as ['saving']")


def _check_choice(name: str, value: str | None, accepted: tuple[str, ...]) -> None:
    if value is not None and value not in accepted:
        raise ValueError(f"{name}: found {value!r}; accepted: {', '.join(accepted)}, or nothing")


def _read_step(name: str, text: str, unit: str) -> QuotedNumber:
    figure = read_quoted(name, text, unit=unit)
    if figure.value <= 0:
        raise ValueError(f"{name}: found {text!r}; accepted: a figure above 0, such as '0.1 {unit}'")
    return figure


def _designs(
    beside: dict[str, Any],
    paired: bool | None,  # noqa: FBT001
    confidence: float,
    p_by: Literal["t", "exact"] | None,
    unit: str,
) -> list[QuotedSamples]:
    """The quoted figures read as of pairs, of independent units, or both ways where nothing decides."""

    def read(*, as_pairs: bool) -> QuotedSamples:
        return read_samples(**beside, confidence=confidence, p_by=p_by, paired=as_pairs, unit=unit)

    if paired is not None:
        return [read(as_pairs=paired)]
    independent = read(as_pairs=False)
    if not independent.n or len(independent.sd) > 1 or len(independent.sem) > 1 or len(set(independent.n)) > 1:
        return [independent]
    return [independent, replace(independent, paired=True)]


def _common_checks(
    claim: QuotedSet,
    samples: QuotedSamples,
    sizes: dict[str, QuotedNumber],
    *,
    paired: bool | None,
) -> list[Check]:
    """Checks that do not hang on how the units are paired."""
    checks = spread_of_one(samples) + spread_of_the_mean(samples)
    if "grid" in sizes:
        checks += possible_means(claim.figures, samples, sizes["grid"])
        mean = claim.figures.get("saving") if paired else None
        checks += possible_spread(mean, samples, sizes["grid"])
    change = change_range(claim)
    in_percent = samples.interval is not None and samples.interval[0].unit == "%"
    quoted_change = quoted_percent(claim) if in_percent else change
    checks += interval_centred(samples, quoted_change, "percent" if in_percent else "saving")
    checks += zero_and_p(samples)
    return checks + _size_checks(change, samples, sizes)


def _size_checks(change: ExactRange | None, samples: QuotedSamples, sizes: dict[str, QuotedNumber]) -> list[Check]:
    asked = [name for name in ("resolution", "repeatability") if name in sizes]
    if change is None:
        words = "neither the saving nor both levels are quoted, or they do not agree"
        return [Check(f"above the {name}", "cannot be told", words) for name in asked]
    checks = []
    if "resolution" in sizes:
        checks.append(above_resolution(change, sizes["resolution"], samples.unit))
    if "repeatability" in sizes:
        known = sizes["repeatability"]
        checks.append(above_repeatability(change, known, samples.n, samples.confidence, samples.unit))
    return checks


def _design_checks(samples: QuotedSamples, change: ExactRange | None) -> list[Check]:
    return interval_follows(samples) + p_follows(samples, change) + reachable_p(samples)


def _notes(claim: QuotedSet, readings: tuple[Reading, ...]) -> tuple[str, ...]:
    notes = []
    if claim.rise and any(not claim.figures[k].direction for k in ("saving", "percent") if k in claim.figures):
        notes.append("the level after is the higher: figures without a word are read as the size of the rise")
    if any(reading.percent_of in {"input power", "efficiency"} for reading in readings):
        notes.append("the input power is taken as the same for both levels")
    return tuple(notes)
