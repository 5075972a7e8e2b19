"""Size of a trial: smallest number that is enough, what limits it, bad input."""

import math

import pytest
from scipy import stats

from lossstats.planning.planning import power_of
from lossstats.planning.trial_size import counted, size_trial, smallest_size

SPREAD = {"article": 0.3, "change": 0.1, "mount": 0.1, "run": 0.05}


@pytest.mark.parametrize("design", ["paired", "crossover", "independent", "controls", "single"])
def test_enough_and_one_fewer_is_not(design):
    size = size_trial(design, 0.25, SPREAD)
    assert size.plan.design == design and size.plan.size == size.units
    assert size.power == power_of(size.plan, 0.25) >= 0.8
    assert size.power_with_one_fewer == power_of(size.plan.of_size(size.units - 1), 0.25) < 0.8


def test_every_smaller_number_is_too_few():
    for design, least in (("crossover", 6), ("independent", 3)):
        size = size_trial(design, 0.3, SPREAD, mounts=2)
        assert all(power_of(size.plan.of_size(n), 0.3) < 0.8 for n in range(least, size.units))


def test_three_units_at_least():
    size = size_trial("paired", 50.0, SPREAD)
    assert (size.units, size.power_with_one_fewer) == (3, None)
    assert "no verdict" in str(size)
    assert size_trial("crossover", 50.0, SPREAD).units == 6


@pytest.mark.parametrize(("sd", "pairs"), [(0.1, 4), (0.2, 9), (0.3, 18)])
def test_no_difference_that_matters(sd, pairs):
    """0.25 W matters, true difference 0, 80 %: measured with an independent prototype."""
    size = size_trial("paired", 0.0, {"change": sd}, within=0.25)
    assert size.units == pairs
    assert "no difference beyond 0.25 W is claimed, where there is none, in" in size.words


def test_words_and_renderings():
    size = size_trial("controls", 0.3, SPREAD, references=3, reference_sd=0.05)
    assert size.words.startswith(
        f"{size.units} treated articles and {size.units} untouched ones: a difference of 0.3 W"
    )
    assert size.to_dict()["plan"]["references"] == 3 and "wanted 0.8" in size._repr_html_()
    assert counted(size_trial("several", 0.5, SPREAD, conditions=3).plan).endswith("articles, each in every condition")
    truth = size_trial("paired", 0.1, {"change": 0.1}, within=0.3).words
    assert "no difference beyond 0.3 W is claimed, where it is 0.1 W, in" in truth


def test_shared_errors_set_a_limit():
    # With errors of 0.1 W in common, 0.2 W is seen with the power of a normal test of two standard uncertainties.
    limit = stats.norm.sf(1.959964 - 2) + stats.norm.cdf(-1.959964 - 2)
    with pytest.raises(ValueError, match=rf"found at most {limit:.3g} with any number of articles") as error:
        size_trial("paired", 0.2, SPREAD, shared={"drift": 0.1})
    assert "(drift 0.1 W) do not fall with their number" in str(error.value)
    assert "a difference above 0.28 W, or a lower power" in str(error.value)
    assert size_trial("paired", 0.3, SPREAD, shared={"drift": 0.1}).units > size_trial("paired", 0.3, SPREAD).units
    with pytest.raises(ValueError, match="references 0.0707 W"):
        size_trial("independent", 0.1, SPREAD, references=2, reference_sd=0.0707)


def test_a_known_repeatability_needs_one_mount():
    # n mounts a condition: u = 0.2 sqrt(2 / n), and 0.3 W is 2.80 u at 80 %: n = 2 (2.80 / 1.5)^2 = 6.98.
    assert size_trial("single", 0.3, {}, repeatability=0.2).units == 7
    assert size_trial("single", 3.0, {}, repeatability=0.2).units == 1


def test_search():
    powers = {3: 0.1, 4: 0.5, 5: 0.85, 6: 0.79, 7: 0.9, 8: 0.95}
    assert smallest_size(powers.__getitem__, 0.8, 3, 8) in (5, 7)
    assert smallest_size(powers.__getitem__, 0.99, 3, 8) is None
    assert smallest_size(lambda n: 1 - 1 / n, 0.8, 3, 100) == 5


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: size_trial("paired", 0.01, SPREAD, most=20), "power: 0.8 wanted of a difference of 0.01 W, found 0.0"),
        (lambda: size_trial("paired", 0.01, SPREAD, most=20), "with 20 articles, the most asked for; accepted: a larger most"),
        (lambda: size_trial("paired", 0.0, SPREAD), "difference: found 0.0; accepted: a finite number other than 0"),
        (lambda: size_trial("paired", math.nan, SPREAD), "difference: found nan"),
        (lambda: size_trial("paired", 0.3, SPREAD, within=0.2), "difference: found 0.3 with within 0.2"),
        (lambda: size_trial("paired", 0.0, SPREAD, within=-1), "within: found -1"),
        (lambda: size_trial("paired", 0.3, SPREAD, power=0.04), r"power: found 0.04; accepted: above the size of the test \(0.05\)"),
        (lambda: size_trial("paired", 0.3, SPREAD, power=1), "power: found 1"),
        (lambda: size_trial("paired", 0.3, SPREAD, most=2), "most: found 2; accepted: a whole number of at least 3"),
        (lambda: size_trial("paired", 0.3, {"change": -1}), r"components\['change'\]: found -1"),
        (lambda: size_trial("paired", 0.3, SPREAD, articles=5), "articles: found 5; accepted: none, as it is the number"),
        (lambda: size_trial("single", 0.01, SPREAD, most=5), "with 5 mounts, the most asked for"),
        (lambda: size_trial("single", 0.1, SPREAD, shared={"drift": 0.1}), "with any number of mounts"),
        (lambda: size_trial("sideways", 0.3, SPREAD), "design: found 'sideways'"),
    ],
)  # fmt: skip
def test_bad_input_is_named(call, text):
    with pytest.raises(ValueError, match=text):
        call()
