import numpy as np
import pytest
from scipy import stats

from lossstats.monte_carlo.coverage_interval import shortest_interval, symmetric_interval, symmetric_with_errors


def by_definition(draws, p, r):
    """JCGM 101, 7.7, counted from 1 as written there: q = pM, or the integer part of pM + 1/2."""
    y, number = np.sort(draws), len(draws)
    q = round(p * number) if abs(p * number - round(p * number)) < 1e-9 else int(p * number + 0.5)
    if r is None:
        rest = number - q
        r = rest // 2 if rest % 2 == 0 else (rest + 1) // 2
    return (y[r - 1], y[r + q - 1]), q


@pytest.mark.parametrize("number", [100, 101, 999, 1000, 2047])
@pytest.mark.parametrize("p", [0.5, 0.9, 0.95])
def test_both_intervals_against_the_definition(number, p):
    draws = np.random.default_rng(number).gamma(2.0, size=number)
    expected, q = by_definition(draws, p, None)
    assert symmetric_interval(draws, p) == expected
    all_of_them = [by_definition(draws, p, r)[0] for r in range(1, number - q + 1)]
    assert shortest_interval(draws, p) == min(all_of_them, key=lambda ends: ends[1] - ends[0])
    assert shortest_interval(np.sort(draws), p) == shortest_interval(draws, p)


@pytest.mark.parametrize("p", [0.02, 0.5, 0.95, 0.99999])
@pytest.mark.parametrize(
    "shape", ["normal", "rising", "falling", "equal", "two values", "waves of the length of the sample's step"]
)
def test_many_draws_against_sorting(p, shape):
    number = 300_001
    draws = np.random.default_rng(6).normal(size=number)
    if shape == "rising":
        draws.sort()
    elif shape == "falling":
        draws[::-1].sort()
    elif shape == "equal":
        draws[:] = 0.1
    elif shape == "two values":
        draws = np.sign(draws)
    elif shape.startswith("waves"):
        draws = np.cos(2 * np.pi * np.arange(number) / (number // 8192))  # the sample sees nothing but ones
    expected, _ = by_definition(draws, p, None)
    ends, errors = symmetric_with_errors(draws, p)
    assert ends == symmetric_interval(draws, p) == expected
    assert all(error >= 0 for error in errors)


def test_draws_are_left_as_they_are():
    draws = np.random.default_rng(1).normal(size=1000)
    kept = draws.copy()
    symmetric_with_errors(draws, 0.9)
    shortest_interval(draws, 0.9)
    assert (draws == kept).all()


def test_shortest_of_an_exponential_begins_at_zero():
    # Closed form: shortest 95 % interval of a unit exponential is 0 to ln 20; its length settles as 1 / sqrt(n).
    draws = np.random.default_rng(3).exponential(size=200_000)
    low, high = shortest_interval(draws, 0.95)
    assert low < 1e-3
    assert high - low == pytest.approx(np.log(20), abs=4 * np.sqrt(0.05 * 0.95 / 200_000) / 0.05)


def test_error_of_the_ends_against_the_formula():
    # Standard deviation of a quantile: sqrt(p (1 - p) / n) / density; the estimate of it scatters by some 10 %.
    draws = np.random.default_rng(4).normal(size=100_000)
    ends, errors = symmetric_with_errors(draws, 0.95)
    expected = np.sqrt(0.025 * 0.975 / 100_000) / stats.norm.pdf(1.96)
    assert errors == pytest.approx((expected, expected), rel=0.4)
    assert ends == symmetric_interval(draws, 0.95)
    assert ends == pytest.approx((-1.96, 1.96), abs=4 * expected)


def test_errors_against_repetition():
    rng = np.random.default_rng(5)
    found = [symmetric_with_errors(rng.gamma(2.0, size=2000), 0.9) for _ in range(400)]
    ends, errors = (np.array(part) for part in zip(*found, strict=True))
    assert errors.mean(axis=0) == pytest.approx(ends.std(axis=0), rel=0.15)


def test_few_draws():
    with pytest.raises(ValueError, match=r"draws: found 10; accepted: more draws for p = 0.95, at least 40"):
        symmetric_interval(np.arange(10.0), 0.95)
    with pytest.raises(ValueError, match="p: found 1.0; accepted: a number between 0 and 1"):
        shortest_interval(np.arange(10.0), 1.0)
    # Errors where the ends lie next to the last draw stay within the draws.
    _, errors = symmetric_with_errors(np.arange(41.0), 0.95)
    assert all(0 < error < 5 for error in errors)
