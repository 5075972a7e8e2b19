"""What a result says of the plan behind it: its seal, and every departure from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lossstats.records.rendering import Record
from lossstats.run_plan.plan_departures import departures

if TYPE_CHECKING:
    from lossstats.trial_folder.trial import Trial

_DOUBT = "rules may have been set after the readings were seen"
NO_PLAN = f"no sealed plan: {_DOUBT}"
NO_PLAN_IN_SCOPE = f"Plan: none sealed; {_DOUBT}."


@dataclass(frozen=True)
class PlanRecord(Record):
    """The sealed plan of a trial and how the trial kept to it.

    Attributes
    ----------
    sha256 : str
        Seal of the plan.
    planned_runs : int
        Runs that it laid out.
    confounded : tuple of str
        What the order cannot tell apart, as it was said before the first run.
    departures : tuple of str
        Everything in which the trial departs from the plan, in words.
    """

    sha256: str
    planned_runs: int
    confounded: tuple[str, ...]
    departures: tuple[str, ...]

    title = "Sealed plan"

    def _rows(self) -> list[tuple[str, str]]:
        return [
            ("SHA-256", self.sha256),
            ("runs planned", str(self.planned_runs)),
            *(("not told apart", sentence) for sentence in self.confounded),
            *(("departure", sentence) for sentence in self.departures or ("none",)),
        ]

    @property
    def notes(self) -> tuple[str, ...]:
        """Put it into notes for the statement.

        Returns
        -------
        tuple of str
            One a departure, or one that says that there is none.
        """
        if not self.departures:
            return (f"carried out as the sealed plan says ({self.planned_runs} runs, SHA-256 {self.sha256[:12]}…)",)
        return tuple(f"departs from the sealed plan: {sentence}" for sentence in self.departures)


def plan_record(trial: Trial) -> PlanRecord | None:
    """Hold a trial against its sealed plan.

    Parameters
    ----------
    trial : Trial
        As it was read.

    Returns
    -------
    PlanRecord or None
        None where there is no sealed plan.
    """
    plan = trial.plan
    if plan is None:
        return None
    return PlanRecord(plan.sha256, len(plan.runs), plan.confounded, departures(plan, trial))
