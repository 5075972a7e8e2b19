"""A bootstrap interval as a result: what was drawn, what it is worth at so few units, whose conventions it keeps."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

from lossstats.exact_tests.bootstrap_samples import Samples
from lossstats.records.rendering import Record, decimals_for, shown

Method = Literal["studentised", "percentile", "bca", "exact"]
FEW_UNITS = 10
CONVENTIONS = {
    "studentised": (
        "studentised: the data's own standard error stands outside, each resample's own inside; a library that puts "
        "the bootstrap standard error outside gives an interval narrower by about sqrt((n - 1) / n)"
    ),
    "percentile": "percentile: quantiles of the resampled values, linear between neighbours, as in scipy",
    "bca": (
        "BCa: bias from mid-ranks (values equal but for rounding are ties), acceleration from the jackknife of all "
        "samples together, as in scipy"
    ),
    "exact": "exact: percentile limits of infinitely many resamples, by convolution; nothing was drawn",
}


@dataclass(frozen=True)
class Bootstrap(Record):
    """A bootstrap interval.

    Attributes
    ----------
    low, high : float
        Ends of the interval.
    confidence : float
        The confidence asked for; see `measured_coverage` for what small samples get.
    method : str
        ``studentised``, ``percentile``, ``bca`` or ``exact``.
    statistic : str
        What was estimated.
    value : float
        The statistic of the data.
    standard_uncertainty : float
        For ``studentised`` the data's own standard error; otherwise the standard deviation of the resampled values.
    units : tuple of int
        Units (pairs, articles) resampled in each sample.
    resamples : int or None
        Resamples drawn; None for infinitely many.
    seed : int or None
        Seed, where an integer was given.
    dropped : int
        Resamples without a standard error, left out of a studentised interval.
    measured_coverage : float or None
        How often such an interval held the truth at 95 % asked for, in simulated normal units, for at most ten units
        a sample and a mean or difference; otherwise None.
    notes : tuple of str
        What must be known to read the interval.
    """

    low: float
    high: float
    confidence: float
    method: str
    statistic: str
    value: float
    standard_uncertainty: float
    units: tuple[int, ...]
    resamples: int | None
    seed: int | None
    dropped: int
    measured_coverage: float | None
    notes: tuple[str, ...] = ()

    title = "Bootstrap"

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(self.standard_uncertainty)
        drawn = "infinitely many" if self.resamples is None else str(self.resamples)
        rows = [
            (f"{self.confidence * 100:g} % interval", f"{shown(self.low, places)} to {shown(self.high, places)}"),
            ("method", self.method),
            (self.statistic, shown(self.value, places)),
            ("standard uncertainty", shown(self.standard_uncertainty, places)),
            ("units", " and ".join(map(str, self.units))),
            ("resamples", drawn if self.seed is None else f"{drawn}, seed {self.seed}"),
        ]
        if self.measured_coverage is not None:
            rows.append(("measured coverage", f"{self.measured_coverage * 100:.1f} % where 95 % is asked for"))
        return rows + [("note", note) for note in self.notes]


class Drawn(NamedTuple):
    """What was drawn, if anything."""

    resamples: int | None = None
    seed: int | None = None
    dropped: int = 0


def bootstrap_result(
    ends: tuple[float, float],
    confidence: float,
    method: str,
    name: str,
    estimate: tuple[float, float],
    data: Samples,
    drawn: Drawn,
) -> Bootstrap:
    """Put an interval together with the notes that belong to it.

    Parameters
    ----------
    ends : tuple of float
        The interval.
    confidence : float
        Asked for.
    method, name : str
        Kind of interval, and the statistic.
    estimate : tuple of float
        The statistic of the data and its standard uncertainty.
    data : Samples
        What was resampled.
    drawn : Drawn
        How many resamples, from which seed.

    Returns
    -------
    Bootstrap
        The result.
    """
    notes = [CONVENTIONS[method]]
    few = min(data.units)
    if few < FEW_UNITS:
        notes.insert(0, f"{few} units: a check of the t interval, never the headline")
    if drawn.dropped:
        notes.append(
            f"{drawn.dropped} of {drawn.resamples} resamples repeat one unit and have no standard error; left out"
        )
    coverage = None
    if name in ("mean", "difference") and data.labels is None:
        design = "groups" if name == "difference" and not data.paired else "pairs"
        coverage, note = measured_coverage(design, few, "percentile" if method == "exact" else method)
        notes += note
    statistic = f"{name} of pairs" if data.paired else name
    return Bootstrap(
        *ends, confidence, method, statistic, *estimate, data.units,
        drawn.resamples, drawn.seed, drawn.dropped, coverage, tuple(notes),
    )  # fmt: skip


def measured_coverage(design: str, units: int, method: str) -> tuple[float | None, tuple[str, ...]]:
    """Look up how often a bootstrap interval of so few normal units held the truth when 95 % was asked for.

    Parameters
    ----------
    design : {"pairs", "groups"}
        One sample of differences, or two groups of that size.
    units : int
        Units a sample.
    method : {"percentile", "bca", "studentised"}
        Kind of interval.

    Returns
    -------
    tuple
        The share, or None above ten units and for two; and a tuple of notes on where it comes from.
    """
    rows = _coverage_table()
    known = [n for (d, n, m) in rows if (d, m) == (design, method) and n <= units]
    if units > FEW_UNITS:
        return None, ()
    if not known:
        return None, (f"the coverage of {units} units was not measured",)
    share = rows[design, max(known), method]
    note = f"measured coverage: by simulation of {max(known)} normal units a sample, at 95 % asked for"
    return share, (note,)


@cache
def _coverage_table() -> dict[tuple[str, int, str], float]:
    path = Path(__file__).with_name("bootstrap_coverage.csv")
    with path.open(encoding="utf-8", newline="") as file:
        return {
            (row["design"], int(row["units"]), row["method"]): float(row["coverage_percent"]) / 100
            for row in csv.DictReader(file)
        }
