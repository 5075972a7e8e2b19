"""The committed table of measured promises: it is whole, it can be had again, and it holds what is claimed from it."""

import csv
import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest

import lossstats

_spec = importlib.util.spec_from_file_location("measured_promises", Path(__file__).with_name("measured.py"))
measured = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(measured)
Row, UNITS = measured.Row, measured.UNITS

OTHER_STREAM = 1  # the table was drawn from stream 0
REDUCED = [
    Row("compare_pairs", "coverage", "paired", "skewed", 1, 5),
    Row("compare_pairs", "power", "paired", "normal", 1, 3),
    Row("compare_groups", "coverage", "independent", "normal", 4, 4),
    Row("compare_groups", "size", "independent", "heavy", 1, 6),
    Row("compare_groups", "power", "independent", "normal", 4, 8),
    Row("compare_with_controls", "coverage", "controls", "normal", 1, 4),
    Row("compare_crossover", "size", "crossover", "normal", 1, 6),
    Row("percent of compare_pairs", "coverage", "paired", "normal", 1, 4),
    Row("sign_flip", "coverage", "paired", "skewed", 1, 8),
    Row("permute_groups", "size", "independent", "normal", 4, 5),
    Row("bootstrap percentile", "coverage", "paired", "normal", 1, 3),
    Row("bootstrap bca", "coverage", "independent", "skewed", 1, 4),
    Row("bootstrap studentised", "coverage", "independent", "normal", 1, 3),
    Row("whole step after the levels", "coverage", "independent before then after, walk drift", "normal", 1, 6),
]


@pytest.fixture(scope="module")
def table():
    return measured.read_table()


def normal(table, method, quantity, design, sd_ratio=1):
    """The rows of normal units, by n."""
    found = {r.n: m for r, m in table.items() if r[:5] == (method, quantity, design, "normal", sd_ratio)}
    assert tuple(found) == UNITS
    return found


def standard_error(p, trials):
    return math.sqrt(p * (1 - p) / trials)


def disagreement(row, found, again):
    """None, or what differs by more than four combined standard errors."""
    allowed = 4 * math.hypot(found.monte_carlo_error, again.monte_carlo_error)
    if abs(found.value - again.value) <= allowed:
        return None
    return f"{row}: {found.value} in the table, {again.value} again, {allowed:.3f} allowed"


def test_table_has_every_row_once(table):
    assert list(table) == measured.rows()
    with measured.TABLE.open(encoding="utf-8") as file:
        assert len(file.readlines()) == 1 + len(table)


def test_table_says_how_it_was_measured(table):
    """Trials and seed are those of the script, the value is a share of the trials, the error belongs to it."""
    for row, m in table.items():
        hits = round(m.value * m.trials)
        assert (m.trials, m.seed) == (row.trials, row.seed)
        assert m.value == pytest.approx(hits / m.trials, rel=1e-4)
        assert m.monte_carlo_error == pytest.approx(measured.binomial_error(hits, m.trials), rel=0.06)


@pytest.mark.parametrize(
    "row", REDUCED, ids=lambda r: f"{r.method} {r.quantity} {r.design} {r.shape} {r.sd_ratio} {r.n}"
)
def test_reduced_size_agrees(table, row):
    """200 other trials of a part of the rows."""
    assert not disagreement(row, table[row], measured.measure(row, 200, OTHER_STREAM))


def test_a_wrong_row_would_be_found(table):
    """The check above tells 95 % from the 76 % of percentile intervals of three pairs."""
    row = Row("bootstrap percentile", "coverage", "paired", "normal", 1, 3)
    wrong = table[row]._replace(value=0.95, monte_carlo_error=standard_error(0.95, row.trials))
    assert disagreement(row, wrong, measured.measure(row, 200, OTHER_STREAM))


def test_shapes_are_what_they_are_called():
    """Mean 0 and standard deviation 1; the exponential has skewness 2 (its third central moment)."""
    rng, n = np.random.default_rng(1), 400_000
    for shape in measured.SHAPES:
        x = measured.scatter(shape, rng, n)
        assert x.mean() == pytest.approx(0, abs=5 / math.sqrt(n))
        assert x.std() == pytest.approx(1, abs=0.05 if shape == "heavy" else 0.01)
        if shape != "heavy":  # t of 3 degrees of freedom has no third moment
            assert np.mean(x**3) == pytest.approx(2 if shape == "skewed" else 0, abs=0.1)


