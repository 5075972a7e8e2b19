"""What the level of a run promises, by simulation with known truth.

A reduced, seeded size always runs; the full size is under the marker ``full``. Limits were fixed before this code was
run, from an earlier study of the same method, except where a test says that its limit came afterwards. Two standard
errors of a proportion are allowed on top. Runs are 15 min long, the
level is 5, `sd` is the standard deviation of one sample and `phi` the correlation of neighbouring samples.
"""

import itertools

import numpy as np
import pytest
from scipy.signal import lfilter

from lossstats.one_run.levels import run_level
from lossstats.one_run.screening import screen_run
from lossstats.one_run.settling import find_settled

SPAN_S = 900.0
LEVEL = 5.0
SIZES = [pytest.param("reduced", id="reduced"), pytest.param("full", id="full", marks=pytest.mark.full)]


def ar1(rng, phi, shape):
    white = rng.standard_normal(shape)
    white[:, 1:] *= np.sqrt(1 - phi**2)
    return lfilter([1.0], [1.0, -phi], white, axis=1)


def times(n):
    return np.arange(n) * SPAN_S / n


def runs_of(seed, runs, n, *, phi=0.0, sd=0.02, approach=lambda t: 0 * t, step=0.0, level=LEVEL):
    rng = np.random.default_rng(seed)
    y = level + approach(times(n)) + sd * ar1(rng, phi, (runs, n))
    return np.round(y / step) * step if step else y


def exponential(amplitude, minutes):
    return lambda t: amplitude * np.exp(-t / (60 * minutes))


def levels_of(readings, *, step=0.0):
    """Errors of the level, whether the interval holds the truth, and half widths, for rows of readings."""
    found = [run_level(times(readings.shape[1]), y, resolution=step) for y in readings]
    intervals = np.array([level.interval() for level in found])
    error = np.array([level.value for level in found]) - LEVEL
    holds = (intervals[:, 0] <= LEVEL) & (intervals[:, 1] >= LEVEL)
    return error, holds, np.diff(intervals, axis=1)[:, 0] / 2


def at_most(rate, limit, runs):
    """Whether an observed rate is compatible with a limit, two standard errors allowed."""
    return rate <= limit + 2 * np.sqrt(limit * (1 - limit) / runs)


def at_least(rate, limit, runs):
    return at_most(1 - rate, 1 - limit, runs)


# n, phi, sd, minutes, amplitude
APPROACHES = [
    (24, 0.0, 0.02, 3, 1.0), (24, 0.6, 0.02, 1, 0.2), (36, 0.0, 0.02, 1, 0.0), (36, 0.0, 0.02, 6, 1.0),
    (36, 0.3, 0.1, 3, 0.2), (36, 0.6, 0.02, 3, 1.0), (36, 0.6, 0.005, 6, 1.0), (90, 0.0, 0.02, 1, 1.0),
    (90, 0.0, 0.02, 3, 0.2), (90, 0.3, 0.02, 6, 1.0), (90, 0.6, 0.02, 3, 1.0), (90, 0.9, 0.02, 1, 0.2),
    (90, 0.9, 0.1, 6, 1.0), (180, 0.0, 0.005, 3, 1.0), (180, 0.6, 0.02, 6, 0.2), (180, 0.9, 0.02, 3, 1.0),
    (2000, 0.9, 0.02, 6, 1.0),
]  # fmt: skip


@pytest.mark.parametrize("size", SIZES)
def test_the_interval_holds_the_level_of_a_run_with_an_approach(size):
    runs = {"reduced": 30, "full": 200}[size]
    coverage = []
    for n, phi, sd, minutes, amplitude in APPROACHES:
        y = runs_of([1, n, minutes], runs, n, phi=phi, sd=sd, approach=exponential(amplitude, minutes))
        coverage.append(levels_of(y)[1].mean())
    assert at_least(np.mean(coverage), 0.945, runs * len(coverage))
    assert at_most(np.mean(coverage), 0.992, runs * len(coverage))
    assert at_least(min(coverage), 0.86, runs), dict(zip(APPROACHES, coverage, strict=True))


