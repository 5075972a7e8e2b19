"""Levels of many runs as a table: kept in Parquet, and chosen from for check-standard charts and components."""

from __future__ import annotations

import dataclasses
import os
import re
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from lossstats.trial_folder.faults import quoted

if TYPE_CHECKING:
    from types import ModuleType

    import pandas as pd

_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])", re.ASCII)
StillMoving = Literal["refuse", "use", "leave out"]


@dataclass(frozen=True)
class RunLevel:
    """One run of an archive: a row of the table of levels.

    Attributes
    ----------
    folder : str
        Trial folder as it was given.
    run : str
        Name in its run sheet.
    start : str
        ISO 8601, with the offset of the bench clock.
    bench_day : str
        ISO date by that clock.
    role : str
        ``"test"``, ``"reference"`` or ``"zero"``.
    article, condition, mount : str
        Empty where the role has none.
    bench : str
        As ``[scope]`` of trial.toml names it.
    unit : str
        Unit of the level.
    level : float
        As the bench showed it: corrected neither for drift nor for the operating point.
    u : float
        Its standard uncertainty from noise and resolution.
    dof : float
        Degrees of freedom of that.
    settled : str
        ``"settled"``, ``"moving"`` or ``"undecided"``, by the tolerance of the trial.
    flagged : int
        Samples that looked wrong.
    samples : int
        Samples of the run.
    sha256 : str
        Digest of the sample file.
    """

    folder: str
    run: str
    start: str
    bench_day: str
    role: str
    article: str
    condition: str
    mount: str
    bench: str
    unit: str
    level: float
    u: float
    dof: float
    settled: str
    flagged: int
    samples: int
    sha256: str


_TYPES = {"level": "float64", "u": "float64", "dof": "float64", "flagged": "int64", "samples": "int64"}
COLUMNS = tuple(field.name for field in dataclasses.fields(RunLevel))


def levels_table(runs: Iterable[RunLevel]) -> pd.DataFrame:
    """One row a run.

    Parameters
    ----------
    runs : iterable of RunLevel
        In the order of the table.

    Returns
    -------
    DataFrame
        The columns of `RunLevel`: text, floats and whole numbers, also where there is no run.
    """
    import pandas as pd

    rows = list(runs)
    columns = {name: [getattr(run, name) for run in rows] for name in COLUMNS}
    return pd.DataFrame({name: pd.Series(column, dtype=_TYPES.get(name, "str")) for name, column in columns.items()})


def write_levels(levels: pd.DataFrame, path: str | os.PathLike[str]) -> None:
    """Write a table of levels to a Parquet file, whole or not at all.

    Parameters
    ----------
    levels : DataFrame
        As `levels_table` gives it.
    path : path
        File to be written; one that is there is replaced.

    Raises
    ------
    ValueError
        If a column is missing.
    ModuleNotFoundError
        If pyarrow is not installed.
    """
    parquet, arrow = _arrow("parquet"), _arrow()
    table = arrow.Table.from_pandas(_checked(levels), preserve_index=False)
    target = Path(path)
    draft = target.with_name(f".{target.name}.{secrets.token_hex(4)}")
    try:
        parquet.write_table(table, draft)
        draft.replace(target)
    finally:
        draft.unlink(missing_ok=True)


def read_levels(path: str | os.PathLike[str]) -> pd.DataFrame:
    """Read a table of levels from a Parquet file.

    Parameters
    ----------
    path : path
        As `write_levels` wrote it.

    Returns
    -------
    DataFrame
        Equal to what was written, to the last bit.

    Raises
    ------
    ValueError
        If it is no such file, or a column is missing.
    ModuleNotFoundError
        If pyarrow is not installed.
    """
    parquet, arrow = _arrow("parquet"), _arrow()
    name = Path(path).name
    try:
        with Path(path).open("rb") as stream:
            table = parquet.read_table(stream)
    except arrow.ArrowInvalid as error:
        raise ValueError(f"{name}: found no Parquet file; accepted: a file that write_levels wrote") from error
    return _checked(table.to_pandas(), name)


def _arrow(part: str = "") -> ModuleType:
    from importlib import import_module

    try:
        return import_module(f"pyarrow.{part}" if part else "pyarrow")
    except ModuleNotFoundError as error:
        raise ModuleNotFoundError(
            "pyarrow is not installed, which Parquet files need; pip install 'lossstats[scale]' brings it"
        ) from error


def _checked(levels: pd.DataFrame, name: str = "levels") -> pd.DataFrame:
    missing = [column for column in COLUMNS if column not in levels]
    if missing:
        raise ValueError(f"{name}: found no column {', '.join(missing)}; accepted: a table with {', '.join(COLUMNS)}")
    return levels[list(COLUMNS)].astype({column: _TYPES.get(column, "str") for column in COLUMNS})


