"""What draws say, from draws that are written down: the integers 0 to 9999, so that every quantile is known."""

import json
import math
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest

from lossstats.monte_carlo.coverage_interval import symmetric_interval
from lossstats.monte_carlo.linear_validation import compare_intervals
from lossstats.monte_carlo.monte_carlo_result import MonteCarlo, MonteCarloOutputs
from lossstats.records.estimate import Interval

SD = math.sqrt((10_000**2 - 1) / 12)  # of the integers, closed form


def result(output="loss", unit="W", **changes):
    draws = np.random.default_rng(1).permutation(10_000).astype(float)
    drawn = symmetric_interval(np.sort(draws), 0.95)
    validation = compare_intervals(Interval(4999.5 - 1.96 * SD, 4999.5 + 1.96 * SD), drawn, SD)
    made = MonteCarlo(4999.5, SD, True, 0.95, len(draws), validation, output, unit, 7, ("a note",), draws)
    return replace(made, **changes)


def test_half_of_the_draws_lie_in_an_interval_of_one_half():
    low, high = result().symmetric(0.5)
    assert (low, high) == (pytest.approx(2500, abs=2), pytest.approx(7500, abs=2))
    low, high = result().shortest(0.5)
    assert high - low == pytest.approx(5000, abs=2)


def test_without_a_probability_it_is_that_of_the_result():
    found = result()
    assert found.symmetric() == found.symmetric(0.95) == found.validation.drawn
    assert found.shortest() == found.shortest(0.95)


@pytest.mark.parametrize("p", [0.0, 1.0, 95])
@pytest.mark.parametrize("kind", ["symmetric", "shortest"])
def test_a_probability_that_is_none_is_refused(kind, p):
    with pytest.raises(ValueError, match="found"):
        getattr(result(), kind)(p)


def test_a_rectangle_is_narrower_than_the_linear_interval_of_its_standard_uncertainty():
    """95 % of a rectangle reach 1.645 standard uncertainties, not 1.96."""
    found = result()
    assert found.supports_linear is False
    assert (found.symmetric().high - found.symmetric().low) / (2 * SD) == pytest.approx(0.95 * math.sqrt(3), abs=1e-3)


def test_shown_rounded_and_kept_unrounded():
    text = str(result())
    assert "4999.5" not in text and "draws                     10 000, seed 7" in text and "note" in text
    assert ", seed" not in str(result(seed=None))
    assert "none (" in str(result(has_spread=False)) and "none (" not in text
    kept = result().to_dict()
    assert kept["value"] == 4999.5 and kept["standard_uncertainty"] == SD
    assert kept["symmetric"] == list(result().symmetric()) and kept["shortest"] == list(result().shortest())
    assert "_draws" not in json.dumps(kept)
    assert "loss" in result()._repr_html_()


def test_it_cannot_be_changed():
    with pytest.raises(FrozenInstanceError):
        result().value = 0.0


def test_outputs_are_a_mapping_with_their_correlation():
    u = (2.0, 0.5, 0.0)
    covariance = ((4.0, 0.6, 0.0), (0.6, 0.25, 0.0), (0.0, 0.0, 0.0))
    each = {name: result(name, standard_uncertainty=u[i]) for i, name in enumerate(("a", "b", "c"))}
    both = MonteCarloOutputs(each, covariance, ("of all",))
    assert list(both) == ["a", "b", "c"] and len(both) == 3 and both["b"] is each["b"]
    # r = cov / (u u): 0.6 / (2 * 0.5); an output that does not move is correlated with none.
    assert np.array(both.correlation) == pytest.approx(np.array([[1, 0.6, 0], [0.6, 1, 0], [0, 0, 1]]))
    text = str(both)
    assert "r(a, b)" in text and "0.600" in text and "of all" in text and "<table>" in both._repr_html_()
    with pytest.raises(KeyError, match="output: found 'd'; accepted: a, b, c"):
        both["d"]


def test_rounding_does_not_push_a_correlation_beyond_one():
    each = {name: result(name, standard_uncertainty=0.1) for name in ("a", "b")}
    over = 0.1 * 0.1 * (1 + 1e-12)
    assert MonteCarloOutputs(each, ((0.01, over), (-over, 0.01)), ()).correlation == ((1.0, 1.0), (-1.0, 1.0))
