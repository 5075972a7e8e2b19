"""Models of every form: names, outputs, arrays, and what is said where a model fails."""

# ruff: noqa: ARG005 (models that leave an input aside are models too)
import math
import re
from collections import namedtuple

import numpy as np
import pytest

from lossstats.budgets.model_function import ModelFunction, check_inputs, check_units
from lossstats.budgets.source import Source

POINT = {"x": 2.0, "y": 3.0}
MANY = np.array([[1.0, 2.0, 3.0, 4.0], [5.0, 6.0, 7.0, 8.0]])
Pair = namedtuple("Pair", "sum product")


def total(x, y):
    return x + y


@pytest.mark.parametrize(
    ("function", "outputs", "first"),
    [
        (total, ("result",), (5.0,)),
        (lambda x, y: (x + y, x * y), ("output 1", "output 2"), (5.0, 6.0)),
        (lambda x, y: [x + y, x * y], ("output 1", "output 2"), (5.0, 6.0)),
        (lambda x, y: np.array([x + y, x * y]), ("output 1", "output 2"), (5.0, 6.0)),
        (lambda x, y: {"s": x + y, "p": x * y}, ("s", "p"), (5.0, 6.0)),
        (lambda x, y: Pair(x + y, x * y), ("sum", "product"), (5.0, 6.0)),
        (lambda x, y, factor=1.0: factor * (x + y), ("result",), (5.0,)),
        (lambda **named: named["x"] + named["y"], ("result",), (5.0,)),
        (lambda x, y: np.float64(x) + y, ("result",), (5.0,)),
    ],
)
def test_every_form_of_output(function, outputs, first):
    model = ModelFunction(function, POINT)
    assert (model.outputs, model.first) == (outputs, first)
    wanted = [MANY.sum(axis=0), MANY.prod(axis=0)][: len(outputs)]
    assert model.many(MANY) == pytest.approx(np.array(wanted))


def test_arrays_are_used_where_the_model_takes_them():
    calls = []
    model = ModelFunction(lambda x, y: calls.append(np.shape(x)) or x + y, POINT)
    model.many(np.ones((2, 1000)))
    assert calls == [(), (1000,), (), ()]  # at the start, with arrays, first and last by themselves


@pytest.mark.parametrize(
    "function",
    [
        lambda x, y: math.sqrt(x) + y,  # raises on arrays
        lambda x, y: x if x > y else y,  # ambiguous on arrays
        lambda x, y: np.mean([x, y]) + np.max(x),  # takes arrays, and gives something else
        lambda x, y: float(np.sum(x)) * y,
    ],
    ids=["raises", "ambiguous", "mean", "sum"],
)
def test_one_by_one_where_arrays_mislead(function):
    found = ModelFunction(function, POINT).many(MANY)
    assert found[0] == pytest.approx([function(*point) for point in MANY.T.tolist()], rel=1e-12)


def test_constant_output_is_spread_over_the_points():
    assert ModelFunction(lambda x, y: (x + y, 7.0), POINT).many(MANY)[1].tolist() == [7.0] * 4


def test_model_that_writes_into_its_arguments_changes_nothing():
    def rude(x, y):
        x *= 2
        return x + y

    points = MANY.copy()
    found = ModelFunction(rude, POINT).many(points)
    assert np.array_equal(points, MANY)
    assert found[0] == pytest.approx(2 * MANY[0] + MANY[1])


@pytest.mark.parametrize(
    "function", [lambda x, y: np.sqrt(x - 2.5) + y, lambda x, y: math.sqrt(x - 2.5) + y], ids=["nan", "raises"]
)
def test_failing_points_among_many_are_nan(function):
    found = ModelFunction(function, {"x": 3.0, "y": 1.0}).many(MANY)[0]
    assert np.isnan(found[:2]).all()
    assert found[2:] == pytest.approx([7 + math.sqrt(0.5), 8 + math.sqrt(1.5)])


FAILING = [
    (lambda x, y: x / (y - 3), "model: raised ZeroDivisionError: float division by zero; accepted: a model that gives "
                               "numbers at x = 2, y = 3"),
    (lambda x, y: float("nan"), "model: found nan; accepted: finite numbers at x = 2, y = 3"),
    (lambda x, y: np.log(x - 2), "model: found -inf; accepted: finite numbers at x = 2, y = 3"),
    (lambda x, y: 1j * x, "model: found 2j; accepted: a number, or numbers as dict"),
    (lambda x, y: None, "model: found None; accepted: a number, or numbers as dict"),
    (lambda x, y: "x + y", "model: found 'x + y'; accepted: a number"),
    (lambda x, y: (), "model: found (); accepted: a number, or numbers as dict"),
    (lambda x: x, "inputs: found 'y'; accepted: the parameters of the model, x"),
    (lambda x, y, z: x, "inputs: found none for z; accepted: one for each of the parameters of the model, x, y, z"),
    ("x + y", "model: found 'x + y'; accepted: a Python function of the inputs by name; text is never evaluated"),
]  # fmt: skip


@pytest.mark.parametrize(("function", "text"), FAILING, ids=[text for _, text in FAILING])
def test_what_is_refused_and_where(function, text):
    with pytest.raises(ValueError, match="^" + re.escape(text)):
        ModelFunction(function, POINT)


def test_positional_only_parameters_cannot_be_inputs():
    def model(x, /, y):
        return x + y

    with pytest.raises(ValueError, match="inputs: found 'x'; accepted: the parameters of the model, y"):
        ModelFunction(model, POINT)


def test_outputs_must_stay_the_same():
    model = ModelFunction(lambda x, y: {"a": x} if y < 4 else {"b": x}, POINT)
    with pytest.raises(ValueError, match="accepted: the same outputs at every point, a at x = 2, y = 9"):
        model.at({"x": 2.0, "y": 9.0})


def test_units_are_compared_and_never_converted():
    inputs = {"T": Source.normal(0.1, unit="N  m"), "r": Source.normal(0.1)}
    check_units(inputs, {"T": "N m", "r": "1"})
    with pytest.raises(ValueError, match=re.escape("inputs['T'].unit: found 'N  m'; accepted: 'kN m', the unit that")):
        check_units(inputs, {"T": "kN m"})
    with pytest.raises(ValueError, match="units: found 'S'; accepted: one of the inputs T, r"):
        check_units(inputs, {"S": "N m"})


@pytest.mark.parametrize(
    ("inputs", "text"),
    [
        ({}, "inputs: found {}; accepted: a Source for each input by name"),
        ([Source.normal(1)], "inputs: found [Source"),
        ({"T": 3.0}, "inputs['T']: found 3.0; accepted: a Source, such as Source.normal(0.1, value=3)"),
    ],
)
def test_inputs_must_be_sources(inputs, text):
    with pytest.raises(ValueError, match="^" + re.escape(text)):
        check_inputs(inputs)


def test_calls_without_checks_give_nothing_where_they_fail():
    model = ModelFunction(lambda x, y: math.sqrt(x - 1) + y, POINT)
    assert model.with_numbers({"x": 5.0, "y": 1.0}) == 3.0
    assert math.isnan(model.with_numbers({"x": 0.0, "y": 1.0}))
    assert model.with_columns(list(MANY)) is None
    assert ModelFunction(lambda x, y: np.sum(x) + np.sum(y), POINT).with_columns(list(MANY)) is None
    assert ModelFunction(total, POINT).with_columns(list(MANY)).tolist() == [6.0, 8.0, 10.0, 12.0]
