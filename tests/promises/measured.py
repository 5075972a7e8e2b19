"""Table of measured promises: what every interval and test holds in simulated trials whose truth is known.

`python tests/promises/measured.py` writes measured.csv beside this file (some minutes on one core).

Units scatter with standard deviation 1 about a level of 1000, the condition after with `sd_ratio` times that; in a
paired, controlled or crossover trial it is the article's own change that has the shape and the standard deviation.
`n` is pairs, units a group, treated (and as many untouched) articles, or the articles of both orders together.

- coverage: share of 95 % intervals that hold the true saving (`SAVING`; of percent intervals `PERCENT`);
- size: share of trials without a saving whose p is at most 0.05;
- power: the same share at a true saving of two standard deviations of a unit (of the condition before).

Exact intervals of fewer than six pairs are unbounded: they hold the truth always and say nothing.
"""

import csv
import importlib.util
import math
import zlib
from pathlib import Path
from typing import NamedTuple

import numpy as np

from lossstats.comparison.comparison import compare_crossover, compare_groups, compare_pairs, compare_with_controls
from lossstats.exact_tests.bootstrapping import bootstrap
from lossstats.exact_tests.resampling import permute_groups, sign_flip

TABLE = Path(__file__).with_name("measured.csv")
UNITS = (3, 4, 5, 6, 8, 10)
SHAPES = ("normal", "skewed", "heavy")
BOOTSTRAPS = ("percentile", "bca", "studentised")
LEVEL, SAVING, PERCENT, CV = 1000.0, 2.0, 5.0, 0.03
RESAMPLES = 999
TRIALS_OF = {"coverage": 2000, "size": 1000, "power": 500}
TRIALS_OF_BOOTSTRAP, TRIALS_OF_DRIFT = 1000, 400
WHOLE_STEP = "whole step after the levels"
ORDERS = {
    "paired": ("paired", None),
    "independent in blocks": ("independent", "blocks"),
    "independent before then after": ("independent", "before then after"),
    "controls": ("controls", None),
}


class Row(NamedTuple):
    """What is measured; a row of the table but for its result."""

    method: str
    quantity: str
    design: str
    shape: str
    sd_ratio: int
    n: int

    @property
    def trials(self):
        if self.method == WHOLE_STEP:
            return TRIALS_OF_DRIFT
        return TRIALS_OF_BOOTSTRAP if self.method.startswith("bootstrap") else TRIALS_OF[self.quantity]

    @property
    def seed(self):
        """From the words of the row, so that a row keeps its seed when others come or go."""
        return zlib.crc32("|".join(map(str, self)).encode())


class Measured(NamedTuple):
    """Result of a row."""

    value: float
    monte_carlo_error: float
    trials: int
    seed: int


def rows():
    """All rows, in the order of the table."""
    return [*_rows_of_t(), *_rows_of_exact_tests(), *_rows_of_bootstrap(), *_rows_of_drift()]


def _rows_of_t():
    for quantity in ("coverage", "size", "power"):
        for shape in SHAPES:
            yield from (Row("compare_pairs", quantity, "paired", shape, 1, n) for n in UNITS)
            for ratio in (1, 4):
                yield from (Row("compare_groups", quantity, "independent", shape, ratio, n) for n in UNITS)
        yield from (Row("compare_with_controls", quantity, "controls", "normal", 1, n) for n in (4, 6))
        yield from (Row("compare_crossover", quantity, "crossover", "normal", 1, n) for n in (4, 6))
    yield from (Row("percent of compare_pairs", "coverage", "paired", "normal", 1, n) for n in UNITS)


def _rows_of_exact_tests():
    for shape in SHAPES:
        for quantity in ("coverage", "size"):
            yield from (Row("sign_flip", quantity, "paired", shape, 1, n) for n in UNITS)
        for ratio in (1, 4):
            yield from (Row("permute_groups", "size", "independent", shape, ratio, n) for n in UNITS)


def _rows_of_bootstrap():
    for method in BOOTSTRAPS:
        for shape in SHAPES:
            for design in ("paired", "independent"):
                yield from (Row(f"bootstrap {method}", "coverage", design, shape, 1, n) for n in UNITS)


def _rows_of_drift():
    drifts = ("linear", "warm-up", "walk", "step")
    for design in ORDERS:
        yield from (Row(WHOLE_STEP, "coverage", f"{design}, {drift} drift", "normal", 1, 6) for drift in drifts)


def measure(row, trials=None, stream=0):
    """Measure one row; another `stream` gives other trials."""
    trials = row.trials if trials is None else trials
    rng = np.random.default_rng(np.random.SeedSequence([row.seed, stream]))
    if row.method == WHOLE_STEP:
        hits = _hits_under_drift(row, trials, rng)
    else:
        hit = _trial_of(row)
        hits = sum(bool(hit(row, rng)) for _ in range(trials))
    return Measured(hits / trials, binomial_error(hits, trials), trials, row.seed)


