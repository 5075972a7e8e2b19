"""Numbers of a budget in words."""

import math

import pytest

from lossstats.budgets.budget_lines import HEADER, Contribution, SecondOrder, with_uncertainty

LINE = Contribution("torque", 3.0125, "N m", "rectangular", 0.0123, math.inf, -0.25, 0.003075, 0.125, "limits ±0.0213")


@pytest.mark.parametrize(
    ("value", "u", "words"),
    [
        (5.0, 0.3512, "5.00"),
        (100.02147, 0.00035, "100.02147"),  # JCGM 100, 7.2.2
        (1.652e-5, 2.3e-7, "1.652e−05"),
        (10000.005, 0.0, "10000.005"),
        (0.0, 2e-7, "0"),
    ],
)
def test_value_to_the_places_of_its_uncertainty(value, u, words):
    assert with_uncertainty(value, u) == words


def test_line_in_words_and_in_numbers():
    assert LINE.cells() == ("torque", "3.013", "N m", "rectangular", "0.012", "∞", "−0.25", "0.0031", "12.5")
    assert LINE.unrounded() == ("torque", 3.0125, "N m", "rectangular", 0.0123, math.inf, -0.25, 0.003075, 0.125)
    assert len(LINE.cells()) == len(LINE.unrounded()) == len(HEADER)
    assert "stated as     limits ±0.0213" in str(LINE)


def test_second_order_shows_its_numbers_or_why_none():
    assert "0.35" in str(SecondOrder(0.3512, 0.01))
    assert "none  the model fails" in str(SecondOrder(None, None, "the model fails"))
