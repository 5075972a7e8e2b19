import math
import re
import threading

import numpy as np
import pytest

from lossstats.budgets.model_function import ModelFunction
from lossstats.budgets.source import Source
from lossstats.monte_carlo import model_draws
from lossstats.monte_carlo.linear_validation import numerical_tolerance
from lossstats.monte_carlo.model_draws import BLOCK, ModelDraws, adaptive_block, in_order
from lossstats.monte_carlo.random_draws import InputDraws
from lossstats.records.estimate import Interval

INPUTS = {"a": Source.normal(0.1, value=2.0), "b": Source.rectangular(0.5, value=1.0), "c": Source.student(0.1, 4.0)}


def model(a, b, c):
    return a * b + c


def drawn_from(function, inputs, seed=7):
    return ModelDraws(ModelFunction(function, {n: s.value for n, s in inputs.items()}), InputDraws(inputs), seed)


@pytest.mark.parametrize("number", [1000, BLOCK, 2 * BLOCK + 20_001])
def test_same_bits_whatever_the_threads(number):
    one = drawn_from(model, INPUTS).fixed(number).values
    assert one.shape == (1, number)
    for workers in (2, 5):
        assert drawn_from(model, INPUTS).fixed(number, workers=workers).values.tobytes() == one.tobytes()


def test_same_bits_of_adaptive_draws():
    one = drawn_from(model, INPUTS).adaptive(0.95, 2)
    many = drawn_from(model, INPUTS).adaptive(0.95, 2, workers=4)
    assert one.values.tobytes() == many.values.tobytes()
    assert one.settled and many.settled


def test_streams_differ():
    values = drawn_from(model, INPUTS).fixed(3 * BLOCK).values[0]
    assert len(np.unique(values)) > 0.999 * values.size  # no block repeats another
    assert not np.array_equal(values[:BLOCK], drawn_from(model, INPUTS, seed=8).fixed(BLOCK).values[0])


def test_streams_are_those_of_numpy():
    """The first block against numpy's own spawning, drawn in one piece."""
    inputs = {"x": Source.normal(2.0, value=3.0)}
    stream = np.random.Generator(np.random.SFC64(np.random.SeedSequence(7).spawn(2)[1]))
    found = drawn_from(lambda x: x, inputs).fixed(2 * BLOCK).values[0, BLOCK:]
    assert np.array_equal(found, stream.standard_normal(BLOCK) * 2.0 + 3.0)


def test_model_of_scalars_only():
    def scalars(a, b, c):
        return math.fsum((a * b, c))

    slow, quick = drawn_from(scalars, INPUTS), drawn_from(model, INPUTS)
    assert (slow.takes_arrays, quick.takes_arrays) == (False, True)
    assert slow.fixed(2000).values == pytest.approx(quick.fixed(2000).values, rel=1e-14)


def test_a_model_that_takes_some_arrays_only():
    """Chunks that the model refuses as arrays are called draw by draw, these and no others, whatever the threads."""
    inputs = {"a": Source.normal(1.0)}

    def picky(a):
        if np.ndim(a) == 0:
            return a * (2.0 + 1e-12)  # as the last digits of a mathematical function may differ
        if a.max() > 4.2:  # about every fifth chunk
            raise ValueError("too large for an array")
        return a * 2.0

    number = 3 * BLOCK
    plain = drawn_from(lambda a: a, inputs).fixed(number).values.reshape(-1, 1 << 14)
    refused = plain.max(axis=1, keepdims=True) > 4.2
    assert 0 < refused.sum() < len(refused) / 2
    for workers in (1, 3):
        found = drawn_from(picky, inputs).fixed(number, workers=workers).values
        assert np.array_equal(found.reshape(plain.shape), np.where(refused, plain * (2.0 + 1e-12), plain * 2.0))


