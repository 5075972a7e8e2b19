"""Sources of uncertainty: u against the variance of the distribution named, by scipy and by integration."""

import itertools
import math
import re

import numpy as np
import pytest
from scipy import integrate, stats

from lossstats.budgets.input_quantity import DISTRIBUTIONS
from lossstats.budgets.source import Source


def law_of(source):
    """The distribution that name and shape stand for, as scipy has it; inexact limits by their density below."""
    name, shape = source.distribution, source.shape
    if name == "Gaussian":
        return stats.norm(source.value, source.standard_uncertainty)
    if name == "scaled and shifted t":
        return stats.t(shape[1], source.value, shape[0])
    low, high = shape[:2]
    width = high - low
    return {
        "rectangular": lambda: stats.uniform(low, width),
        "triangular": lambda: stats.triang(0.5, low, width),
        "arc sine": lambda: stats.arcsine(low, width),
        "trapezoidal": lambda: stats.trapezoid((1 - shape[-1]) / 2, (1 + shape[-1]) / 2, low, width),
    }[name]()


LIMITS = [
    Source.rectangular(0.4, value=2.0),
    Source.triangular(0.4, value=2.0),
    Source.arcsine(0.4, value=2.0),
    Source.trapezoid(0.4, top=0.3, value=2.0),
    Source.trapezoid(0.4, top=0.0, value=2.0),
    Source.trapezoid(0.4, top=1.0, value=2.0),
    Source.between(1.0, 4.0),
    Source.resolution(0.1, value=2.0),
    Source.normal(0.3, value=2.0),
]


@pytest.mark.parametrize("source", LIMITS, ids=lambda s: f"{s.distribution}, {s.how}")
def test_u_and_value_are_those_of_the_distribution(source):
    law = law_of(source)
    assert source.standard_uncertainty == pytest.approx(law.std(), rel=1e-12)
    assert source.value == pytest.approx(law.mean(), rel=1e-12)


def test_inexact_limits_have_the_variance_of_the_curvilinear_trapezoid():
    # JCGM 101, 6.4.3.2, density of the curvilinear trapezoid (from memory), integrated here.
    source = Source.rectangular(1.0, value=0.5, inexact=0.25)
    low, high, d = source.shape
    centre, half = (low + high) / 2, (high - low) / 2

    def density(x):
        distance = abs(x - centre)
        if distance <= half - d:
            return math.log((half + d) / (half - d)) / (4 * d)
        return math.log((half + d) / distance) / (4 * d) if distance < half + d else 0.0

    knots = [centre - half - d, centre - half + d, centre + half - d, centre + half + d]

    def moment(power):
        return sum(
            integrate.quad(lambda x: (x - centre) ** power * density(x), *ends)[0] for ends in itertools.pairwise(knots)
        )

    assert moment(0) == pytest.approx(1.0, rel=1e-9)
    assert source.standard_uncertainty**2 == pytest.approx(moment(2), rel=1e-9)
    assert source.distribution == "rectangular with inexact limits"


def test_expanded_by_level_is_half_of_the_interval_of_that_level():
    normal = Source.expanded(0.5, level=0.95)
    assert stats.norm(0, normal.standard_uncertainty).interval(0.95)[1] == pytest.approx(0.5, rel=1e-12)
    student = Source.expanded(0.5, level=0.99, dof=6)
    assert law_of(student).interval(0.99)[1] == pytest.approx(0.5, rel=1e-9)
    assert student.distribution == "scaled and shifted t"


def test_expanded_by_factor_defaults_to_two():
    assert Source.expanded(0.5).standard_uncertainty == 0.25
    assert Source.expanded(0.6, k=3).standard_uncertainty == pytest.approx(0.2)
    assert Source.expanded(0.6, k=3).how == "expanded, k = 3"


def test_readings_are_kept_with_mean_and_standard_error():
    values = [5.007, 4.994, 5.005, 4.990, 4.999]
    source = Source.readings(values, unit="V")
    assert source.value == pytest.approx(np.mean(values), rel=1e-15)
    assert source.standard_uncertainty == pytest.approx(stats.sem(values), rel=1e-12)
    assert (source.degrees_of_freedom, source.observed) == (4.0, tuple(values))
    assert source.shape == (source.standard_uncertainty, 4.0)
    assert not source.notes


def test_readings_on_a_large_offset_lose_nothing():
    source = Source.readings([1e9 + 0.25, 1e9 + 0.75])
    assert source.standard_uncertainty == 0.25


def test_equal_readings_ask_for_the_resolution():
    source = Source.readings([12.3] * 5)
    assert source.standard_uncertainty == 0.0
    assert "scatter lies below the resolution" in source.notes[0]


def test_equal_readings_whose_sum_rounds_are_still_equal():
    assert Source.readings([0.1] * 3).standard_uncertainty == pytest.approx(0.0, abs=1e-16)


def test_pooled_repeatability_of_the_mean_of_few():
    source = Source.pooled(0.25, dof=19, count=3, value=7.0)
    assert source.standard_uncertainty == pytest.approx(0.25 / math.sqrt(3))
    assert (source.degrees_of_freedom, source.distribution) == (19.0, "scaled and shifted t")
    assert Source.pooled(0.25, dof=math.inf).distribution == "Gaussian"


RELATIVE = [
    (Source.normal, {}),
    (Source.expanded, {"k": 2}),
    (Source.rectangular, {}),
    (Source.rectangular, {"inexact": 0.002}),
    (Source.triangular, {}),
    (Source.arcsine, {}),
    (Source.trapezoid, {"top": 0.5}),
    (Source.resolution, {}),
    (Source.student, {"dof": 5}),
    (Source.pooled, {"dof": 5}),
]