def binomial_error(hits, trials):
    """Standard error of a share; not 0 where all or none hit (Laplace: one more hit and one more miss)."""
    p = (hits + 1) / (trials + 2)
    return math.sqrt(p * (1 - p) / trials)


def _trial_of(row):
    if row.method.startswith("bootstrap"):
        return _bootstrap_trial
    return {
        "percent of compare_pairs": _percent_trial,
        "sign_flip": _sign_flip_trial,
        "permute_groups": _permutation_trial,
    }.get(row.method, _comparison_trial)


def scatter(shape, rng, n):
    """Deviations of mean 0 and standard deviation 1; skewness 2 of the exponential, t of 3 degrees of freedom."""
    if shape == "skewed":
        return rng.exponential(1, n) - 1
    return rng.standard_t(3, n) / math.sqrt(3) if shape == "heavy" else rng.normal(0, 1, n)


def _pairs(row, rng, saving):
    before = LEVEL + 3 * rng.normal(0, 1, row.n)
    return before, before - saving - scatter(row.shape, rng, row.n)


def _groups(row, rng, saving):
    before = LEVEL + scatter(row.shape, rng, row.n)
    return before, LEVEL - saving + row.sd_ratio * scatter(row.shape, rng, row.n)


def _compare(row, rng, saving):
    if row.method == "compare_groups":
        return compare_groups(*_groups(row, rng, saving))
    if row.method == "compare_with_controls":
        return compare_with_controls(*_pairs(row, rng, saving), *_pairs(row, rng, 0.0))
    if row.method == "compare_crossover":
        return compare_crossover(*_pairs(row, rng, saving), np.arange(row.n) % 2 == 1)
    return compare_pairs(*_pairs(row, rng, saving))


def _comparison_trial(row, rng):
    c = _compare(row, rng, 0.0 if row.quantity == "size" else SAVING)
    return c.difference.low <= SAVING <= c.difference.high if row.quantity == "coverage" else c.p_value <= 0.05


def _percent_trial(row, rng):
    """Articles and their own changes both scatter by 3 % of the level."""
    before = LEVEL * (1 + CV * rng.normal(0, 1, row.n))
    after = before - LEVEL * (PERCENT / 100 + CV * rng.normal(0, 1, row.n))
    percent = compare_pairs(before, after).percent
    return percent.low <= PERCENT <= percent.high


def _sign_flip_trial(row, rng):
    if row.quantity == "size":
        return sign_flip(scatter(row.shape, rng, row.n)).p_value <= 0.05
    ends = sign_flip(SAVING + scatter(row.shape, rng, row.n)).interval(0.95)
    return ends.low <= SAVING <= ends.high


def _permutation_trial(row, rng):
    return permute_groups(*_groups(row, rng, 0.0)).p_value <= 0.05


def _bootstrap_trial(row, rng):
    method = row.method.removeprefix("bootstrap ")
    if row.design == "paired":
        samples, statistic = (SAVING + scatter(row.shape, rng, row.n),), "mean"
    else:
        samples, statistic = _groups(row, rng, SAVING), "difference"
    b = bootstrap(*samples, statistic=statistic, method=method, resamples=RESAMPLES, rng=rng)
    return b.low <= SAVING <= b.high


def _hits_under_drift(row, trials, rng):
    """Known levels of a trial with drift between its runs, drawn as in the promises of the whole chain."""
    chain = _whole_chain()
    design, drift = row.design.removesuffix(" drift").split(", ")
    plan = chain.plan_of(*ORDERS[design], drift)
    differences = (c.difference for c, _ in chain.known_levels(plan, trials, rng))
    return sum(d.low <= plan.articles.saving <= d.high for d in differences)


def _whole_chain():
    path = Path(__file__).with_name("test_whole_chain.py")
    spec = importlib.util.spec_from_file_location("whole_chain_of_measured", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def write_table(path=TABLE):
    """Measure all rows and write them."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(Row._fields + Measured._fields)
        for row in rows():
            m = measure(row)
            writer.writerow([*row, f"{m.value:.5g}", f"{m.monte_carlo_error:.2g}", m.trials, m.seed])


def read_table(path=TABLE):
    """The committed table: a Measured for each Row."""
    with path.open(encoding="utf-8", newline="") as file:
        return {
            Row(r["method"], r["quantity"], r["design"], r["shape"], int(r["sd_ratio"]), int(r["n"])): Measured(
                float(r["value"]), float(r["monte_carlo_error"]), int(r["trials"]), int(r["seed"])
            )
            for r in csv.DictReader(file)
        }


if __name__ == "__main__":
    write_table()
