"""Units, pairs and articles."""

import numpy as np
import pytest

from lossstats.exact_tests.bootstrap_samples import read_samples


def test_pairs_are_one_part():
    data = read_samples(([1.0, 2.0, 4.0], [0.5, 1.0, 3.0]), paired=True, clusters=None)
    assert data.units == (3,)
    parts, combination = data.parts("difference")
    assert combination == "mean" and parts[0].numerators.tolist() == [0.5, 1.0, 1.0]
    parts, combination = data.parts("ratio")
    assert combination == "mean" and parts[0].value == pytest.approx(7 / 4.5)


def test_articles_gather_their_values():
    data = read_samples(([1.0, 2.0, 4.0, 9.0],), paired=False, clusters=["K2", "K1", "K2", "K1"])
    assert [group.tolist() for group in data.members()[0]] == [[0, 2], [1, 3]]
    part = data.parts("mean")[0][0]
    assert part.numerators.tolist() == [5.0, 11.0] and part.weights.tolist() == [2.0, 2.0]


def test_units_without_articles():
    data = read_samples((np.array([1.0, 3.0]), {"a": 1.0, "b": 2.0, "c": 5.0}), paired=False, clusters=None)
    assert data.units == (2, 3)
    assert [len(groups) for groups in data.members()] == [2, 3]


def test_pairs_in_another_order_are_refused():
    with pytest.raises(ValueError, match="sample 1, sample 2: found the units in different order"):
        read_samples(({"a": 1.0, "b": 2.0}, {"b": 1.0, "a": 2.0}), paired=True, clusters=None)
