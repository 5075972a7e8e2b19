"""Contrasts: value, scatter, and what a shared covariance hides."""

import numpy as np
import pytest

from lossstats.comparison.contrast import controlled_contrast, group_contrast, paired_contrast


def test_weights():
    assert paired_contrast(2).weights == pytest.approx([0.5, 0.5, -0.5, -0.5])
    assert group_contrast(2, 3).weights == pytest.approx([0.5, 0.5, -1 / 3, -1 / 3, -1 / 3])
    assert controlled_contrast(1, 2).weights == pytest.approx([1, -1, -0.5, -0.5, 0.5, 0.5])


@pytest.mark.parametrize("contrast", [paired_contrast(4), group_contrast(3, 5), controlled_contrast(2, 2)])
def test_scatter_and_hidden_part_make_the_true_variance(contrast):
    """Simulated: variance of the estimate = mean squared scatter + hidden part, for a covariance of any shape."""
    rng = np.random.default_rng(8)
    root = rng.normal(0, 0.1, (8, 3))
    covariance = root @ root.T + np.diag(rng.uniform(0.01, 0.02, 8))
    draws = rng.multivariate_normal(np.full(8, 6.0), covariance, 4000)
    scatter = np.mean([contrast.scatter(x).standard_uncertainty ** 2 for x in draws])
    true = contrast.weights @ covariance @ contrast.weights
    assert np.var(draws @ contrast.weights) == pytest.approx(true, rel=0.08)
    assert contrast.hidden(covariance) ** 2 == pytest.approx(max(0.0, true - scatter), abs=0.08 * scatter)


def test_one_unit_shows_nothing():
    assert group_contrast(1, 1).hidden(np.eye(2) * 0.04) == pytest.approx(np.sqrt(0.08))


def test_rescaled():
    contrast = group_contrast(2, 2).rescaled(np.array([2.0, 2.0, 3.0, 3.0]))
    assert contrast.weights == pytest.approx([1, 1, -1.5, -1.5])
