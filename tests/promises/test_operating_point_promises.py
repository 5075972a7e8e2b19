"""Operating point: coverage of the saving brought to nominal, by a known sensitivity and by one fitted to the units.

Cases: saving 1.5 W (7.0 and 5.5 W), exponent 1, unit standard deviation 0.1 W, n units a condition; the condition
before ran higher by `shift`; the point spreads by `spread` within conditions and is read with a relative standard
uncertainty `u_point`. P0 is the mean of all readings, and the truth is the saving at P0.
"""

import math
from typing import NamedTuple

import numpy as np
import pytest
from scipy import stats

from lossstats.comparison.comparison import compare_groups, compare_pairs
from lossstats.comparison.saving import SharedTerm
from lossstats.corrections.exponent_fit import fit_exponent
from lossstats.corrections.operating_point import bring_to_nominal
from lossstats.records.estimate import Term, coverage_factor

LEVELS, SD, NOMINAL = (7.0, 5.5), 0.1, 280.0
SAVING = LEVELS[0] - LEVELS[1]
SIZES = [pytest.param(400, id="reduced"), pytest.param(4000, id="full", marks=pytest.mark.full)]


class Case(NamedTuple):
    """One trial of independent conditions."""

    n: int
    shift: float
    spread: float
    u_point: float = 0.0


FOUR, SIX, TEN = (Case(n, 0.02, 0.02) for n in (4, 6, 10))
APART = Case(6, 0.05, 0.01)
READ_BADLY, HARDLY_VARIED = Case(10, 0.02, 0.02, 0.01), Case(10, 0.02, 0.005, 0.005)


def draw(case, rng, exponent=1.0):
    """Levels and readings of the point, before and after in the columns' order, and the true saving at their mean."""
    power = NOMINAL * (1 + np.repeat([case.shift, 0.0], case.n) + case.spread * rng.normal(size=2 * case.n))
    levels = (np.repeat(LEVELS, case.n) + SD * rng.normal(size=2 * case.n)) * (power / NOMINAL) ** exponent
    read = power * (1 + case.u_point * rng.normal(size=2 * case.n))
    p0 = float(read.mean())
    return levels, read, p0, SAVING * (p0 / NOMINAL) ** exponent


def holds(estimate, truth):
    return estimate.low <= truth <= estimate.high


def allowance(p, trials):
    return 3 * math.sqrt(p * (1 - p) / trials)


def split(levels):
    return np.split(levels, 2)


def weights(n):
    return np.repeat([1 / n, -1 / n], n)


def by_known(case, trials, seed, *, u=0.0, counted=True):
    """Share of Welch intervals that hold the truth; a drawn error of the exponent is counted as shared term or not."""
    rng, held, error = np.random.default_rng(seed), 0, []
    for _ in range(trials):
        levels, read, p0, truth = draw(case, rng)
        brought = bring_to_nominal(levels, read, p0, exponent=1.0 + u * rng.normal(), u=u)
        term = brought.pattern.term(weights(case.n))
        shared = {"operating point": SharedTerm(term.standard_uncertainty, 0.0)} if counted else {}
        difference = compare_groups(*split(brought.levels), shared=shared).difference
        held += holds(difference, truth)
        error.append(difference.value - truth)
    return held / trials, float(np.mean(error)), math.sqrt(np.mean(np.square(error)))


@pytest.mark.parametrize("trials", SIZES)
@pytest.mark.parametrize("case", [FOUR, SIX, TEN, APART, READ_BADLY, HARDLY_VARIED], ids=str)
def test_known_exponent_has_no_bias_and_covers(case, trials):
    """95 to 96.4 % also where the readings are poor: their random error is in the scatter already."""
    coverage, bias, rmse = by_known(case, trials, 31)
    noise = math.sqrt(2 / case.n) * math.hypot(SD, case.u_point * math.sqrt((7.0**2 + 5.5**2) / 2))
    assert 0.95 - allowance(0.95, trials) <= coverage <= 0.964 + allowance(0.95, trials)
    assert bias == pytest.approx(0, abs=4 * noise / math.sqrt(trials))
    assert rmse == pytest.approx(noise, rel=4 / math.sqrt(2 * trials))


