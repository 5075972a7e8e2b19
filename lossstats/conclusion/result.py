"""The finished result: what it holds, and how it is sealed in result.json."""

from __future__ import annotations

import errno
import json
import math
import secrets
import shutil
import tempfile
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lossstats.conclusion.looks import FILE as LOOKS
from lossstats.conclusion.looks import Look, digest_of, looks_text
from lossstats.records.rendering import Record, plain

if TYPE_CHECKING:
    import pandas as pd

    from lossstats.comparison.comparison import Comparison
    from lossstats.comparison.statement import Statement
    from lossstats.comparison.verdict import Verdict
    from lossstats.conclusion.choices import Sensitivity
    from lossstats.conclusion.leave_out import Influence
    from lossstats.conclusion.saving_budget import SavingBudget
    from lossstats.corrections.drift import DriftCorrection
    from lossstats.corrections.unit_table import UnitValue
    from lossstats.one_run.level import Level
    from lossstats.one_run.screening import Screening
    from lossstats.one_run.settling import Settled
    from lossstats.records.estimate import Estimate
    from lossstats.run_plan.plan_record import PlanRecord
    from lossstats.several.ranked import PairDifference, Ranking
    from lossstats.trial_folder.settings import Settings
    from lossstats.trial_folder.trial import Trial

FORMAT = 2
FOLDER = "results"


@dataclass(frozen=True)
class RunResult(Record):
    """One run with its level and what became of it.

    Attributes
    ----------
    run, start, role, article, condition, mount, bench_day, file, remarks : str
        As in the run sheet; start in ISO 8601.
    used : bool
        Whether the run went on.
    why_not_used : str
        The declared rule that left it out.
    level : Level
        Settled level.
    settled : Settled
        Whether it had levelled out.
    screening : Screening
        Flags.
    level_without_flagged : float or None
        Level without the flagged samples; None if none was flagged.
    corrected : float or None
        Level after drift correction; None for zero runs.
    drift_removed : float or None
        What the correction took off.
    """

    run: str
    start: str
    role: str
    article: str
    condition: str
    mount: str
    bench_day: str
    file: str
    remarks: str
    used: bool
    why_not_used: str
    level: Level
    settled: Settled
    screening: Screening
    level_without_flagged: float | None
    corrected: float | None
    drift_removed: float | None

    title = "Run"

    def _rows(self) -> list[tuple[str, str]]:
        what = " ".join(word for word in (self.role, self.article, self.condition, self.mount) if word)
        return [("run", f"{self.run}: {what}"), ("settled", self.settled.status), *self.level._rows()]


