"""Order statistics of typical values."""

import numpy as np
import pytest

from lossstats.exact_tests.typical_values import LISTED, TypicalValues, rank_for


@pytest.mark.parametrize(
    ("confidence", "relabellings", "rank"),
    [
        (0.95, 32, 0),
        (0.95, 64, 1),
        (0.95, 256, 6),
        (0.95, 1024, 25),
        (0.95, 40, 1),
        (0.9, 20, 1),
        (0.8, 20, 2),
        (0.99, 252, 1),
    ],
)
def test_ranks(confidence, relabellings, rank):
    # floor((1 - confidence) / 2 times the relabellings): 96.9, 95.3 and 95.1 % for 6, 8 and 10 pairs at 95 %.
    assert rank_for(confidence, relabellings) == rank


def test_drawn_values_are_taken_as_they_are():
    drawn = TypicalValues((np.zeros(2),), None, 2**40, 0.0, np.array([5.0, 1.0, 3.0, 2.0, 4.0]))
    assert drawn.limits(1) == (1.0, 5.0)
    assert drawn.limits(2) == (2.0, 4.0)


def test_too_many_to_count():
    values = TypicalValues((np.linspace(0, 1, 60),), None, 2**60, 1e-12)
    assert values.relabellings > LISTED
    with pytest.raises(ValueError, match="interval: found 1152921504606846976 relabellings, too many to count"):
        values.limits(3)


def test_values_that_are_all_the_same():
    same = np.full(14, 0.25)
    assert TypicalValues((same,), None, 2**14, 1e-12).limits(400) == (0.25, 0.25)