def test_how_many_draws_fail_and_one_of_them():
    inputs = {"a": Source.normal(1.0, value=1.0), "b": Source.normal(1.0)}
    with pytest.raises(
        ValueError, match=r"accepted: a model that gives finite numbers wherever its inputs may fall"
    ) as caught:
        drawn_from(lambda a, b: np.sqrt(a) + b, inputs).fixed(3 * BLOCK)
    found = re.search(
        r"for (\d+) of the first (\d+) draws; one such draw: a = (\S+), b = (\S+) \(nan or", str(caught.value)
    )
    failed, drawn, a = int(found[1]), int(found[2]), float(found[3])
    # P(N(1, 1) < 0) = 0.158655; the first block is enough to see it.
    assert drawn == BLOCK
    assert abs(failed / drawn - 0.158655) < 4 * math.sqrt(0.158655 * 0.841345 / drawn)
    assert a < 0


def test_a_failure_in_a_later_block_counts_all_before():
    inputs = {"a": Source.rectangular(1.0)}
    values = drawn_from(lambda a: a, inputs).fixed(4 * BLOCK).values[0]
    rare = values.argmax()
    limit = np.sort(values)[-2]
    block = rare // BLOCK + 1
    for workers in (1, 3):
        with pytest.raises(
            ValueError, match=f"for 1 of the first {block * BLOCK} draws; one such draw: a = {values[rare]:.6g} "
        ):
            drawn_from(lambda a: np.where(a > limit, np.inf, a), inputs).fixed(4 * BLOCK, workers=workers)


def test_a_model_that_raises():
    with pytest.raises(
        ValueError, match=r"for \d+ of the first 2000 draws; one such draw: a = -\S+ \(ValueError: .*\)"
    ):
        drawn_from(lambda a: math.sqrt(a) + 0, {"a": Source.normal(1.0, value=1.0)}).fixed(2000)


def test_one_output_of_two_that_fails():
    with pytest.raises(ValueError, match=r"one such draw: a = -"):
        drawn_from(lambda a: {"x": a, "y": np.log(a)}, {"a": Source.normal(1.0, value=1.0)}).fixed(2000)


def test_outputs_whose_sum_overflows_are_no_failure():
    values = drawn_from(lambda a: 1e308 + 0 * a, {"a": Source.normal(1.0)}).fixed(2000).values
    assert (values == 1e308).all()


@pytest.mark.parametrize(("p", "size"), [(0.95, 10_000), (0.99, 10_000), (0.999, 100_000)])
def test_block_of_the_adaptive_procedure(p, size):
    # JCGM 101, 7.9.4 b (from memory): the larger of 10 000 and the smallest integer of at least 100 / (1 - p).
    assert abs(adaptive_block(p) - size) <= 1