def without_common_error(case, u):
    """Coverage of a t interval whose scatter does not show a common error, of 2 n - 2 degrees of freedom: closed form."""
    middle = math.log(1 + case.shift / 2)
    seen = u * (LEVELS[0] * (math.log(1 + case.shift) - middle) + LEVELS[1] * middle) / (SD * math.sqrt(2 / case.n))
    dof = 2 * case.n - 2
    return 2 * float(stats.t.cdf(stats.t.ppf(0.975, dof) / math.hypot(1, seen), dof)) - 1


@pytest.mark.parametrize("trials", SIZES)
@pytest.mark.parametrize("case", [FOUR, SIX, TEN, APART], ids=str)
def test_doubt_about_the_exponent_is_one_common_error(case, trials):
    """u(k) = 0.3: 95.3 to 97 % where it is counted through the pattern; as few as three in four where it is left out.

    A wrong exponent also leaves some of the spread of the power in the levels, which widens the interval a little.
    """
    counted, *_ = by_known(case, trials, 32, u=0.3)
    left_out, *_ = by_known(case, trials, 32, u=0.3, counted=False)
    assert 0.95 - allowance(0.95, trials) <= counted <= 0.97 + allowance(0.95, trials)
    low = without_common_error(case, 0.3)
    assert low - allowance(low, trials) <= left_out <= low + 0.04 + allowance(low, trials)


@pytest.mark.parametrize(("case", "coverage"), [(FOUR, 0.848), (SIX, 0.744), (TEN, 0.560), (APART, 0.005)], ids=str)
def test_raw_levels_are_biased(case, coverage):
    """Not brought to nominal: 140 mW too much at 2 % more power, and the interval does not know."""
    rng, values, held, trials = np.random.default_rng(33), [], 0, 400
    for _ in range(trials):
        levels, *_ = draw(case, rng)
        difference = compare_groups(*split(levels)).difference
        values.append(difference.value)
        held += holds(difference, SAVING)
    assert np.mean(values) - SAVING == pytest.approx(7.0 * case.shift, abs=0.02)
    assert held / trials == pytest.approx(coverage, abs=0.02 + allowance(coverage, trials))


def regress(y, x):
    """Exponent, its uncertainty and degrees of freedom by the textbook, whatever the conditions of a regression say."""
    x, y = (np.concatenate([part - part.mean() for part in split(z)]) for z in (np.log(x), np.log(y)))
    k, dof = float(x @ y / (x @ x)), len(x) - 3.0
    return k, math.sqrt(float(((y - k * x) ** 2).sum()) / dof / float(x @ x)), dof


def fitted_difference(levels, read, p0, n, fit):
    """Saving at P0 with the fitted exponent, and its uncertainty by `with_scatter`."""
    brought = bring_to_nominal(levels, read, p0, exponent=fit.exponent, u=1.0)
    plain = compare_groups(*split(brought.levels)).difference
    scatter = Term(plain.standard_uncertainty, plain.degrees_of_freedom)
    return plain.value, fit.with_scatter(scatter, brought.pattern.term(weights(n)).standard_uncertainty)


def by_regression(case, trials, seed, exponent=1.0):
    """Coverage, bias and mean half width of the trials that the rule lets regress, and the share it refuses."""
    rng, held, error, half, refused = np.random.default_rng(seed), 0, [], [], 0
    names = ["dusty"] * case.n + ["cleaned"] * case.n
    for _ in range(trials):
        levels, read, p0, truth = draw(case, rng, exponent)
        fit = fit_exponent(levels, read, names, u_point=case.u_point * NOMINAL)
        if fit.why_refused:
            refused += 1
            continue
        value, term = fitted_difference(levels, read, p0, case.n, fit)
        half.append(coverage_factor(term, 0.95) * term.standard_uncertainty)
        error.append(value - truth)
        held += abs(value - truth) <= half[-1]
    return held / max(len(half), 1), np.array(error), np.array(half), refused / trials


@pytest.mark.parametrize("trials", SIZES)
@pytest.mark.parametrize(("case", "exponent"), [(SIX, 1.0), (TEN, 1.0), (SIX, 2.0), (Case(10, 0.03, 0.02, 0.005), 1.0)], ids=str)  # fmt: skip
def test_fitted_exponent_covers_where_it_is_allowed(case, exponent, trials):
    """94 to 97 %, and at most 0.02 W of bias; also at a spread of just four times the uncertainty of a reading."""
    coverage, error, _, refused = by_regression(case, trials, 34, exponent)
    assert refused < 0.75
    kept = (1 - refused) * trials
    assert 0.94 - allowance(0.95, kept) <= coverage <= 0.97 + allowance(0.95, kept)
    assert error.mean() == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("trials", SIZES)