def test_paired_t_is_exact_for_normal_units(table):
    """Student (1908): 95 % of the intervals and 5 % of the tests, at every number of pairs."""
    for m in normal(table, "compare_pairs", "coverage", "paired").values():
        assert m.value == pytest.approx(0.95, abs=3 * standard_error(0.95, m.trials))
    for m in normal(table, "compare_pairs", "size", "paired").values():
        assert m.value == pytest.approx(0.05, abs=3 * standard_error(0.05, m.trials))


def test_welch_holds_about_its_level_at_unequal_scatter(table):
    for m in normal(table, "compare_groups", "coverage", "independent", 4).values():
        assert 0.925 <= m.value <= 0.965


def test_permutation_is_exact_for_a_shift_and_not_for_unequal_scatter(table):
    """At most 5 % if the groups differ by a shift only; more at standard deviations 1 and 4, from 5 units on."""
    for shape in measured.SHAPES:
        for n in UNITS:
            m = table[Row("permute_groups", "size", "independent", shape, 1, n)]
            assert m.value <= 0.05 + 3 * standard_error(0.05, m.trials)
    unequal = normal(table, "permute_groups", "size", "independent", 4)
    assert all(unequal[n].value > 0.05 for n in (5, 6, 8, 10))


def test_sign_flip_keeps_its_level_for_symmetric_units(table):
    """Level 1 - 2 k / 2**n: too few pairs never reject; from six on as near to 95 % as 2**n patterns allow."""
    for shape in ("normal", "heavy"):
        for n in UNITS:
            cover = table[Row("sign_flip", "coverage", "paired", shape, 1, n)]
            size = table[Row("sign_flip", "size", "paired", shape, 1, n)]
            level = 2 * math.floor(0.025 * 2**n) / 2**n
            assert cover.value == pytest.approx(1 - level, abs=3 * standard_error(level, cover.trials))
            assert size.value == pytest.approx(level, abs=3 * standard_error(level, size.trials))


def test_percentile_and_bca_intervals_are_too_short_for_few_units(table):
    for method in ("percentile", "bca"):
        for design in ("paired", "independent"):
            assert normal(table, f"bootstrap {method}", "coverage", design)[3].value < 0.88


def test_skewed_units_cost_coverage(table):
    """The paired t interval of five pairs of exponential units falls short of its 95 % by many standard errors."""
    m = table[Row("compare_pairs", "coverage", "paired", "skewed", 1, 5)]
    assert m.value < 0.95 - 5 * m.monte_carlo_error


def test_power_grows_with_the_units(table):
    for method, design in (("compare_pairs", "paired"), ("compare_groups", "independent")):
        power = [m.value for m in normal(table, method, "power", design).values()]
        assert power == sorted(power)


def test_whole_step_holds_its_level_under_drift(table):
    """At least 94 %, less three standard errors, whatever the drift and the order."""
    found = {r: m for r, m in table.items() if r.method == measured.WHOLE_STEP}
    assert len(found) == 16
    short = {r.design: m.value for r, m in found.items() if m.value < 0.94 - 3 * standard_error(0.94, m.trials)}
    assert short == {}


def coverage_in_notes():
    """The figures that notes on bootstrap intervals print, by what the table calls them."""
    designs = {"pairs": "paired", "groups": "independent"}
    with (Path(lossstats.__file__).parent / "exact_tests" / "bootstrap_coverage.csv").open(
        encoding="utf-8", newline=""
    ) as file:
        return {
            Row(f"bootstrap {r['method']}", "coverage", designs[r["design"]], "normal", 1, int(r["units"])): float(
                r["coverage_percent"]
            )
            / 100
            for r in csv.DictReader(file)
        }


def test_notes_on_bootstrap_agree_with_the_table(table):
    """Monte Carlo error of the figures in the notes: 0.5 percentage points."""
    figures = coverage_in_notes()
    assert set(figures) == {r for r in table if r.method.startswith("bootstrap") and r.shape == "normal"}
    notes = {row: measured.Measured(value, 0.005, 0, 0) for row, value in figures.items()}
    assert [found for row in figures if (found := disagreement(row, table[row], notes[row]))] == []


@pytest.mark.full
def test_whole_table_full(table):
    """Every row again from other trials."""
    again = {row: measured.measure(row, stream=OTHER_STREAM) for row in table}
    assert [found for row, m in again.items() if (found := disagreement(row, table[row], m))] == []