@pytest.mark.parametrize(("make", "more"), RELATIVE)
def test_relative_form_is_the_absolute_one_times_the_size_of_the_value(make, more):
    relative = make(0.01, value=-50.0, relative=True, **more)
    scaled = {name: amount * 50 if name == "inexact" else amount for name, amount in more.items()}
    absolute = make(0.5, value=-50.0, **scaled)
    assert relative.standard_uncertainty == pytest.approx(absolute.standard_uncertainty, rel=1e-12)
    assert relative.shape == pytest.approx(absolute.shape)
    assert relative.how.endswith(", relative to the value")
    with pytest.raises(ValueError, match=r"^value: found 0.0; accepted: another value than 0 where"):
        make(0.01, relative=True, **more)


@pytest.mark.parametrize(
    "make", [Source.normal, Source.expanded, Source.rectangular, Source.triangular, Source.arcsine]
)
def test_reliability_stands_for_degrees_of_freedom(make):
    assert make(0.5, reliability=0.25).degrees_of_freedom == 8.0


def test_limits_with_degrees_of_freedom_keep_their_distribution():
    source = Source.rectangular(0.5, dof=12)
    assert (source.distribution, source.degrees_of_freedom) == ("rectangular", 12.0)


def test_estimate_off_the_middle_is_kept_with_a_note():
    source = Source.between(1.0, 4.0, value=2.0)
    assert source.value == 2.0
    assert source.standard_uncertainty == pytest.approx(3 / math.sqrt(12))
    assert "the estimate 2 is not in the middle of the limits (2.5): it is kept as stated" in source.notes[0]
    assert not Source.between(1.0, 4.0).notes


BAD = [
    (lambda: Source.normal(-0.1), "u: found -0.1; accepted: a finite number of at least 0"),
    (lambda: Source.normal(math.nan), "u: found nan; accepted: a finite number"),
    (lambda: Source.normal(math.inf), "u: found inf; accepted: a finite number"),
    (lambda: Source.normal(0.1, dof=0), "dof: found 0; accepted: degrees of freedom above 0, or infinity"),
    (lambda: Source.normal(0.1, value=math.inf), "value: found inf; accepted: a finite number"),
    (lambda: Source.student(0.1, -2), "dof: found -2; accepted: degrees of freedom above 0"),
    (lambda: Source.expanded(0.1, k=0), "k: found 0.0; accepted: a finite number above 0"),
    (lambda: Source.expanded(0.1, k=-2), "k: found -2.0; accepted: a finite number above 0"),
    (lambda: Source.expanded(0.1, level=95), "level: found 95.0; accepted: a number between 0 and 1"),
    (lambda: Source.expanded(0.1, level=0), "level: found 0.0; accepted: a number between 0 and 1"),
    (lambda: Source.expanded(0.1, k=2, level=0.95), "k: found 2; accepted: nothing beside level = 0.95"),
    (lambda: Source.rectangular(-1), "half_width: found -1.0; accepted: a finite number of at least 0"),
    (lambda: Source.rectangular(1, reliability=1.5), "reliability: found 1.5; accepted: a number between 0 and 1"),
    (lambda: Source.rectangular(1, inexact=1), "inexact: found 1; accepted: above 0 and below the half-width 1"),
    (lambda: Source.rectangular(1, inexact=0), "inexact: found 0.0; accepted: a finite number above 0"),
    (lambda: Source.trapezoid(1, top=1.1), "top: found 1.1; accepted: a share of the base, 0 to 1"),
    (lambda: Source.between(4, 1), "low: found 4.0; accepted: a lower limit of at most the upper limit 1.0"),
    (lambda: Source.between(1, 4, value=5), "value: found 5.0; accepted: an estimate between the limits 1.0 and 4.0"),
    (lambda: Source.resolution(-1), "step: found -1.0; accepted: a finite number of at least 0"),
    (lambda: Source.readings([1.0]), "values: found [1.0]; accepted: at least 2 readings of one quantity"),
    (lambda: Source.pooled(0.1, dof=5, count=0), "count: found 0; accepted: a whole number of at least 1"),
    (lambda: Source.pooled(0.1, dof=5, count=math.inf), "count: found inf; accepted: a whole number of at least 1"),
    (lambda: Source.pooled(0.1, dof=5, count=1.5), "count: found 1.5; accepted: a whole number of at least 1"),
    (lambda: Source(0.0, 0.1, distribution="uniform"), "distribution: found 'uniform'; accepted: Gaussian, scaled"),
    (lambda: Source(0.0, 0.1, shape=(1.0,)), "shape: found (1.0,); accepted: 0 numbers for Gaussian"),
    (lambda: Source(0.0, -0.1), "standard_uncertainty: found -0.1; accepted: a finite number of at least 0"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "text"), BAD, ids=[text for _, text in BAD])
def test_bad_input_says_argument_found_and_accepted(call, text):
    with pytest.raises(ValueError, match="^" + re.escape(text)):
        call()


def test_every_constructor_gives_a_name_of_the_table():
    assert {source.distribution for source in LIMITS} < set(DISTRIBUTIONS)


def test_shown_as_text_html_and_dict():
    source = Source.expanded(0.28, k=2, value=280.0, unit="W <in>")
    assert "stated as             expanded, k = 2" in str(source)
    assert "280.00 W &lt;in&gt;" in source._repr_html_()
    assert source.to_dict()["standard_uncertainty"] == 0.14
    assert "note" in str(Source.between(1.0, 4.0, value=2.0))
