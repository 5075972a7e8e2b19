"""Resamples of any statistic."""

import numpy as np
import pytest

from lossstats.exact_tests.resample_callable import evaluate, jackknife_callable, median, resample_callable, takes_axis

X, Y = np.array([1.0, 2.0, 4.0, 8.0]), np.array([1.5, 2.5, 4.5, 8.5])


def test_whether_a_callable_takes_rows():
    assert takes_axis(np.mean) and takes_axis(median)
    assert not takes_axis(lambda x: x.mean())
    assert not takes_axis(max)


def test_pairs_stay_together():
    drawn = resample_callable(lambda x, y: (y - x).std(), (X, Y), None, 200, np.random.default_rng(1), paired=True)
    assert drawn.max() < 1e-12
    loose = resample_callable(lambda x, y: (y - x).std(), (X, Y), None, 200, np.random.default_rng(1), paired=False)
    assert loose.min() >= 0 and loose.max() > 1


@pytest.mark.parametrize("resamples", [1, 500, 70_000])
def test_rows_and_single_calls_agree(resamples):
    by_rows = resample_callable(np.mean, (X,), None, resamples, np.random.default_rng(2), paired=False)
    assert by_rows.shape == (resamples,)
    if resamples <= 500:
        one_by_one = resample_callable(
            lambda x: x.mean(), (X,), None, resamples, np.random.default_rng(2), paired=False
        )
        assert one_by_one == pytest.approx(by_rows)


def test_whole_articles():
    members = [[np.array([0, 1]), np.array([2]), np.array([3])]]
    drawn = resample_callable(lambda x: float(len(x)), (X,), members, 300, np.random.default_rng(3), paired=False)
    assert set(drawn.tolist()) == {3.0, 4.0, 5.0, 6.0}
    left = jackknife_callable(np.sum, (X,), members, paired=False)
    assert left[0].tolist() == [12.0, 11.0, 7.0]
    both = jackknife_callable(lambda x, y: y.sum() - x.sum(), (X, Y), members * 2, paired=True)
    assert len(both) == 1 and both[0] == pytest.approx([1.0, 1.5, 1.5])


def test_what_the_data_themselves_give():
    assert evaluate(median, (X,)) == 3.0
    with pytest.raises(
        ValueError, match=r"statistic: found \[1. 2. 4. 8.\] for the data themselves; accepted: one finite"
    ):
        evaluate(lambda x: x, (X,))