def select_levels(
    levels: pd.DataFrame,
    *,
    article: str | None = None,
    condition: str | None = None,
    bench: str | None = None,
    role: str | None = None,
    folder: str | None = None,
    month: str | None = None,
) -> pd.DataFrame:
    """Choose runs from a table of levels.

    Parameters
    ----------
    levels : DataFrame
        As `levels_table` or `read_levels` gives it.
    article, condition, bench, role, folder : str, optional
        Name that a run must bear; left out: any.
    month : str, optional
        Month of the bench day, such as ``"2031-03"``.

    Returns
    -------
    DataFrame
        The rows that fit all of them, in their order.

    Raises
    ------
    ValueError
        If no run at all bears a name, so that a slip of the pen is not taken for "none"; if `month` is no month.
    """
    if month is not None and not _MONTH.fullmatch(month):
        raise ValueError(f"month: found {month!r}; accepted: a year and month such as 2031-03")
    chosen = _checked(levels)
    names = {"article": article, "condition": condition, "bench": bench, "role": role, "folder": folder}
    for column, name in names.items():
        if name is None:
            continue
        known = list(dict.fromkeys(levels[column]))
        if name not in known:
            there = ", ".join(map(quoted, known[:20])) or "none, the table is empty"
            raise ValueError(f"{column}: found {name!r}; accepted: a name in the table: {there}")
        chosen = chosen[chosen[column] == name]
    if month is not None:
        chosen = chosen[chosen["bench_day"].str.startswith(month)]
    return chosen.reset_index(drop=True)


def check_standard_columns(levels: pd.DataFrame, *, still_moving: StillMoving = "refuse") -> pd.DataFrame:
    """Make the history of a check standard from the reference runs of an archive.

    Parameters
    ----------
    levels : DataFrame
        A table of levels, or what `select_levels` has left of it.
    still_moving : {"refuse", "use", "leave out"}
        What to do with reference runs that were still moving at their end.

    Returns
    -------
    DataFrame
        Columns date, value, sd, n, bench, article, one row a bench day, bench and reference article, in the order of
        the days: as `lossstats.check_standard_chart` takes it. The standard deviation is missing where a
        day has one run.

    Raises
    ------
    ValueError
        If there is no reference run, units differ, or a run is still moving and that is refused.

    Notes
    -----
    Mean, standard deviation and number of the levels of a day, as `lossstats.history_from_trials` takes
    them from the folders.
    """
    import pandas as pd

    runs = _in_use(select_levels(levels), still_moving, role="reference")
    days = runs.groupby(["bench_day", "bench", "article"], sort=True)["level"]
    table = pd.DataFrame({"value": days.mean(), "sd": days.std(ddof=1), "n": days.size()}).reset_index()
    return table.rename(columns={"bench_day": "date"})[["date", "value", "sd", "n", "bench", "article"]]


def components_columns(
    levels: pd.DataFrame,
    *,
    role: Literal["test", "reference"] = "test",
    condition: str | None = None,
    still_moving: StillMoving = "refuse",
) -> pd.DataFrame:
    """Make a table for `lossstats.variance_components` or `lossstats.repeatability`.

    Parameters
    ----------
    levels : DataFrame
        A table of levels, or what `select_levels` has left of it.
    role : {"test", "reference"}
        Which runs.
    condition : str, optional
        The condition that the runs must have; runs of one condition only are comparable.
    still_moving : {"refuse", "use", "leave out"}
        What to do with runs that were still moving at their end.

    Returns
    -------
    DataFrame
        Columns value, article, mount, bench, day, folder, condition, run; one row a run. A mount bears the name of its
        trial folder and condition, since mount 1 of two trials is two fittings.

    Raises
    ------
    ValueError
        If there is no such run, units or conditions differ, or a run is still moving and that is refused.
    """
    chosen = _in_use(select_levels(levels, condition=condition), still_moving, role=role)
    conditions = list(dict.fromkeys(chosen["condition"]))
    if len(conditions) > 1:
        shown = ", ".join(map(quoted, conditions))
        raise ValueError(f"levels: found runs of the conditions {shown}; accepted: one, chosen by condition=")
    parts = [chosen["folder"], *([chosen["condition"]] if conditions[0] else []), chosen["mount"]]
    table = chosen.rename(columns={"level": "value", "bench_day": "day"})
    table["mount"] = ["/".join(names) for names in zip(*parts, strict=True)]
    return table[["value", "article", "mount", "bench", "day", "folder", "condition", "run"]]


def _in_use(levels: pd.DataFrame, still_moving: StillMoving, *, role: str) -> pd.DataFrame:
    accepted = ("refuse", "use", "leave out")
    if still_moving not in accepted:
        raise ValueError(f"still_moving: found {still_moving!r}; accepted: {', '.join(map(repr, accepted))}")
    runs = levels[levels["role"] == role]
    moving = runs[runs["settled"] == "moving"]
    if len(moving) and still_moving == "refuse":
        names = _named(list(moving["folder"]), list(moving["run"]))
        raise ValueError(
            f"levels: found {role} runs still moving at their end, {names}; accepted: runs that have settled, or "
            "still_moving='use' or 'leave out'"
        )
    if still_moving == "leave out":
        runs = runs[runs["settled"] != "moving"]
    if not len(runs):
        raise ValueError(f"levels: found no {role} run; accepted: one or more")
    units = list(dict.fromkeys(runs["unit"]))
    if len(units) > 1:
        raise ValueError(f"levels: found the units {', '.join(map(quoted, units))}; accepted: runs in one unit")
    return runs.reset_index(drop=True)


def _named(folders: Sequence[Any], runs: Sequence[Any]) -> str:
    names = [f"{folder}: {run}" for folder, run in zip(folders, runs, strict=True)]
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
