"""The clock of a plan: mounts one after the other, with fitting, waiting, reference and zero runs between them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from lossstats.trial_folder.faults import Fault, TrialError
from lossstats.trial_folder.plan_times import Fitting, OrderedRun, Role, WorkingHours, change_takes_time, next_day
from lossstats.trial_folder.settings import PlanKeys


class BenchClock:
    """Put fittings on the clock, one after the other, with the reference and zero runs that the plan asks for.

    Parameters
    ----------
    keys : PlanKeys
        Table [plan].
    conditions : sequence of str
        In the order of trial.toml.

    Attributes
    ----------
    split : int
        Blocks that did not fit between two reference runs, or into a day, and were parted.
    """

    def __init__(self, keys: PlanKeys, conditions: Sequence[str]) -> None:
        self._keys = keys
        self._hours = WorkingHours.of(keys)
        self._conditions = tuple(conditions)
        self._laid: list[tuple[Fitting, datetime, datetime, int | None]] = []
        self._last: dict[str, tuple[str, datetime]] = {}
        self._now = self._hours.first_start
        self._opened: datetime | None = None
        self._since = {"reference": 0, "zero": 0}
        self._references = 0
        self._runs_today = 0
        self.split = 0

    def free_for(self, block: Sequence[Fitting]) -> datetime:
        """Find the moment from which a block may go on the bench.

        Parameters
        ----------
        block : sequence of Fitting
            Its mounts.

        Returns
        -------
        datetime
            Within working hours, the bench free and the articles washed and dry.
        """
        return self._hours.opening(max(self._now, *(self.ready(fitting) for fitting in block)))

    def ready(self, fitting: Fitting) -> datetime:
        """Find the moment from which a mount may go on the bench.

        Parameters
        ----------
        fitting : Fitting
            A mount of a test article.

        Returns
        -------
        datetime
            The first start of the plan if the article has not been measured in another condition. An untouched control
            waits as long as if it were washed: it is to show what that time does.
        """
        condition, end = self._last.get(fitting.article, (fitting.condition, self._hours.first_start))
        if condition == fitting.condition:
            return self._hours.first_start
        order = self._conditions.index
        return self._hours.changed(end, back=order(fitting.condition) < order(condition))

    def place(self, block: Sequence[Fitting], number: int) -> None:
        """Put one block on the clock, on one bench day and between two reference runs where that can be.

        Parameters
        ----------
        block : sequence of Fitting
            Its mounts in order.
        number : int
            Number of the block.

        Raises
        ------
        TrialError
            If a single mount, with the runs around it, is longer than a bench day.
        """
        if self._stays_whole(block) and self._try_days(block, number):
            return
        if len(block) == 1:
            raise TrialError([self._day_too_short(block[0])])
        self.split += 1
        for fitting in block:
            if not self._try_days([fitting], number):
                raise TrialError([self._day_too_short(fitting)])

    def finished(self) -> tuple[OrderedRun, ...]:
        """End the last bench day and name the runs.

        Returns
        -------
        tuple of OrderedRun
            In bench order, named r01, r02, and so on.
        """
        if self._opened is not None:
            self._end_day()
        width = max(2, len(str(len(self._laid))))
        return tuple(
            OrderedRun(f"r{k:0{width}d}", start, end, f.role, f.article, f.condition, f.mount, block)
            for k, (f, start, end, block) in enumerate(self._laid, start=1)
        )

    def _stays_whole(self, block: Sequence[Fitting]) -> bool:
        changes = len({f.article for f in block}) < len({(f.article, f.condition) for f in block})
        limits = [limit for limit in (self._reference_limit(), self._keys.zero_every, self._most) if limit is not None]
        return not (changes and change_takes_time(self._keys)) and all(_runs(block) <= limit for limit in limits)

    @property
    def _most(self) -> int | None:
        return self._keys.most_runs_a_day

    def _reference_limit(self) -> int | None:
        keys = self._keys
        return (keys.reference_every or len(self._conditions) * keys.runs_per_mount) if keys.reference else None

    def _try_days(self, piece: Sequence[Fitting], number: int) -> bool:
        # Today if it fits before closing, else on the next bench day that has time for it; False if none has.
        ready = max(self.ready(fitting) for fitting in piece)
        if self._opened is not None:
            if self._try_today(piece, number, ready):
                return True
            self._end_day()
        free = self._now
        for moment in (max(free, ready), next_day(max(free, ready))):
            self._opened = self._now = self._hours.opening(moment)
            if self._try_today(piece, number, ready):
                return True
        self._opened, self._now = None, free
        return False

    def _try_today(self, piece: Sequence[Fitting], number: int, ready: datetime) -> bool:
        if self._most is not None and self._runs_today + _runs(piece) > self._most:
            return False
        opened = self._opened == self._now
        waits = not opened and ready - self._now > self._minutes("reference") + self._fit()
        pause = self._lay(self._now, self._check("reference") if waits and self._since["reference"] else [])
        free = pause[-1][2] if pause else self._now
        lead = self._due(_runs(piece), opened=opened, waited=waits)
        laid = self._lay(max(free, ready), [*lead, *piece], after=opened and free >= ready)
        last = self._lay(laid[-1][2], self._closing())
        if [*laid, *last][-1][2] > self._hours.of_day(self._now)[1] or laid[-1][2].date() != self._now.date():
            return False
        for fitting in lead:
            self._since[fitting.role] = 0
        for role in self._since:
            self._since[role] += _runs(piece)
        self._runs_today += _runs(piece)
        self._keep([*pause, *laid], number)
        return True

    def _due(self, runs: int, *, opened: bool, waited: bool) -> list[Fitting]:
        # Zero and reference runs before the next test runs.
        zero = (opened and self._keys.zero_first) or (
            self._keys.zero_every is not None and self._since["zero"] + runs > self._keys.zero_every
        )
        limit = self._reference_limit()
        reference = limit is not None and (opened or waited or self._since["reference"] + runs > limit)
        return (self._check("zero") if zero else []) + (self._check("reference") if reference else [])

    def _closing(self) -> list[Fitting]:
        return self._check("reference") + (self._check("zero") if self._keys.zero_last else [])

    def _check(self, role: Role) -> list[Fitting]:
        if role == "zero":
            return [Fitting("zero")]
        return [Fitting("reference", self._keys.reference)] if self._keys.reference else []

    def _end_day(self) -> None:
        self._keep(self._lay(self._now, self._closing()), None)
        self._since = {"reference": 0, "zero": 0}
        self._runs_today = 0
        self._now, self._opened = next_day(self._now), None

    def _keep(self, laid: Sequence[tuple[Fitting, datetime, datetime]], number: int | None) -> None:
        for fitting, start, end in laid:
            kept = fitting
            if fitting.role == "reference":
                self._references += 1
                kept = Fitting("reference", fitting.article, "", str(self._references))
            if fitting.role == "test":
                self._last[fitting.article] = (fitting.condition, end)
            self._laid.append((kept, start, end, number if fitting.role == "test" else None))
            self._now = end

    def _lay(
        self, at: datetime, fittings: Sequence[Fitting], *, after: bool = False
    ) -> list[tuple[Fitting, datetime, datetime]]:
        # Runs one after the other from a moment on; `after` says that the bench day begins here, with a bare bench.
        laid = []
        for k, fitting in enumerate(fittings):
            bare = after and k == 0 and fitting.role == "zero"
            at = _whole_minute(at if bare else at + self._fit())
            for _ in range(fitting.runs):
                start = _whole_minute(at)
                at = start + self._minutes(fitting.role)
                laid.append((fitting, start, at))
        return laid

    def _fit(self) -> timedelta:
        return timedelta(minutes=self._keys.fit_minutes)

    def _minutes(self, role: Role) -> timedelta:
        return timedelta(minutes=self._keys.zero_minutes if role == "zero" else self._keys.run_minutes)

    def _day_too_short(self, fitting: Fitting) -> Fault:
        keys = self._keys
        found = (
            f"working_from_h = {keys.working_from_h:g} and working_to_h = {keys.working_to_h:g}, which contradict "
            f"runs_per_mount = {fitting.runs}, run_minutes = {keys.run_minutes:g}, fit_minutes = {keys.fit_minutes:g} "
            f"and {len(self._closing()) + len(self._due(1, opened=True, waited=False))} reference and zero runs a day: "
            "one mount with these around it is longer than a bench day"
        )
        return Fault("trial.toml", None, "key plan.working_to_h", found, "a longer bench day, or less in it")


def _runs(fittings: Sequence[Fitting]) -> int:
    return sum(fitting.runs for fitting in fittings)


def _whole_minute(moment: datetime) -> datetime:
    down = moment.replace(second=0, microsecond=0)
    return down if down == moment else down + timedelta(minutes=1)
