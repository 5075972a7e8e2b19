"""Times of a plan: working hours, washing and drying, and the runs that have their place in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from lossstats.trial_folder.faults import Fault, TrialError
from lossstats.trial_folder.number_rows import parse_stamp
from lossstats.trial_folder.settings import PlanKeys

WEEK = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
Role = Literal["test", "reference", "zero"]


@dataclass(frozen=True)
class Fitting:
    """One thing put on the bench: a mount of an article, or nothing for a zero run.

    Attributes
    ----------
    role : {"test", "reference", "zero"}
        What its runs are for.
    article, condition, mount : str
        As in the run sheet; empty where the role has none.
    runs : int
        Runs with nothing touched between them.
    """

    role: Role
    article: str = ""
    condition: str = ""
    mount: str = ""
    runs: int = 1


@dataclass(frozen=True)
class OrderedRun:
    """One run of a plan.

    Attributes
    ----------
    run : str
        Name of the run.
    start, end : datetime
        Aware, on a whole minute each way round: the start is never early.
    role : {"test", "reference", "zero"}
        What the run is for.
    article, condition, mount : str
        As in the run sheet; empty where the role has none.
    block : int or None
        Block to which a test run belongs, from 1; None for other runs.
    """

    run: str
    start: datetime
    end: datetime
    role: Role
    article: str = ""
    condition: str = ""
    mount: str = ""
    block: int | None = None

    @property
    def bench_day(self) -> str:
        """Day of the start, by the clock of the plan.

        Returns
        -------
        str
            ISO date.
        """
        return self.start.date().isoformat()


@dataclass(frozen=True)
class WorkingHours:
    """When the bench may run, by the clock of the first start.

    Attributes
    ----------
    first_start : datetime
        Nothing is before it.
    keys : PlanKeys
        Working hours and days, hours of washing and drying.
    """

    first_start: datetime
    keys: PlanKeys

    @classmethod
    def of(cls, keys: PlanKeys) -> WorkingHours:
        """Take the working hours from the keys of a plan.

        Parameters
        ----------
        keys : PlanKeys
            Table [plan].

        Returns
        -------
        WorkingHours
            With the first start read.

        Raises
        ------
        TrialError
            If the first start is no ISO 8601 time with offset.
        """
        first = parse_stamp(keys.first_start)
        if first is None:
            accepted = "an ISO 8601 date and time with offset such as 2031-03-03T08:00:00+01:00"
            raise TrialError([Fault("trial.toml", None, "key plan.first_start", repr(keys.first_start), accepted)])
        return cls(first, keys)

    def of_day(self, moment: datetime) -> tuple[datetime, datetime]:
        """Give beginning and end of the bench day on a date, whether the bench works that day or not.

        Parameters
        ----------
        moment : datetime
            Any time of that day.

        Returns
        -------
        tuple of datetime
            Beginning and end.
        """
        midnight = moment.replace(hour=0, minute=0, second=0, microsecond=0)
        hours = (self.keys.working_from_h, self.keys.working_to_h)
        begin, end = (midnight + timedelta(minutes=round(60 * hour)) for hour in hours)
        return max(begin, self.first_start), end

    def opening(self, moment: datetime) -> datetime:
        """Find the first moment at or after this one at which the bench works.

        Parameters
        ----------
        moment : datetime
            Any time.

        Returns
        -------
        datetime
            The same moment within working hours, else the beginning of the next bench day.
        """
        moment = max(moment, self.first_start)
        while True:
            begin, end = self.of_day(moment)
            if WEEK[moment.weekday()] in self.keys.working_days and moment < end:
                return max(begin, moment)
            moment = next_day(moment)

    def washed(self, end: datetime) -> datetime:
        """Find the moment at which an article may be measured in the next condition.

        Parameters
        ----------
        end : datetime
            End of its last run.

        Returns
        -------
        datetime
            Washing within the working hours of one day, then drying by night and day.
        """
        washing = timedelta(hours=self.keys.wash_hours)
        start = self.opening(end)
        if washing and start + washing > self.of_day(start)[1]:
            start = self.opening(next_day(start))
        return (start if washing else end) + washing + timedelta(hours=self.keys.dry_hours)

    def changed(self, end: datetime, *, back: bool) -> datetime:
        """Find the moment at which an article that changes its condition may be measured again.

        Parameters
        ----------
        end : datetime
            End of its last run.
        back : bool
            Whether it goes back to a condition that comes earlier in the list.

        Returns
        -------
        datetime
            After washing and drying, or after ``back_hours``.
        """
        if back and self.keys.back_hours is not None:
            return end + timedelta(hours=self.keys.back_hours)
        return self.washed(end)


def next_day(moment: datetime) -> datetime:
    """Give the midnight that ends a day.

    Parameters
    ----------
    moment : datetime
        Any time of that day.

    Returns
    -------
    datetime
        Its offset is kept.
    """
    return moment.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)


def change_takes_time(keys: PlanKeys) -> bool:
    """Say whether an article that changes its condition leaves the bench for longer than a fitting.

    Parameters
    ----------
    keys : PlanKeys
        Table [plan].

    Returns
    -------
    bool
        True with hours of washing, drying, or going back.
    """
    return bool(keys.wash_hours or keys.dry_hours or keys.back_hours)


@dataclass(frozen=True)
class Change:
    """An article that changes its condition between two runs.

    Attributes
    ----------
    article : str
        The article.
    last, following : OrderedRun
        Its last run in the one condition, its first in the next.
    ready : datetime
        From then on it may be measured.
    """

    article: str
    last: OrderedRun
    following: OrderedRun
    ready: datetime


def changes_of_condition(runs: Sequence[OrderedRun], keys: PlanKeys, conditions: Sequence[str]) -> tuple[Change, ...]:
    """List the changes of condition in an order of runs, planned or carried out.

    Parameters
    ----------
    runs : sequence of OrderedRun
        In bench order.
    keys : PlanKeys
        Table [plan].
    conditions : sequence of str
        In the order of trial.toml.

    Returns
    -------
    tuple of Change
        In the order of the last runs.
    """
    hours, order = WorkingHours.of(keys), tuple(conditions).index
    changes = [
        Change(one.article, one, other, hours.changed(one.end, back=order(other.condition) < order(one.condition)))
        for one, other in turns(runs)
    ]
    return tuple(sorted(changes, key=lambda change: change.last.start))


def turns(runs: Sequence[OrderedRun]) -> tuple[tuple[OrderedRun, OrderedRun], ...]:
    """Pair the last run of an article in one condition with its first in the next.

    Parameters
    ----------
    runs : sequence of OrderedRun
        In bench order, planned or carried out.

    Returns
    -------
    tuple of (OrderedRun, OrderedRun)
        In the order of the later runs.
    """
    pairs = []
    last: dict[str, OrderedRun] = {}
    for run in runs:
        if run.role == "test":
            before = last.get(run.article, run)
            if before.condition != run.condition:
                pairs.append((before, run))
            last[run.article] = run
    return tuple(pairs)
