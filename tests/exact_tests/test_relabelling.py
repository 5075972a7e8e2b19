"""Drawn relabellings: hits and typical values against a plain count of the law."""

import math
from itertools import combinations, product

import numpy as np
import pytest

from lossstats.exact_tests.relabelling import draw_allocations, draw_signs

D = np.array([0.41, 0.52, -0.08, 0.61, 0.37])
A, B = np.array([0.4, -0.1, 0.3]), np.array([-0.2, -0.3, 0.1, -0.2])


@pytest.mark.parametrize("number", [50_000, 2**14, 100])
def test_signs(number):
    draw = draw_signs(D, number, 1)
    share = np.mean([abs(np.dot(s, D)) >= D.sum() - 1e-12 for s in product((1, -1), repeat=5)])
    assert draw.hits == pytest.approx(number * share, abs=4 * math.sqrt(number * share * (1 - share)) + 1)
    means = {round(float(np.mean(c)), 9) for m in range(1, 6) for c in combinations(D, m)}
    assert set(np.round(draw.typical, 9).tolist()) <= means
    assert (draw.drawn, draw.seed, len(draw.typical)) == (number, 1, number)


def test_allocations():
    number, pooled = 50_000, np.concatenate([A, B])
    draw = draw_allocations(A, B, number, np.random.default_rng(2))
    share = np.mean([abs(pooled[list(c)].sum()) >= A.sum() - 1e-12 for c in combinations(range(7), 3)])
    assert draw.hits == pytest.approx(number * share, abs=4 * math.sqrt(number * share * (1 - share)))
    swaps = {
        round(float(np.mean(x) - np.mean(y)), 9)
        for m in (1, 2, 3)
        for x in combinations(A, m)
        for y in combinations(B, m)
    }
    assert set(np.round(draw.typical, 9).tolist()) <= swaps | {round(float(A.mean() - B.mean()), 9)}
    assert draw.seed is None
