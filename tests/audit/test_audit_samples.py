"""What n alone allows, against plain enumeration of every set of values on the step (second implementation)."""

from fractions import Fraction
from itertools import combinations_with_replacement
from math import comb

import pytest

from lossstats.audit.audit_samples import possible_means, possible_spread, reachable_p, spread_of_the_mean
from lossstats.audit.quoted_number import read_quoted
from lossstats.audit.quoted_samples import read_samples
from lossstats.exact_tests.resampling import permute_groups, sign_flip

TENTH = read_quoted("grid", "0.1 W")


def values_on_the_step(n, most):
    """Every sum and sum of squares of n whole numbers 0 ... most."""
    for values in combinations_with_replacement(range(most + 1), n):
        yield sum(values), sum(v * v for v in values)


@pytest.mark.parametrize("n", [1, 2, 3, 4, 7])
def test_means_against_enumeration(n):
    """All figures 0.00 to 0.99: possible exactly where some sum of n values on the step rounds to it."""
    samples = read_samples(n=n)
    reachable = {Fraction(total, 10 * n) for total in range(10 * n + 1)}
    for hundredths in range(100):
        figure = read_quoted("before", f"{hundredths / 100:.2f}")
        (check,) = possible_means({"before": figure}, samples, TENTH)
        low, high = figure.ends
        expected = any(low <= mean <= high for mean in reachable)
        assert (check.verdict == "agrees") == expected, figure.text


def test_an_impossible_mean_names_its_neighbours_and_an_n():
    (check,) = possible_means({"before": read_quoted("before", "7.14 W")}, read_samples(n=4), TENTH)
    assert check.verdict == "cannot all be true"
    assert "the nearest are 7.125 and 7.15 W; the smallest n that gives it is 5" in check.words
    assert possible_means({"before": read_quoted("before", "7.14 W")}, read_samples(), TENTH) == []


def test_the_mean_of_pairs_is_on_the_step_as_well():
    figures = {"saving": read_quoted("saving", "0.51")}
    assert [c.name for c in possible_means(figures, read_samples(n=3), TENTH)] == ["saving on the step"]
    assert possible_means(figures, read_samples(n=3, paired=False), TENTH) == []


@pytest.mark.parametrize("n", [2, 3, 4])
def test_spreads_against_enumeration(n):
    """Never accuse: a spread that some values on the step have is let through, with their mean and without."""
    seen = {"agrees": 0, "cannot all be true": 0}
    reached = {
        (total, (squares - Fraction(total**2, n)) / (n - 1) / 100) for total, squares in values_on_the_step(n, 12)
    }
    for hundredths in range(50):
        sd = f"{hundredths / 100:.2f}"
        (check,) = possible_spread(None, read_samples(n=n, sd=sd), TENTH)
        low, high = (end**2 for end in read_quoted("sd", sd).ends)
        found = [total for total, variance in reached if low <= variance <= high]
        seen[check.verdict] += 1
        if found:
            assert check.verdict == "agrees", sd
            mean = read_quoted("saving", f"{found[0] / n / 10:.4f}")
            assert possible_spread(mean, read_samples(n=n, sd=sd), TENTH)[0].verdict == "agrees", sd
        if check.verdict == "cannot all be true":
            assert not found, sd
    assert seen["agrees"] and seen["cannot all be true"]


def test_two_values_by_hand():
    """Two values on a step of 0.1 differ by 0, 0.1, 0.2 ...: sd 0, 0.071, 0.141; an odd number of steps by half steps of the mean."""
    assert [possible_spread(None, read_samples(n=2, sd=sd), TENTH)[0].verdict for sd in ("0.07", "0.10", "0.14")] == [
        "agrees", "cannot all be true", "agrees",
    ]  # fmt: skip
    samples = read_samples(n=2, sd="0.07")
    for mean, verdict in (("0.50", "cannot all be true"), ("0.55", "agrees"), ("0.5", "agrees")):
        assert possible_spread(read_quoted("saving", mean), samples, TENTH)[0].verdict == verdict


def test_spread_needs_n_and_one_sd():
    assert possible_spread(None, read_samples(sd="0.1"), TENTH) == []
    assert possible_spread(None, read_samples(n=4, sd=("0.1", "0.2"), paired=False), TENTH) == []


def test_sd_and_standard_error():
    """sem = sd / sqrt(n): 0.25 / sqrt(6) = 0.102, so '0.10' fits n from (0.245/0.105)**2 = 5.4 to (0.255/0.095)**2 = 7.2."""
    (check,) = spread_of_the_mean(read_samples(n=6, sd="0.25", sem="0.10"))
    assert check.verdict == "agrees"
    assert "belong to n of 6 to 7; quoted is n = 6" in check.words
    (check,) = spread_of_the_mean(read_samples(n=3, sd="0.25", sem="0.10"))
    assert check.verdict == "cannot all be true"
    (check,) = spread_of_the_mean(read_samples(sd="0.25", sem="0.10"))
    assert (check.verdict, check.words[:18]) == ("cannot be told", "n is not quoted; s")
    (check,) = spread_of_the_mean(read_samples(n=5, sd="0.2500", sem="0.1060"))
    assert "belong to no whole n" in check.words  # 5.56
    (check,) = spread_of_the_mean(read_samples(n=5, sd="0.3", sem="0.0"))
    assert "n of at least 25" in check.words  # (0.25 / 0.05)**2
    two = spread_of_the_mean(read_samples(n=(4, 9), sd=("0.20", "0.30"), sem=("0.10", "0.10"), paired=False))
    assert [c.verdict for c in two] == ["agrees", "agrees"]


@pytest.mark.parametrize("n", [2, 3, 5])
def test_smallest_p_is_that_of_the_exact_tests(n):
    apart = [1.0 + 0.01 * k for k in range(n)]
    flip = sign_flip(apart).smallest_p
    groups = permute_groups([x + 9 for x in apart], apart).smallest_p
    unequal = permute_groups([x + 9 for x in apart], [*apart, 1.5]).smallest_p
    assert (flip, groups) == (2 / 2**n, 2 / comb(2 * n, n))
    for samples, smallest in (
        (read_samples(n=n, p="0.0001"), flip),
        (read_samples(n=n, p="0.0001", paired=False), groups),
        (read_samples(n=(n, n + 1), p="0.0001", paired=False), unequal),
    ):
        (check,) = reachable_p(samples)
        assert check.verdict == "cannot be told"
        assert f"is {smallest:.3g};" in check.words


def test_smallest_p_by_the_kind_of_test():
    assert reachable_p(read_samples(n=3, p="0.01", p_by="exact"))[0].verdict == "cannot all be true"
    assert reachable_p(read_samples(n=3, p="0.25", p_by="exact"))[0].verdict == "agrees"
    assert reachable_p(read_samples(n=3, p="0.01", p_by="t")) == []
    assert reachable_p(read_samples(p="0.01")) == []
    # "< 0.05" is not reached by five pairs (0.0625)
    assert reachable_p(read_samples(n=5, p="< 0.05"))[0].verdict == "cannot be told"
