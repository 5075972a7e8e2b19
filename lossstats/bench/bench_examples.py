"""The example history of a check standard: invented data with a known truth, the same bytes from the same seed.

``python -m lossstats.bench.bench_examples FOLDER`` writes it again.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from lossstats.bench.check_entries import COLUMNS, Check
from lossstats.bench.check_history import CheckHistory

FOLDER, FILE = "check_history", "check_history.csv"
_FIRST = date(2025, 1, 6)  # a Monday
_SEED = 20250106
_CLOSED_WEEKS = (15, 16)
_README = """\
# Check history: the reference chain over 26 weeks

The data are invented, simulated with a stored seed (lossstats/bench); no real chain or bench stands behind them. The
reference chain `REF` is run on the two-sprocket loss bench at 280 W on Mondays and Thursdays, three refits a check.
`value` is the mean of the three in W, `sd` their standard deviation, `event` what was done to the bench since the check
before. In two weeks the laboratory was closed. There is one real shift of the bench, and no event names it.

To make the files again, remove the folder and run `python -m lossstats.bench.bench_examples example_runs`; the bytes
are the same. `lossstats.bench.bench_examples.EXAMPLE_SHIFT` tells the truth.
"""


@dataclass(frozen=True)
class Shift:
    """A sudden change of the bench.

    Attributes
    ----------
    date : str
        The first check that shows it.
    change : float
        By which every value from then on is higher.
    """

    date: str
    change: float


EXAMPLE_SHIFT = Shift("2025-05-12", 0.1)
EXAMPLE_EVENTS = {"2025-01-30": "chain oil of a new batch", "2025-04-03": "belt guard refitted"}


def simulate_check_history(
    *,
    weeks: int = 26,
    level: float = 6.2,
    day_sd: float = 0.035,
    run_sd: float = 0.05,
    runs: int = 3,
    shifts: tuple[Shift, ...] = (),
    events: dict[str, str] | None = None,
    closed_weeks: tuple[int, ...] = (),
    wear_per_week: float = 0.0,
    rng: np.random.Generator | int,
) -> CheckHistory:
    """Simulate checks on Mondays and Thursdays.

    Parameters
    ----------
    weeks : int, default 26
        Weeks from 2025-01-06.
    level : float, default 6.2
        True level of the reference article, in W.
    day_sd : float, default 0.035
        Standard deviation from check to check that the runs of a check share.
    run_sd : float, default 0.05
        Standard deviation of the runs within a check, refit included.
    runs : int, default 3
        Runs a check, at least 2.
    shifts : tuple of Shift, optional
        True changes of the bench.
    events : dict of str to str, optional
        Date of a check to what was done before it; what is written down changes nothing.
    closed_weeks : tuple of int, optional
        Weeks without checks, counted from 1.
    wear_per_week : float, default 0.0
        True change of the reference article itself, in W.
    rng : Generator or int
        Source of chance.

    Returns
    -------
    CheckHistory
        Values and standard deviations rounded to 0.0001 W.

    Raises
    ------
    ValueError
        If there is less than a week or there are fewer than 2 runs.
    """
    if weeks < 1 or runs < 2:
        raise ValueError(f"weeks, runs: found {weeks}, {runs}; accepted: at least 1 week, at least 2 runs a check")
    source = np.random.default_rng(rng)
    told = events or {}
    checks = []
    for number in range(2 * weeks):
        week, second = divmod(number, 2)
        readings = level + wear_per_week * week + source.normal(0, day_sd) + source.normal(0, run_sd, runs)
        if week + 1 in closed_weeks:
            continue
        day = (_FIRST + timedelta(days=7 * week + 3 * second)).isoformat()
        readings += sum(shift.change for shift in shifts if shift.date <= day)
        value, sd = round(float(readings.mean()), 4), round(float(readings.std(ddof=1)), 4)
        checks.append(Check(day, value, sd, runs, "loss bench", "REF", told.get(day, "")))
    note = "invented data, simulated; no real chain or bench stands behind them"
    return CheckHistory(tuple(checks), "W", "simulated", (note,))


def example_check_history() -> CheckHistory:
    """Simulate the example history in memory.

    Returns
    -------
    CheckHistory
        26 weeks with one real shift, `EXAMPLE_SHIFT`; the same every time.
    """
    return simulate_check_history(shifts=(EXAMPLE_SHIFT,), events=EXAMPLE_EVENTS, closed_weeks=_CLOSED_WEEKS, rng=_SEED)


def check_history_text(history: CheckHistory) -> str:
    r"""Text of a CSV that `read_check_history` takes.

    Parameters
    ----------
    history : CheckHistory
        Its entries must not hold quotation marks or commas.

    Returns
    -------
    str
        Header and rows, each ended by ``\n``.
    """
    lines = [",".join(COLUMNS)]
    for check in history.checks:
        cells = (getattr(check, name) for name in COLUMNS)
        lines.append(",".join("" if cell is None else str(cell) for cell in cells))
    return "\n".join(lines) + "\n"


def write_bench_examples(folder: str | os.PathLike[str]) -> Path:
    """Write the example history, the same bytes every time.

    Parameters
    ----------
    folder : path
        Where ``check_history/`` goes; that one must not exist.

    Returns
    -------
    Path
        The CSV.

    Raises
    ------
    FileExistsError
        If ``check_history/`` exists.
    """
    target = Path(folder) / FOLDER
    target.mkdir(parents=True)
    (target / FILE).write_bytes(check_history_text(example_check_history()).encode())
    (target / "README.md").write_bytes(_README.encode())
    return target / FILE


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("found no folder; accepted: python -m lossstats.bench.bench_examples FOLDER")
    write_bench_examples(sys.argv[1])
