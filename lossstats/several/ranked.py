"""What a ranking of several conditions holds: differences, ratios, order, and what cannot be told apart."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from lossstats.comparison.verdict import Verdict
from lossstats.records.estimate import Spread
from lossstats.records.rendering import Record, decimals_for, shown, shown_p
from lossstats.several.overall import OverallTest

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class PairDifference(Record):
    """Difference of two conditions, its interval holding together with all others of the ranking.

    Attributes
    ----------
    first, second : str
        The conditions; the first is the control where there is one.
    difference : float
        First minus second where lower is better, else second minus first: above 0 the second is better.
    low, high : float
        Ends of the simultaneous interval.
    standard_uncertainty : float
        Combined.
    degrees_of_freedom : float
        Effective ones of the part that takes the factor.
    factor : float
        On that part, in place of a single t.
    components : dict of str to float
        Standard uncertainty by source.
    p_adjusted : float
        Of no difference, adjusted for all comparisons; a gain error adds nothing to a difference of 0.
    verdict : Verdict
        By the one rule, from the simultaneous interval.
    """

    first: str
    second: str
    difference: float
    low: float
    high: float
    standard_uncertainty: float
    degrees_of_freedom: float
    factor: float
    components: dict[str, float]
    p_adjusted: float
    verdict: Verdict
    _spread: Spread | None = field(default=None, repr=False, compare=False)

    title = "Difference of two conditions"

    @property
    def value(self) -> float:
        """Give the difference by the name that an `Estimate` has for it.

        Returns
        -------
        float
            As `difference`.
        """
        return self.difference

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(self.standard_uncertainty)
        value, low, high = (shown(x, places) for x in (self.difference, self.low, self.high))
        p = "p below 0.0001" if self.p_adjusted < 0.0001 else f"adjusted p {self.p_adjusted:.2g}"
        return [(f"{self.second} against {self.first}", f"{value} ({low} to {high}), {p}: {self.verdict.words}")]


@dataclass(frozen=True)
class ControlRatio(Record):
    """Level of a condition in percent of the control.

    Attributes
    ----------
    condition : str
        Its name.
    percent : float or None
        100 times its mean over the mean of the control.
    low, high : float or None
        Ends of the simultaneous interval, symmetric in the logarithm.
    why_no_percent : str
        Why they are None.
    """

    condition: str
    percent: float | None
    low: float | None
    high: float | None
    why_no_percent: str = ""

    title = "Ratio to the control"

    def _rows(self) -> list[tuple[str, str]]:
        if self.percent is None or self.low is None or self.high is None:
            return [(self.condition, f"no percentage: {self.why_no_percent}")]
        places = decimals_for((self.high - self.low) / 4)
        ends = f"{shown(self.low, places)} % to {shown(self.high, places)} %"
        return [(self.condition, f"{shown(self.percent, places)} % of the control ({ends})")]


@dataclass(frozen=True)
class Ranking(Record):
    """Several conditions in the order of their means, and what can be told apart.

    Attributes
    ----------
    order : tuple of str
        Conditions by mean, best first. An order of what was read: neighbours need not be told apart.
    means : dict of str to float
        Mean of the unit values, best first.
    n : dict of str to int
        Units of each condition.
    blocks : bool
        Whether every article was measured in every condition.
    control : str or None
        Condition with which the others were compared; None: all pairs.
    confidence : float
        That all intervals of differences hold their true values together.
    method : str
        How the intervals were made to hold together.
    comparisons : tuple of PairDifference
        The comparisons; as a table in `pairs`.
    groups : tuple of tuple of str
        Conditions that cannot be told apart: largest sets in which no interval of a difference leaves out 0 (two
        units tell nothing apart), best first. Not being told apart is not being equal. With a control, the one set of
        those not told apart from it; they were not compared with each other.
    control_ratios : tuple of ControlRatio
        Level in percent of the control; as a table in `ratios`. Empty without a control.
    overall : OverallTest or None
        Whether there is any difference at all.
    why_no_overall : str
        Why `overall` is None.
    unit : str
        Unit of means and differences.
    notes : tuple of str
        What a reader must know.
    """

    order: tuple[str, ...]
    means: dict[str, float]
    n: dict[str, int]
    blocks: bool
    control: str | None
    confidence: float
    method: str
    comparisons: tuple[PairDifference, ...]
    groups: tuple[tuple[str, ...], ...]
    control_ratios: tuple[ControlRatio, ...]
    overall: OverallTest | None
    why_no_overall: str
    unit: str
    notes: tuple[str, ...] = field(default=())

    title = "Ranking"

    @property
    def overall_p(self) -> float | None:
        """P of no difference at all.

        Returns
        -------
        float or None
            None where `why_no_overall` says why.
        """
        return None if self.overall is None else self.overall.p_value

    @property
    def pairs(self) -> pd.DataFrame:
        """Table of the comparisons, differences in the unit of the measurand.

        Returns
        -------
        pandas.DataFrame
            Columns first, second, difference, low, high, p_adjusted, verdict.
        """
        import pandas as pd

        names = ["first", "second", "difference", "low", "high", "p_adjusted"]
        rows = [[*(getattr(pair, name) for name in names), pair.verdict.words] for pair in self.comparisons]
        return pd.DataFrame(rows, columns=[*names, "verdict"])

    @property
    def ratios(self) -> pd.DataFrame:
        """Table of the levels in percent of the control, by condition.

        Returns
        -------
        pandas.DataFrame
            Columns percent, low, high; nan where there is no ratio; empty without a control.
        """
        import pandas as pd

        names = ["condition", "percent", "low", "high"]
        rows = [[getattr(ratio, name) for name in names] for ratio in self.control_ratios]
        return pd.DataFrame(rows, columns=names).set_index("condition").astype(float)

    @property
    def leading(self) -> PairDifference:
        """The comparison that a reader asks for first.

        Returns
        -------
        PairDifference
            The control and the best of the others; without a control, the two best conditions.
        """
        if self.control is None:
            return next(pair for pair in self.comparisons if {pair.first, pair.second} == set(self.order[:2]))
        best = next(name for name in self.order if name != self.control)
        return next(pair for pair in self.comparisons if pair.second == best)

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(min(pair.standard_uncertainty for pair in self.comparisons))
        means = ", ".join(f"{name} {shown(self.means[name], places)} {self.unit}" for name in self.order)
        overall = self.why_no_overall if self.overall is None else f"p {shown_p(self.overall.p_value)}"
        rows = [("means, best first", means), ("any difference", overall)]
        rows += [row for pair in self.comparisons for row in pair._rows()]
        rows += [row for ratio in self.control_ratios for row in ratio._rows()]
        rows += [("cannot be told apart", ", ".join(group)) for group in self.groups]
        return [*rows, ("method", self.method), *(("note", note) for note in self.notes)]