def spiked(y):
    y[:, [y.shape[1] // 4, y.shape[1] // 2]] += 0.5  # 25 standard deviations
    return y


def slow_and_white(rng, runs, n):
    return 0.02 * np.sqrt(0.5) * (ar1(rng, 0.9, (runs, n)) + rng.standard_normal((runs, n)))


MISFITS = {
    "two exponentials, 90": lambda rng, runs: two_exponentials(rng, runs, 90, 0.02),
    "two exponentials, 36": lambda rng, runs: two_exponentials(rng, runs, 36, 0.02),
    "two exponentials, 180": lambda rng, runs: two_exponentials(rng, runs, 180, 0.005),
    "fast and slow": lambda rng, runs: curve(rng, runs, 90, lambda t: exponential(0.3, 1)(t) + exponential(0.2, 3)(t)),
    "creep": lambda rng, runs: curve(rng, runs, 90, lambda t: exponential(1, 1)(t) - 0.05 * (t - t[-1]) / SPAN_S),
    "slow and white, approach": lambda rng, runs: curve(rng, runs, 90, exponential(1, 3), sd=0) + slow_and_white(rng, runs, 90),
    "slow and white, 36": lambda rng, runs: LEVEL + slow_and_white(rng, runs, 36),
    "slow and white, 180": lambda rng, runs: LEVEL + slow_and_white(rng, runs, 180),
    "Student t, 3 dof": lambda rng, runs: LEVEL + exponential(1, 3)(times(90)) + 0.02 / np.sqrt(3) * rng.standard_t(3, (runs, 90)),
    "two spikes kept": lambda rng, runs: spiked(curve(rng, runs, 90, exponential(1, 3))),
    "twelve minutes": lambda rng, runs: curve(rng, runs, 90, exponential(1, 12)),
}  # fmt: skip


def curve(rng, runs, n, approach, sd=0.02):
    return LEVEL + approach(times(n)) + sd * rng.standard_normal((runs, n))


def two_exponentials(rng, runs, n, sd):
    return curve(rng, runs, n, lambda t: exponential(0.6, 1)(t) + exponential(0.4, 5)(t), sd)


@pytest.mark.parametrize("size", SIZES)
def test_the_interval_holds_where_the_truth_is_not_the_model(size):
    runs = {"reduced": 30, "full": 200}[size]
    coverage = {}
    for name, make in MISFITS.items():
        coverage[name] = levels_of(make(np.random.default_rng([2, *name.encode()]), runs))[1].mean()
    assert at_least(min(coverage.values()), 0.80, runs), coverage
    assert at_least(np.mean(list(coverage.values())), 0.92, runs * len(coverage)), coverage


@pytest.mark.parametrize("size", SIZES)
def test_the_interval_holds_across_a_gap(size):
    runs = {"reduced": 30, "full": 200}[size]
    t = times(90)
    kept = (t < 0.4 * SPAN_S) | (t > 0.6 * SPAN_S)
    y = runs_of(3, runs, 90, approach=exponential(1, 3))[:, kept]
    holds = [low <= LEVEL <= high for low, high in (run_level(t[kept], row).interval() for row in y)]
    assert at_least(np.mean(holds), 0.92, runs)


@pytest.mark.parametrize("size", SIZES)
def test_the_interval_holds_at_any_display_step(size):
    runs = {"reduced": 20, "full": 150}[size]
    step = 0.05
    for r, n, amplitude in itertools.product((0.0, 0.1, 0.2, 0.3, 0.5, 1.0), (24, 90), (0.0, 1.0)):
        rng = np.random.default_rng([4, n, int(10 * r)])
        place = rng.uniform(-0.5, 0.5, (runs, 1)) * step  # the level anywhere between two codes
        y = runs_of(
            [5, n, int(10 * r)],
            runs,
            n,
            sd=r * step,
            approach=exponential(amplitude, 1),
            level=LEVEL + place,
            step=step,
        )
        found = [run_level(times(n), row, resolution=step) for row in y]
        intervals = np.array([level.interval() for level in found]) - place
        holds = (intervals[:, 0] <= LEVEL) & (intervals[:, 1] >= LEVEL)
        half = np.median(np.diff(intervals)) / 2
        assert at_least(holds.mean(), 0.90, runs), (r, n, amplitude)
        assert all(level.standard_uncertainty > 0 for level in found)
        if r >= 0.5 and n == 90 and amplitude == 0:
            assert half < 0.40 * step


TOLERANCE = 0.05
SETTLING = [(36, 0.0, 0.02), (90, 0.6, 0.02), (180, 0.0, 0.005), (36, 0.9, 0.02), (90, 0.0, 0.1)]


def answers(seed, runs, n, phi, sd, approach):
    found = [
        find_settled(times(n), y, tolerance=TOLERANCE)
        for y in runs_of(seed, runs, n, phi=phi, sd=sd, approach=approach)
    ]
    status = np.array([f.status for f in found])
    return (status == "settled").mean(), (status == "moving").mean(), found


def with_to_come(minutes):
    return lambda t: TOLERANCE * np.exp(-(t - t[-1]) / (60 * minutes))


def with_change(minutes):
    tau = 60 * minutes
    return lambda t: TOLERANCE * np.exp(-t / tau) / (np.exp(-SPAN_S * 2 / 3 / tau) - np.exp(-SPAN_S / tau))


@pytest.mark.parametrize("size", SIZES)
def test_a_firm_answer_is_seldom_wrong_at_its_boundary(size):
    runs = {"reduced": 25, "full": 300}[size]
    for n, phi, sd in SETTLING:
        for minutes in (3, 6):
            settled, _, _ = answers([6, n, minutes], runs, n, phi, sd, with_to_come(minutes))
            assert at_most(settled, 0.09, runs), (n, phi, sd, minutes)
            _, moving, _ = answers([7, n, minutes], runs, n, phi, sd, with_change(minutes))
            assert at_most(moving, 0.09, runs), (n, phi, sd, minutes)
        settled, moving, _ = answers([8, n], runs, n, phi, sd, lambda t: -3 * TOLERANCE * t / SPAN_S)
        assert at_most(settled, 0.09, runs), (n, phi, sd)
        assert at_most(moving, 0.09, runs), (n, phi, sd)


@pytest.mark.parametrize("size", SIZES)
def test_a_firm_answer_is_given_where_the_noise_allows_it(size):
    # limits set after a look at 60 runs a case (settled .95 and more, moving .70 and more at 6 min): they only guard
    runs = {"reduced": 25, "full": 300}[size]
    for n, phi in ((36, 0.0), (90, 0.0), (90, 0.6)):
        assert at_least(answers([9, n], runs, n, phi, 0.02, lambda t: 0 * t)[0], 0.85, runs)
        assert at_least(answers([10, n], runs, n, phi, 0.02, exponential(1, 6))[1], 0.65, runs)
        assert at_least(answers([11, n], runs, n, phi, 0.02, exponential(1, 12))[1], 0.90, runs)


@pytest.mark.parametrize("size", SIZES)
def test_the_tolerance_named_with_undecided_would_have_been_answered(size):
    # 80 % is what the note says; the factor behind it was taken from simulations of this rule, other seeds, and 0.75 is
    # allowed because the tolerance is itself read off each noisy run
    runs = {"reduced": 25, "full": 300}[size]
    for n, phi in ((36, 0.0), (90, 0.6), (180, 0.0)):
        found = answers([12, n], runs, n, phi, 0.1, lambda t: 0 * t)[2]
        named = float(np.median([f.tolerance_for_power for f in found]))
        again = runs_of([13, n], runs, n, phi=phi, sd=0.1)
        settled = [find_settled(times(n), y, tolerance=named).status == "settled" for y in again]
        assert at_least(np.mean(settled), 0.75, runs), (n, phi)


@pytest.mark.parametrize("size", SIZES)
def test_a_run_that_does_not_level_out_is_marked(size):
    runs = {"reduced": 25, "full": 300}[size]
    for n in (36, 90):
        long = runs_of([14, n], runs, n, approach=exponential(1, 30))
        short = runs_of([15, n], runs, n, approach=exponential(1, 3))
        assert at_least(np.mean([run_level(times(n), y).extrapolated for y in long]), 0.98, runs)
        assert at_most(np.mean([run_level(times(n), y).extrapolated for y in short]), 0.02, runs)


CLEAN = [
    (24, 0.0, 3, 0.0), (36, 0.6, 1, 0.0), (36, 0.0, 0, 0.05), (90, 0.9, 3, 0.0), (90, 0.0, 1, 0.05), (180, 0.3, 0, 0.005),
]  # fmt: skip


@pytest.mark.parametrize("size", SIZES)
def test_clean_runs_are_seldom_flagged(size):
    runs = {"reduced": 60, "full": 600}[size]
    for n, phi, minutes, step in CLEAN:
        approach = exponential(1, minutes) if minutes else lambda t: 0 * t
        y = runs_of([16, n, minutes], runs, n, phi=phi, approach=approach, step=step)
        flagged = [bool(screen_run(times(n), row, resolution=step).flagged) for row in y]
        assert at_most(np.mean(flagged), 0.06, runs), (n, phi, minutes, step)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("n", "limit"), [(36, 0.75), (90, 0.90), (180, 0.90)])
def test_spikes_of_eight_standard_deviations_are_found(size, n, limit):
    runs = {"reduced": 50, "full": 600}[size]
    rng = np.random.default_rng([17, n])
    y = runs_of([18, n], runs, n, approach=exponential(1, 3))
    at = rng.integers(3, n - 3, runs)
    y[np.arange(runs), at] += 8 * 0.02 * rng.choice([-1, 1], runs)
    found = [a in screen_run(times(n), row).spikes for a, row in zip(at, y, strict=True)]
    assert at_least(np.mean(found), limit, runs)


@pytest.mark.parametrize("size", SIZES)
def test_a_stuck_stretch_is_found_on_a_fine_display(size):
    runs = {"reduced": 25, "full": 300}[size]
    y = runs_of(19, runs, 90, step=0.005)
    y[:, 40:60] = y[:, [40]]
    found = [bool(screen_run(times(90), row, resolution=0.005).flagged) for row in y]
    assert at_least(np.mean(found), 0.90, runs)


def approach_grid(runs, sizes=(24, 36, 90, 180, 2000)):
    """Bias, root mean square error, coverage and median half width of 420 cells of known truth.

    Returns rows ``n, phi, sd, minutes, amplitude, bias, rmse, coverage, half``.
    """
    rows = []
    kinds = ((1, 0.0), (1, 0.2), (1, 1.0), (3, 0.2), (3, 1.0), (6, 0.2), (6, 1.0))
    for n, phi, sd, (minutes, amplitude) in itertools.product(sizes, (0.0, 0.3, 0.6, 0.9), (0.005, 0.02, 0.1), kinds):
        seed = [20, n, int(10 * phi), int(1000 * sd), minutes, int(10 * amplitude)]
        y = runs_of(seed, runs, n, phi=phi, sd=sd, approach=exponential(amplitude, minutes))
        error, holds, half = levels_of(y)
        rows.append(
            (n, phi, sd, minutes, amplitude, error.mean(), np.sqrt((error**2).mean()), holds.mean(), np.median(half))
        )
    return np.array(rows)


@pytest.mark.full
def test_the_whole_grid():
    runs = 120
    grid = approach_grid(runs)
    print(
        f"RMSE {1e3 * np.sqrt((grid[:, 6] ** 2).mean()):.1f} mW, mean coverage {grid[:, 7].mean():.3f}, worst {grid[:, 7].min():.3f}"
    )
    assert np.sqrt((grid[:, 6] ** 2).mean()) <= 0.040
    assert 0.945 <= grid[:, 7].mean() <= 0.992
    assert grid[:, 7].min() >= 0.84
