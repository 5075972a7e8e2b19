"""Input checks and block averages."""

import tracemalloc

import numpy as np
import pytest

from lossstats.one_run import blocks
from lossstats.one_run.blocks import block_averages, checked_resolution, checked_run, checked_series

TEN = np.arange(10.0)


@pytest.mark.parametrize(
    ("time_s", "values", "text"),
    [
        (TEN, TEN[:9], r"values: found 9 samples; accepted: at least 10"),
        (np.arange(11.0), TEN, r"found 11 times and 10 readings; accepted: as many of each"),
        (TEN, np.where(TEN == 4, np.nan, TEN), r"values: found nan at sample 4 \(counted from 0\); accepted: finite"),
        (TEN, np.where(TEN == 7, np.inf, TEN), r"values: found inf at sample 7 \(counted from 0\)"),
        (np.where(TEN == 3, np.nan, TEN), TEN, r"time_s: found nan at sample 3 \(counted from 0\)"),
        (
            np.where(TEN == 3, 2.0, TEN),
            TEN,
            r"time_s: found 2 s at sample 3 .*, not after 2 s; accepted: times that",
        ),
        (TEN[::-1], TEN, r"time_s: found 8 s at sample 1 .*, not after 9 s"),
        (TEN, np.ones((10, 2)), r"values: found an array of 2 dimensions; accepted: one dimension"),
    ],
)
def test_a_run_that_is_none_is_refused(time_s, values, text):
    with pytest.raises(ValueError, match=text):
        checked_run(time_s, values)


def test_a_good_run_passes_unchanged():
    t, y = checked_run(TEN.tolist(), (TEN**2).tolist())
    assert np.array_equal(t, TEN)
    assert np.array_equal(y, TEN**2)
    assert len(checked_series([1.0, 2.0], fewest=2)) == 2


@pytest.mark.parametrize("resolution", [-0.1, np.nan, np.inf])
def test_a_resolution_that_is_none_is_refused(resolution):
    with pytest.raises(
        ValueError, match=r"resolution: found .*; accepted: the display step of the readings, 0 or more"
    ):
        checked_resolution(resolution)


def test_few_samples_are_their_own_blocks():
    blocks = block_averages(TEN * 2, TEN**2)
    assert np.array_equal(blocks.values, TEN**2)
    assert blocks.spacing_s == 2
    assert blocks.span_s == 20


def test_blocks_are_plain_means_counted_from_the_end():
    y = np.random.default_rng(1).normal(size=100)
    blocks = block_averages(np.arange(100.0), y)  # three to a block, one left over at the start
    assert len(blocks.values) == 33
    for k in range(33):
        assert blocks.values[-1 - k] == pytest.approx(y[97 - 3 * k : 100 - 3 * k].mean(), rel=1e-12)
        assert blocks.time_s[-1 - k] == 98 - 3 * k


def test_no_block_reaches_across_a_gap():
    t = np.concatenate([np.arange(0, 200.0), np.arange(500, 700.0)])
    blocks = block_averages(t, np.where(t < 300, 1.0, 2.0))
    assert set(np.round(blocks.values, 12)) == {1.0, 2.0}
    assert blocks.stop_s == 699
    assert np.diff(blocks.time_s).max() > 290


def test_large_readings_keep_their_digits():
    t = np.arange(1000.0)
    y = 1e9 + np.sin(t)
    small = block_averages(t, np.sin(t)).values
    assert np.allclose(block_averages(t, y).values - 1e9, small, atol=3e-7, rtol=0)


def test_readings_that_repeat_within_a_block_keep_their_scatter():
    y = np.tile([5.0, 5.1], 45)  # pairs would all average 5.05
    blocks = block_averages(np.arange(90.0), y)
    assert np.ptp(blocks.values) == pytest.approx(0.1 / 3, rel=1e-9)
    assert blocks.spacing_s == 3


@pytest.mark.parametrize("piece", [1, 7, 100, 5000])
def test_pieces_of_a_long_run_change_nothing(monkeypatch, piece):
    rng = np.random.default_rng(4)
    t = np.delete(np.arange(2000.0) / 10, slice(700, 760))
    t[1500:] += 33.3
    y = rng.normal(7, 0.02, len(t))
    whole = block_averages(t, y)
    monkeypatch.setattr(blocks, "_PIECE", piece)
    pieces = block_averages(t, y)
    assert np.array_equal(pieces.time_s, whole.time_s)
    assert np.array_equal(pieces.values, whole.values)


def test_memory_for_a_long_run_is_that_of_its_spacings():
    n = 2_000_000
    t, y = np.arange(n) / 10.0, np.random.default_rng(5).normal(7, 0.02, n)
    tracemalloc.start()
    block_averages(*checked_run(t, y))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # the median spacing needs all of them at once, and nothing else does
    assert peak < 1.3 * 8 * n