@dataclass(frozen=True)
class Result(Record):
    """Everything that the analysis of a trial found, unrounded.

    Attributes
    ----------
    name : str
        Name of the trial folder.
    settings : Settings
        What trial.toml declared.
    runs : tuple of RunResult
        Every run in bench order.
    drift : DriftCorrection
        What was done about drift.
    units : tuple of UnitValue
        One value a unit and condition.
    comparison : Comparison or None
        Difference, percent, p, verdict; None where three conditions or more were compared.
    ranking : Ranking or None
        Differences with simultaneous intervals, ratios, groups; None where two conditions were compared.
    budget : SavingBudget
        What the uncertainty of the saving is made of; of the leading comparison where there are several.
    statement : Statement
        The words.
    notes : tuple of str
        Choices that the record shows.
    dropped : tuple of str
        Articles and runs that take no part, with the reason; each stands in `notes` too.
    earlier_looks : tuple of Look
        Analyses of earlier states of the trial that the record shows.
    plan : PlanRecord or None
        Seal of the plan and departures from it; None where there was no sealed plan.
    inputs : dict of str to str
        SHA-256 of every input file.
    versions : dict of str to str
        Python and libraries.
    sensitivity : Sensitivity or None
        The same under other reasonable choices, one at a time, where asked for.
    influence : Influence or None
        The same without each unit in turn, where asked for.
    """

    name: str
    settings: Settings
    runs: tuple[RunResult, ...]
    drift: DriftCorrection
    units: tuple[UnitValue, ...]
    comparison: Comparison | None
    ranking: Ranking | None
    budget: SavingBudget
    statement: Statement
    notes: tuple[str, ...]
    dropped: tuple[str, ...]
    earlier_looks: tuple[Look, ...]
    plan: PlanRecord | None
    inputs: dict[str, str]
    versions: dict[str, str]
    sensitivity: Sensitivity | None = None
    influence: Influence | None = None
    _trial: Trial | None = field(default=None, repr=False, compare=False)  # its samples are drawn on the result sheet

    title = "Result"

    def _rows(self) -> list[tuple[str, str]]:
        return [("question", self.settings.trial.question), *self.statement._rows()]

    def __str__(self) -> str:
        return f"{self.settings.trial.question}\n\n{self.statement}"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<p><em>{escape(self.settings.trial.question)}</em></p>{self.statement._repr_html_()}"

    @property
    def verdict(self) -> Verdict:
        """The verdict of the comparison; of several conditions, that of the leading comparison.

        Returns
        -------
        Verdict
            By the one rule. Leading: the best condition against the control, or the best two conditions.
        """
        if self.comparison is not None:
            return self.comparison.verdict
        return self.ranked.leading.verdict

    @property
    def compared(self) -> Comparison:
        """The comparison of two conditions.

        Returns
        -------
        Comparison
            Never None.

        Raises
        ------
        ValueError
            If several conditions were compared.
        """
        if self.comparison is None:
            raise ValueError("result: found several conditions; accepted: a result of two, or its ranking")
        return self.comparison

    @property
    def ranked(self) -> Ranking:
        """The ranking of several conditions.

        Returns
        -------
        Ranking
            Never None.

        Raises
        ------
        ValueError
            If two conditions were compared.
        """
        if self.ranking is None:
            raise ValueError("result: found two conditions; accepted: a result of several, or its comparison")
        return self.ranking

    @property
    def headline(self) -> Estimate | PairDifference | None:
        """What verdict and budget speak of: the saving, or the leading comparison of several.

        Returns
        -------
        Estimate, PairDifference or None
            None where there is no interval.
        """
        return self.ranked.leading if self.comparison is None else self.comparison.difference

    @property
    def levels(self) -> pd.DataFrame:
        """Table of all runs in bench order; values in the unit of the measurand.

        Returns
        -------
        pandas.DataFrame
            One row a run.
        """
        import pandas as pd

        columns = ("run", "start", "role", "article", "condition", "mount", "bench_day", "used")
        rows = [
            {name: getattr(r, name) for name in columns}
            | {
                "settled": r.settled.status,
                "level": r.level.value,
                "standard_uncertainty": r.level.standard_uncertainty,
                "window_mean": r.level.window_mean.value if r.level.window_mean is not None else math.nan,
                "flagged": len(r.screening.flagged),
                "level_without_flagged": r.level_without_flagged,
                "drift_removed": r.drift_removed,
                "corrected": r.corrected,
            }
            for r in self.runs
        ]
        return pd.DataFrame(rows).set_index("run")

    @property
    def unit_table(self) -> pd.DataFrame:
        """Table of unit values: one row a unit, one column a condition.

        Returns
        -------
        pandas.DataFrame
            Indexed by group and unit.
        """
        import pandas as pd

        table = pd.DataFrame(
            [{"unit": u.unit, "group": u.group, "condition": u.condition, "value": u.value} for u in self.units]
        )
        wide = table.pivot_table(index=["group", "unit"], columns="condition", values="value", sort=False)
        return wide.reindex(columns=list(self.settings.comparison.all_conditions))

    def _look(self) -> Look:
        units = " and ".join(map(str, self.headline_counts()))
        return Look(digest_of(self.inputs), len(self.runs), units, self.verdict.kind)

    def headline_counts(self) -> tuple[int, ...]:
        """Count the units of replication.

        Returns
        -------
        tuple of int
            Pairs, or units a group or condition.
        """
        if self.comparison is not None:
            return self.comparison.n
        conditions = self.settings.comparison.all_conditions
        return tuple(sum(u.condition == condition for u in self.units) for condition in conditions)

    def save(self, folder: str | Path) -> Path:
        """Write result.json, result_sheet.html and the figures into `folder`/results, whole or not at all.

        Parameters
        ----------
        folder : path
            The trial folder.

        Returns
        -------
        Path
            The results folder.

        Raises
        ------
        FileNotFoundError
            If the trial folder does not exist.

        Notes
        -----
        Earlier results are replaced in one move; nothing else in the folder is touched.
        """
        from lossstats.sheet.sheet import write_sheet

        target = Path(folder)
        if not target.is_dir():
            raise FileNotFoundError(f"{target}: found no such folder; accepted: the trial folder")
        work = Path(tempfile.mkdtemp(prefix=".results-", dir=target))
        try:
            (work / "result.json").write_text(to_json(self), encoding="utf-8")
            (work / LOOKS).write_text(looks_text([*self.earlier_looks, self._look()]), encoding="utf-8")
            traces = None if self._trial is None else {run.name: (run.time_s, run.values) for run in self._trial.runs}
            write_sheet(self, work, traces=traces)
            _replace(work, target / FOLDER)
        finally:
            shutil.rmtree(work, ignore_errors=True)
        return target / FOLDER


def _replace(work: Path, target: Path) -> None:
    """Put a finished folder in the place of an older one; the older one is back if that fails."""
    work.chmod(0o755)
    old = target.with_name(f".{target.name}-old-{secrets.token_hex(4)}")
    while True:
        with suppress(FileNotFoundError):
            target.rename(old)
        try:
            work.rename(target)
        except OSError as error:
            # Another process was there in the meantime: whoever comes last stays.
            if error.errno in (errno.ENOTEMPTY, errno.EEXIST):
                shutil.rmtree(old, ignore_errors=True)
                continue
            if old.exists():
                old.rename(target)
            raise
        shutil.rmtree(old, ignore_errors=True)
        return


def versions() -> dict[str, str]:
    """Name the versions of Python and of the libraries that the numbers come from.

    Returns
    -------
    dict of str to str
        Name to version.
    """
    return dict(_versions())


@cache
def _versions() -> dict[str, str]:
    # Once: reading the metadata of a package takes longer than a comparison.
    import platform
    from importlib.metadata import version

    import lossstats

    names = ("numpy", "scipy", "matplotlib")
    return {
        "python": platform.python_version(),
        "lossstats": lossstats.__version__,
        **{name: version(name) for name in names},
    }


def to_json(result: Result) -> str:
    """The sealed record: every number unrounded.

    Parameters
    ----------
    result : Result
        The finished result.

    Returns
    -------
    str
        JSON with sorted sections in the order of the work; infinity is written as the string ``"inf"``, a
        number that does not exist as null.
    """
    content = {"format": FORMAT, **{key: _jsonable(value) for key, value in result.to_dict().items()}}
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _jsonable(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _jsonable(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_jsonable(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None if math.isnan(value) else ("inf" if value > 0 else "-inf")
    return value if value is None or isinstance(value, str | int | float | bool) else str(plain(value))