@pytest.mark.parametrize("n", [6, 10])
def test_exponent_fitted_within_articles_covers(n, trials):
    """Same articles in both conditions, which differ by 5 % of the level among themselves: 94 to 96.5 %."""
    rng, held, kept = np.random.default_rng(37), 0, 0
    names, articles = ["dusty"] * n + ["cleaned"] * n, [f"K{i:02}" for i in range(n)] * 2
    for _ in range(trials):
        power = NOMINAL * (1 + np.repeat([0.01, -0.01], n) + 0.02 * rng.normal(size=2 * n))
        article = np.tile(1 + 0.05 * rng.normal(size=n), 2)
        levels = np.repeat(LEVELS, n) * article * (1 + 0.015 * rng.normal(size=2 * n)) * (power / NOMINAL)
        fit = fit_exponent(levels, power, names, blocks=articles, u_point=0.1)
        if fit.why_refused:
            continue
        kept += 1
        p0 = float(power.mean())
        brought = bring_to_nominal(levels, power, p0, exponent=fit.exponent, u=1.0)
        plain = compare_pairs(*split(brought.levels)).difference
        scatter = Term(plain.standard_uncertainty, plain.degrees_of_freedom)
        term = fit.with_scatter(scatter, brought.pattern.term(weights(n)).standard_uncertainty)
        half = coverage_factor(term, 0.95) * term.standard_uncertainty
        held += abs(plain.value - SAVING * p0 / NOMINAL) <= half
    assert kept > 0.6 * trials
    assert 0.94 - allowance(0.95, kept) <= held / kept <= 0.965 + allowance(0.95, kept)


@pytest.mark.parametrize(
    ("case", "why"), [(FOUR, 1.0), (APART, 0.97), (READ_BADLY, 0.97), (HARDLY_VARIED, 1.0)], ids=str
)
def test_trials_that_cannot_bear_a_regression_are_refused(case, why):
    """Too few units; conditions apart; spread only twice and once the uncertainty of a reading."""
    *_, refused = by_regression(case, 200, 35)
    assert refused >= why


def textbook(case, trials, seed):
    rng, held, error, half = np.random.default_rng(seed), 0, [], []
    for _ in range(trials):
        levels, read, p0, truth = draw(case, rng)
        k, u_k, dof = regress(levels, read)
        brought = bring_to_nominal(levels, read, p0, exponent=k, u=u_k)
        y, z = split(brought.levels)
        s2 = (dof + 1) / dof * (y.var(ddof=1) + z.var(ddof=1)) / case.n
        term = Term(math.hypot(math.sqrt(s2), brought.pattern.term(weights(case.n)).standard_uncertainty), dof)
        error.append(y.mean() - z.mean() - truth)
        half.append(coverage_factor(term, 0.95) * term.standard_uncertainty)
        held += abs(error[-1]) <= half[-1]
    return held / trials, float(np.mean(error)), float(np.median(half))


@pytest.mark.parametrize("trials", SIZES)
@pytest.mark.parametrize(
    ("case", "coverage", "bias"),
    [(FOUR, 0.949, 0.0), (SIX, 0.949, 0.0), (TEN, 0.949, 0.0), (APART, 0.949, 0.007), (READ_BADLY, 0.930, 0.022), (HARDLY_VARIED, 0.888, 0.055)],
    ids=str,
)  # fmt: skip
def test_why_the_rule_refuses(case, coverage, bias, trials):
    """Regression all the same, by the textbook: it holds for exact readings, and is drawn to zero for poor ones.

    Where the conditions stand apart it covers too, but by an interval three times as wide as a known exponent gives.
    """
    found, error, half = textbook(case, trials, 36)
    assert found == pytest.approx(coverage, abs=0.008 + allowance(coverage, trials))
    assert error == pytest.approx(bias, abs=0.01 + 4 * half / 2 / math.sqrt(trials))
    if case == APART:
        assert half > 0.3
