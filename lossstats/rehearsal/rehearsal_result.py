"""What a rehearsed plan came to: shares of simulated trials with their Monte Carlo intervals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lossstats.records.rendering import Record, decimals_for, shown
from lossstats.rehearsal.rehearsed_bench import RehearsedBench
from lossstats.rehearsal.rehearsed_trials import REFUSED, Outcome

if TYPE_CHECKING:
    import pandas as pd

VERDICTS = (
    "saves", "costs", "no difference that matters", "not worse", "not better", "undecided", "no verdict", REFUSED,
)  # fmt: skip
_CONFIDENCE = 0.95  # of the Monte Carlo intervals


@dataclass(frozen=True)
class Share(Record):
    """A share of simulated trials, and how far the number of trials lets it be known.

    Attributes
    ----------
    value : float
        Between 0 and 1.
    low, high : float
        95 % interval of Clopper and Pearson.
    count, trials : int
        Value as a ratio.
    """

    value: float
    low: float
    high: float
    count: int
    trials: int

    title = "Share of trials"

    @property
    def words(self) -> str:
        """The share in percent, with its interval.

        Returns
        -------
        str
            For a sentence or a row.
        """
        places = 1 if self.trials >= 100 else 0
        value, low, high = (shown(100 * x, places) for x in (self.value, self.low, self.high))
        return f"{value} % ({low} % to {high} %)"

    def _rows(self) -> list[tuple[str, str]]:
        return [("share", self.words), ("trials", f"{self.count} of {self.trials}")]


@dataclass(frozen=True)
class HalfWidth(Record):
    """Median half-width of the interval that the trial will give.

    Attributes
    ----------
    value : float
        Median over the trials.
    low, high : float or None
        Two of the half-widths, between which the median lies with 95 % or more; None where there are too few for that.
    unit : str
        Of all three.
    """

    value: float
    low: float | None
    high: float | None
    unit: str

    title = "Median half-width"

    @property
    def words(self) -> str:
        """The half-width with its interval.

        Returns
        -------
        str
            For a sentence or a row.
        """
        places = decimals_for(self.value)
        value = f"{shown(self.value, places)} {self.unit}"
        if self.low is None or self.high is None:
            return f"{value} (too few trials for an interval of this median)"
        return f"{value} ({shown(self.low, places)} to {shown(self.high, places)})"

    def _rows(self) -> list[tuple[str, str]]:
        return [("median half-width", self.words)]


@dataclass(frozen=True)
class Rehearsed(Record):
    """What came of the rehearsals at one true saving.

    Attributes
    ----------
    saving : float
        True saving.
    verdicts : dict of str to Share
        Chance of each verdict, ``"refused"`` among them: trials that the analysis refused.
    wrong : Share
        Something claimed that is not so.
    shown : Share
        0 outside the interval.
    coverage, coverage_percent : Share or None
        Intervals of the saving that held the truth, of those there were, in the measurand's unit and in percent; for
        design several all intervals together. None where there was none.
    half_width, half_width_percent : HalfWidth or None
        Of the same intervals.
    moving : float
        Share of the runs still moving at their end, between 0 and 1.
    left_out : float
        Share of the runs left out by the declared rule; all runs of a refused trial count.
    """

    saving: float
    verdicts: dict[str, Share]
    wrong: Share
    shown: Share
    coverage: Share | None
    coverage_percent: Share | None
    half_width: HalfWidth | None
    half_width_percent: HalfWidth | None
    moving: float
    left_out: float

    title = "Rehearsals at one saving"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [(name, share.words) for name, share in self.verdicts.items() if share.count]
        rows.append(("wrong claim", self.wrong.words))
        for label, coverage, half in (
            ("", self.coverage, self.half_width),
            (" in percent", self.coverage_percent, self.half_width_percent),
        ):
            rows.append((f"interval{label} holds the truth", "no interval" if coverage is None else coverage.words))
            if half is not None:
                rows.append((f"median half-width{label}", half.words))
        if self.moving or self.left_out:
            left = f"{shown(100 * self.moving, 1)} %, {shown(100 * self.left_out, 1)} %"
            rows.append(("runs still moving, left out", left))
        return rows


@dataclass(frozen=True)
class Rehearsal(Record):
    """A plan rehearsed.

    Attributes
    ----------
    words : str
        The outcome as a sentence.
    trials : int
        Simulated at no saving, and as many at the saving.
    saving : float
        True saving of the latter.
    unit : str
        Of the measurand.
    design : str
        Of the comparison.
    false_claims : Share
        Trials at no saving that claim a saving or a cost, or that a difference is shown.
    power : Share
        Trials at the saving whose verdict is "saves".
    none, some : Rehearsed
        All else at no saving, and at the saving.
    bench_time_h : float
        Time for which the bench is needed, gaps within a day included.
    bench_days : int
        Days on which it is needed.
    runs : int
        Runs, references and zeros among them.
    confidence : float
        Of the intervals of the trial.
    from_samples : bool
        Whether readings were simulated and reduced; else levels were, as of runs that have settled.
    components : dict of str to float or tuple
        Standard deviations by source, as given.
    bench : RehearsedBench
        What the bench was taken to do.
    seed : int
        Of the random numbers: the same plan, trials and seed give the same.
    notes : tuple of str
        What a reader must know.
    """

    words: str
    trials: int
    saving: float
    unit: str
    design: str
    false_claims: Share
    power: Share
    none: Rehearsed
    some: Rehearsed
    bench_time_h: float
    bench_days: int
    runs: int
    confidence: float
    from_samples: bool
    components: dict[str, Any]
    bench: RehearsedBench
    seed: int
    notes: tuple[str, ...]

    title = "Rehearsal of a plan"

    @property
    def table(self) -> pd.DataFrame:
        """Every share and half-width in one table.

        Returns
        -------
        pandas.DataFrame
            Columns saving, quantity, value, low, high, count, trials; the last two NA for a half-width.
        """
        import pandas as pd

        columns = ("saving", "quantity", "value", "low", "high", "count", "trials")
        rows = [
            (part.saving, name, *(getattr(item, key, None) for key in columns[2:]))
            for part in (self.none, self.some)
            for name, item in _named(part, self.unit)
        ]
        return pd.DataFrame(rows, columns=list(columns)).astype({"count": "Int64", "trials": "Int64"})

    def _rows(self) -> list[tuple[str, str]]:
        rows = [
            ("in words", self.words),
            ("false claims at no saving", self.false_claims.words),
            (f"power at {self.saving:g} {self.unit}", self.power.words),
        ]
        for part, where in ((self.none, "no saving"), (self.some, f"{self.saving:g} {self.unit}")):
            rows += [(f"{where}: {label}", text) for label, text in part._rows()]
        way = "from samples" if self.from_samples else "from settled levels"
        rows += [
            ("bench", f"{self.bench_time_h:.1f} h on {self.bench_days} day(s), {self.runs} runs"),
            ("trials, seed", f"{self.trials} at each saving, {way}; seed {self.seed}"),
        ]
        return rows + [("note", note) for note in self.notes]


def _named(part: Rehearsed, unit: str) -> Iterator[tuple[str, Share | HalfWidth]]:
    yield from ((f"verdict: {name}", share) for name, share in part.verdicts.items())
    named = (
        ("wrong claim", part.wrong),
        ("difference shown", part.shown),
        (f"coverage, {unit}", part.coverage),
        ("coverage, %", part.coverage_percent),
        (f"half-width, {unit}", part.half_width),
        ("half-width, %", part.half_width_percent),
    )
    yield from ((name, item) for name, item in named if item is not None)


def share_of(count: int, trials: int) -> Share:
    """Give a share with its Monte Carlo interval.

    Parameters
    ----------
    count : int
        Trials in which it was so.
    trials : int
        Trials in all.

    Returns
    -------
    Share
        With the 95 % interval of Clopper and Pearson.
    """
    from scipy.stats import binomtest

    interval = binomtest(count, trials).proportion_ci(_CONFIDENCE, method="exact")
    return Share(count / trials, float(interval.low), float(interval.high), count, trials)


def median_half_width(half_widths: Sequence[float], unit: str) -> HalfWidth:
    """Give the median with its distribution-free interval.

    Parameters
    ----------
    half_widths : sequence of float
        One a trial.
    unit : str
        Their unit.

    Returns
    -------
    HalfWidth
        With an interval of 95 % or more (ISO 16269-7).
    """
    from scipy.stats import binom

    ordered = np.sort(np.asarray(half_widths))
    # Values below the median are binomial: from the k-th lowest to the k-th highest, 1 - 2 P(fewer than k) hold.
    k = int(binom.ppf((1 - _CONFIDENCE) / 2, len(ordered), 0.5))
    low, high = (float(ordered[k - 1]), float(ordered[-k])) if k else (None, None)
    return HalfWidth(float(np.median(ordered)), low, high, unit)


def summed(outcomes: Sequence[Outcome], saving: float, unit: str, runs: int) -> Rehearsed:
    """Sum up the simulated trials at one true saving.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One a trial.
    saving : float
        True saving.
    unit : str
        Its unit.
    runs : int
        Of each trial.

    Returns
    -------
    Rehearsed
        Shares and half-widths.
    """
    n = len(outcomes)
    kinds = [outcome.verdict for outcome in outcomes]
    held = [o.held for o in outcomes if o.held is not None]
    held_percent = [o.held_percent for o in outcomes if o.held_percent is not None]
    widths = [o.half_width for o in outcomes if o.half_width is not None]
    percent_widths = [o.half_width_percent for o in outcomes if o.half_width_percent is not None]
    return Rehearsed(
        saving=saving,
        verdicts={kind: share_of(kinds.count(kind), n) for kind in VERDICTS},
        wrong=share_of(sum(o.wrong for o in outcomes), n),
        shown=share_of(sum(o.shown for o in outcomes), n),
        coverage=share_of(sum(held), len(held)) if held else None,
        coverage_percent=share_of(sum(held_percent), len(held_percent)) if held_percent else None,
        half_width=median_half_width(widths, unit) if widths else None,
        half_width_percent=median_half_width(percent_widths, "%") if percent_widths else None,
        moving=sum(o.moving for o in outcomes) / (n * runs),
        left_out=sum(o.left_out for o in outcomes) / (n * runs),
    )