def test_adaptive_draws_of_too_high_a_confidence():
    with pytest.raises(ValueError, match=r"confidence: found 0.99999; accepted: at most 0.9999 with adaptive draws"):
        adaptive_block(0.99999)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_adaptive_draws_stop_where_the_procedure_says(seed):
    """JCGM 101, 7.9.4 e to i, by its words (from memory), over all numbers of blocks h."""
    inputs = {"a": Source.normal(0.8), "b": Source.rectangular(1.0)}  # u = 0.99: many draws for two digits
    drawn = drawn_from(lambda a, b: a + b, inputs, seed).adaptive(0.95, 2)
    blocks = np.split(drawn.values[0], drawn.values.shape[1] // 10_000)
    rows = np.array([[b.mean(), b.std(ddof=1), *np.quantile(b, [0.025, 0.975])] for b in blocks])

    def settled(h):
        s = np.sqrt(((rows[:h] - rows[:h].mean(axis=0)) ** 2).sum(axis=0) / (h * (h - 1)))
        u = drawn.values[0, : h * 10_000].std(ddof=1)
        return bool((2 * s <= numerical_tolerance(float(u), 2)).all())

    assert drawn.settled and len(blocks) > 10
    # Quantiles by another convention than the ranks of 7.7 may shift the last block by one or two.
    assert settled(len(blocks))
    assert not any(settled(h) for h in range(10, len(blocks) - 2))


def test_draws_go_on_until_the_linear_interval_can_be_judged():
    inputs = {"a": Source.normal(1.0)}  # tolerance 0.05 for u = 1.0, ends at ±1.96
    source = drawn_from(lambda a: a, inputs)
    alone = source.adaptive(0.95, 2).values.shape[1]
    clear = source.adaptive(0.95, 2, linear=[Interval(-1.96, 2.5)]).values.shape[1]
    close = source.adaptive(0.95, 2, linear=[Interval(-1.96, 1.96 + 0.045)]).values.shape[1]
    unknown = source.adaptive(0.95, 2, linear=[None]).values.shape[1]
    assert alone == clear == unknown
    assert close > 3 * alone


def test_one_digit_needs_the_fewest_blocks():
    drawn = drawn_from(model, INPUTS).adaptive(0.95, 1)
    assert drawn.values.shape[1] == 100_000


def test_the_slowest_output_decides():
    inputs = {"a": Source.normal(0.99), "b": Source.normal(0.11)}
    both = drawn_from(lambda a, b: {"quick": b, "slow": a}, inputs).adaptive(0.95, 2)
    alone = drawn_from(lambda b: b, {"b": inputs["b"]}).adaptive(0.95, 2)
    assert both.values.shape[1] > 3 * alone.values.shape[1]


def test_a_bound_on_adaptive_draws(monkeypatch):
    monkeypatch.setattr(model_draws, "MOST_DRAWS", 150_000)
    drawn = drawn_from(lambda a: a, {"a": Source.readings([1.0, 2.0, 4.0])}).adaptive(0.95, 2)
    assert not drawn.settled
    assert drawn.values.shape[1] == 150_000


def test_a_model_that_does_not_move_settles():
    drawn = drawn_from(lambda a: 0.1 + 0 * a, {"a": Source.normal(1.0)}).adaptive(0.95, 2)
    assert drawn.settled and drawn.values.shape[1] == 100_000


def test_progress_sees_every_block():
    seen = []

    def watch(blocks):
        for block in blocks:
            yield block
            seen.append(block)

    drawn_from(model, INPUTS).fixed(3 * BLOCK - 5, progress=watch)
    assert seen == [0, 1, 2]
    seen.clear()
    drawn = drawn_from(model, INPUTS).adaptive(0.95, 2, progress=watch)
    assert seen == list(range(drawn.values.shape[1] // 10_000))


def test_progress_by_tqdm(capsys):
    from tqdm import tqdm

    plain = drawn_from(model, INPUTS).fixed(2 * BLOCK).values
    assert np.array_equal(drawn_from(model, INPUTS).fixed(2 * BLOCK, progress=tqdm).values, plain)
    assert "2/2" in capsys.readouterr().err
    drawn_from(model, INPUTS).adaptive(0.95, 2, workers=2, progress=tqdm)
    assert re.search(r"\d+it", capsys.readouterr().err)


def first_only(blocks):
    return [next(iter(blocks))]


def test_progress_that_drops_blocks():
    accepted = "accepted: a callable that gives back every block"
    with pytest.raises(ValueError, match=f"progress: found '131072 of 262144'; {accepted}"):
        drawn_from(model, INPUTS).fixed(2 * BLOCK, progress=first_only)
    with pytest.raises(ValueError, match=f"progress: found '1 of 1000'; {accepted}"):
        drawn_from(model, INPUTS).adaptive(0.95, 2, progress=first_only)


def test_few_tasks_wait_and_order_is_kept():
    started, lock = [], threading.Lock()

    def task(place):
        with lock:
            started.append(place)
        return np.array([place])

    results = in_order(task, range(100), 3)
    assert next(results)[0] == 0
    assert max(started) <= 7  # two a thread wait, besides the one handed out
    results.close()
    assert len(started) <= 8
    assert [int(found[0]) for found in in_order(task, range(20), 3)] == list(range(20))
