"""The chart of a check standard as a finished result: its checks, its limits, and what may be said of the bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple, cast

from lossstats.bench.chart_limits import FalseAlarms
from lossstats.records.estimate import Interval
from lossstats.records.rendering import Record, decimals_for, shown, shown_dof

if TYPE_CHECKING:
    import pandas as pd

Role = Literal["before the base period", "base", "judged", "limits not set"]
Rule = Literal["individuals", "EWMA", "repeatability"]
NOT_FOR = (
    "a reference article that wears or ages: its change cannot be told from that of the bench without a second one",
    "values already corrected by the same reference runs: they agree with themselves",
    "checks made only when something seemed wrong, or repeated until they fit",
    "telling a cause: a check outside says that something changed, an event beside it does not say what",
)


class Outside(NamedTuple):
    """One check outside one limit."""

    date: str
    rule: Rule
    found: float
    low: float | None
    high: float
    role: Role


@dataclass(frozen=True)
class ChartedCheck:
    """One check with the limits that it was held against.

    Attributes
    ----------
    date, value, sd, n, event
        As in the history.
    days : int or None
        Since the check before.
    stage : int
        Counted from 0; a stage has limits of its own.
    role : str
        ``"base"`` checks make the limits, ``"judged"`` ones are held against them.
    low, high : float or None
        Limits for a single check.
    ewma, ewma_low, ewma_high : float or None
        Moving average and its limits; judged checks only.
    sd_high : float or None
        Limit of the standard deviation within the check, where it was tested.
    outside : tuple of str
        The rules that it breaks.
    """

    date: str
    value: float
    sd: float | None
    n: int | None
    event: str
    days: int | None
    stage: int
    role: Role
    low: float | None = None
    high: float | None = None
    ewma: float | None = None
    ewma_low: float | None = None
    ewma_high: float | None = None
    sd_high: float | None = None
    outside: tuple[Rule, ...] = ()


@dataclass(frozen=True)
class Stage:
    """A stretch of the history with limits of its own.

    Attributes
    ----------
    first, last : str
        Dates of its first and last check.
    base_first, base_last : str or None
        Dates of its base period; None while there are too few checks for one.
    base_count : int
        Checks of the base period, or those there are so far.
    centre, sd : float or None
        Mean of the base period and estimated standard deviation of one check.
    limits : Interval or None
        For a single check.
    lag_one : float or None
        Lag-1 autocorrelation of the base period.
    judged : int
        Checks held against the limits.
    """

    first: str
    last: str
    base_first: str | None = None
    base_last: str | None = None
    base_count: int = 0
    centre: float | None = None
    sd: float | None = None
    limits: Interval | None = None
    lag_one: float | None = None
    judged: int = 0


@dataclass(frozen=True)
class Chart(Record):
    """Control chart of a check standard.

    Attributes
    ----------
    checks : tuple of ChartedCheck
        In the order of time.
    stages : tuple of Stage
        One, and one more after each event that sets the limits anew.
    unit : str
        Unit of the values.
    bench, article : str
        What the chart is for.
    in_control : bool or None
        Of the last stage; None where nothing was judged.
    left_control : str or None
        Date of the first check outside in the last stage.
    suspect_since : str or None
        Date of the last check that speaks for the bench as it was; results measured since are not to be used for
        claims until the cause is found.
    width : float
        Half width of the limits of single checks, in standard deviations.
    weight : float
        Weight of the newest check in the moving average.
    ewma_width : float
        Half width of its limits, in its own standard deviations.
    spread_from : str
        How the standard deviation was estimated.
    pooled_sd, pooled_dof : float or None
        Repeatability within a check, pooled over the base period; None where it is not recorded.
    repeatability_alpha : float
        Chance that a check of unchanged repeatability is called too wide.
    false_alarms : FalseAlarms
        What these limits do to a bench that never changed, by simulation.
    nominal_alarms : FalseAlarms
        The same with limits known exactly.
    statement : str
        What may be said.
    notes : tuple of str
        Remarks.
    not_for : tuple of str
        When the chart must not be used.
    """

    checks: tuple[ChartedCheck, ...]
    stages: tuple[Stage, ...]
    unit: str
    bench: str
    article: str
    in_control: bool | None
    left_control: str | None
    suspect_since: str | None
    width: float
    weight: float
    ewma_width: float
    spread_from: str
    pooled_sd: float | None
    pooled_dof: float | None
    repeatability_alpha: float
    false_alarms: FalseAlarms
    nominal_alarms: FalseAlarms
    statement: str
    notes: tuple[str, ...]
    not_for: tuple[str, ...] = NOT_FOR

    title = "Chart of a check standard"

    @property
    def latest(self) -> Stage:
        """Give the last stage that has limits.

        Returns
        -------
        Stage
            The first stage always has.
        """
        return [stage for stage in self.stages if stage.limits is not None][-1]

    @property
    def centre(self) -> float:
        """Give the centre line of the last stage that has limits.

        Returns
        -------
        float
            Mean of its base period.
        """
        return cast("float", self.latest.centre)

    @property
    def limits(self) -> Interval:
        """Give the limits of single checks of the last stage that has some.

        Returns
        -------
        Interval
            Low and high.
        """
        return cast("Interval", self.latest.limits)

    @property
    def outside(self) -> tuple[Outside, ...]:
        """List every check outside, by every rule that it breaks.

        Returns
        -------
        tuple of Outside
            Date, rule, found, low, high, role; in the order of time.
        """
        return tuple(outside for check in self.checks for outside in check_outside(check))

    @property
    def ewma(self) -> pd.DataFrame:
        """Moving average with its exact limits.

        Returns
        -------
        DataFrame
            Columns date, stage, ewma, ewma_low, ewma_high; a row a judged check.
        """
        table = self.table
        return table.loc[table.role == "judged", ["date", "stage", "ewma", "ewma_low", "ewma_high"]].reset_index(
            drop=True
        )

    @property
    def table(self) -> pd.DataFrame:
        """One row a check.

        Returns
        -------
        DataFrame
            The fields of `ChartedCheck`; numbers that do not exist are missing, `role` says why.
        """
        import pandas as pd

        table = pd.DataFrame([vars(check) | {"outside": ", ".join(check.outside)} for check in self.checks])
        numbers = ("sd", "low", "high", "ewma", "ewma_low", "ewma_high", "sd_high")
        return table.astype(dict.fromkeys(numbers, "float64") | {"n": "Int64", "days": "Int64"})

    def _rows(self) -> list[tuple[str, str]]:
        stage = self.latest
        places = decimals_for(stage.sd or 0.0)
        who = [("bench", self.bench), ("reference article", self.article)]
        limits = f"{shown(self.limits.low, places)} to {shown(self.limits.high, places)} {self.unit}"
        rows = [
            *((label, text) for label, text in who if text),
            ("state", _state(self)),
            ("base period", f"{stage.base_count} checks, {stage.base_first} to {stage.base_last}"),
            ("centre", f"{shown(self.centre, places)} {self.unit}"),
            ("limits, single checks", f"{limits} (±{self.width:g} standard deviations, from the {self.spread_from})"),
            ("EWMA", f"weight {self.weight:g}, limits ±{self.ewma_width:g} of its own exact standard deviations"),
            ("repeatability", self._repeatability()),
        ]
        for check in self.checks:
            words = "; ".join(outside_words(one, places, self.unit) for one in check_outside(check))
            rows += [(f"outside {check.date}", words)] if words else []
        rows += [(f"event {check.date}", check.event) for check in self.checks if check.event]
        if self.in_control is not None:
            rows += _alarm_rows(self.false_alarms, self.nominal_alarms)
        return [*rows, *(("note", note) for note in self.notes)]

    def _repeatability(self) -> str:
        if self.pooled_sd is None or self.pooled_dof is None:
            return "not tested: the base period records no sd with n"
        sd = shown(self.pooled_sd, decimals_for(self.pooled_sd))
        return (
            f"{sd} {self.unit} within a check ({shown_dof(self.pooled_dof)} degrees of freedom); "
            f"F test at {100 * self.repeatability_alpha:.2g} % a check"
        )


def _state(chart: Chart) -> str:
    if chart.in_control is None:
        return "not judged"
    return "in control" if chart.in_control else f"left control on {chart.left_control}"


def _alarm_rows(alarms: FalseAlarms, nominal: FalseAlarms) -> list[tuple[str, str]]:
    any_rule, per_check = (
        f"{100 * getattr(alarms, name):.2g} % (known limits: {100 * getattr(nominal, name):.2g} %)"
        for name in ("any_rule", "per_check")
    )
    within = f"limits from {alarms.base} checks alarm within {alarms.further} checks"
    return [
        ("false alarms", f"{within} on this share of benches that never changed: {any_rule}"),
        ("a good check", f"lies outside its limits in {per_check}; both simulated"),
    ]


def check_outside(check: ChartedCheck) -> list[Outside]:
    """List the limits that one check is outside of.

    Parameters
    ----------
    check : ChartedCheck
        The check.

    Returns
    -------
    list of Outside
        One a rule.
    """
    against: dict[Rule, tuple[float | None, float | None, float | None]] = {
        "individuals": (check.value, check.low, check.high),
        "EWMA": (check.ewma, check.ewma_low, check.ewma_high),
        "repeatability": (check.sd, None, check.sd_high),
    }
    return [
        Outside(check.date, rule, found, low, high, check.role)
        for rule, (found, low, high) in against.items()
        if rule in check.outside and found is not None and high is not None
    ]


def outside_words(outside: Outside, places: int, unit: str) -> str:
    """Say which limit a check is outside of.

    Parameters
    ----------
    outside : Outside
        The check.
    places : int
        Decimal places shown.
    unit : str
        Unit of the values.

    Returns
    -------
    str
        For example ``"individuals: 6.42 above 6.38 W"``.
    """
    low = outside.low is not None and outside.found < outside.low
    limit = outside.low if low and outside.low is not None else outside.high
    side = "below" if low else "above"
    return f"{outside.rule}: {shown(outside.found, places)} {side} {shown(limit, places)} {unit}".rstrip()
