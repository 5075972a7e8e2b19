"""Many results at once against the library `uncertainties`, and against one budget after the other."""

import math
import re

import numpy as np
import pytest
from uncertainties import unumpy

from lossstats.budgets.budget import propagate
from lossstats.budgets.budget_arrays import propagate_many
from lossstats.budgets.source import Source


def loss(torque_in, speed_in, torque_out, speed_out):
    return (torque_in * speed_in - torque_out * speed_out) * math.pi / 30


def drawn(m, seed=5):
    rng = np.random.default_rng(seed)
    values = {
        "torque_in": rng.normal(8.9, 0.05, m),
        "speed_in": rng.normal(300.0, 0.5, m),
        "torque_out": rng.normal(8.7, 0.05, m),
        "speed_out": rng.normal(300.0, 0.5, m),
    }
    return values, {name: rng.uniform(0.5e-3, 2e-3, m) * column for name, column in values.items()}


def peers(values, u):
    return {name: unumpy.uarray(values[name], u[name]) for name in values}


MODELS = {
    "loss": (loss, loss),
    "roots": (lambda **v: np.sqrt(v["torque_in"] * v["torque_out"]) / v["speed_in"] + v["speed_out"] * 0,
              lambda **v: unumpy.sqrt(v["torque_in"] * v["torque_out"]) / v["speed_in"] + v["speed_out"] * 0),
    "waves": (lambda **v: np.sin(v["torque_in"]) * np.exp(-v["torque_out"]) + 0 * (v["speed_in"] + v["speed_out"]),
              lambda **v: unumpy.sin(v["torque_in"]) * unumpy.exp(-v["torque_out"]) + 0 * (v["speed_in"] + v["speed_out"])),
}  # fmt: skip


@pytest.mark.parametrize("name", MODELS)
def test_many_results_agree_with_uncertainties(name):
    ours, theirs = MODELS[name]
    values, u = drawn(60)
    found, peer = propagate_many(ours, values, u), theirs(**peers(values, u))
    assert found.values == pytest.approx(unumpy.nominal_values(peer), rel=1e-12)
    assert found.standard_uncertainties == pytest.approx(unumpy.std_devs(peer), rel=1e-9)


def test_model_that_does_not_take_arrays_gives_the_same():
    values, u = drawn(5)
    slow = propagate_many(
        lambda **v: math.fsum([v["torque_in"] * v["speed_in"], -v["torque_out"] * v["speed_out"]]), values, u
    )
    fast = propagate_many(lambda **v: v["torque_in"] * v["speed_in"] - v["torque_out"] * v["speed_out"], values, u)
    assert slow.standard_uncertainties == pytest.approx(fast.standard_uncertainties, rel=1e-10)


def test_correlated_as_in_single_budgets():
    values, u = drawn(4)
    correlation = {("torque_in", "torque_out"): 0.9, ("speed_in", "speed_out"): 1.0}
    many = propagate_many(loss, values, u, correlation=correlation)
    for i in range(4):
        inputs = {name: Source.normal(float(u[name][i]), value=float(values[name][i])) for name in values}
        budget = propagate(loss, inputs, correlation=correlation)
        assert many.standard_uncertainties[i] == pytest.approx(budget.standard_uncertainty, rel=1e-9)
        assert many.sensitivities["speed_in"][i] == pytest.approx(budget.contributions[1].sensitivity, rel=1e-9)


def test_a_strong_bend_goes_through_the_ladder():
    x = np.array([1.0, 2.0])
    many = propagate_many(lambda x: np.sin(300 * x), {"x": x}, {"x": 0.01})
    assert many.stepwise == 2
    assert many.standard_uncertainties == pytest.approx(np.abs(3 * np.cos(300 * x)), rel=1e-9)


def test_single_numbers_are_spread_over_all_results():
    many = propagate_many(lambda a, b: a * b, {"a": [1.0, 2.0, 3.0], "b": 4.0}, {"a": 0.0, "b": 0.5})
    assert many.standard_uncertainties == pytest.approx([0.5, 1.0, 1.5], rel=1e-12)
    assert many.stepwise == 0


def test_shown_in_short():
    text = str(propagate_many(lambda a: 2 * a, {"a": [1.0, 2.0]}, {"a": 0.25}))
    assert "results               2" in text and "standard uncertainty  0.5 to 0.5" in text


BAD = [
    (lambda a: a, {"a": [1.0, math.nan]}, {"a": 0.1}, "values['a'][1]: found nan; accepted: finite numbers"),
    (lambda a: a, {"a": [1.0, 2.0]}, {"a": [0.1, -0.1]}, "uncertainties['a'][1]: found -0.1; accepted: finite numbers of"),
    (lambda a: a, {"a": [1.0, 2.0]}, {"b": 0.1}, "uncertainties: found ['b']; accepted: one for each of the inputs a"),
    (lambda a: a, {"a": [1.0, 2.0]}, {"a": [0.1] * 3}, "values, uncertainties: found {'a': ((2,), (3,))}; accepted: arrays of one"),
    (lambda a: (a, a), {"a": [1.0, 2.0]}, {"a": 0.1}, "model: found ('output 1', 'output 2'); accepted: a model that gives one"),
    (np.log, {"a": [1.0, -2.0, 3.0]}, {"a": 0.1}, "model: found nan; accepted: finite numbers at a = -2"),
    (np.sqrt, {"a": [1.0, 0.0, 3.0]}, {"a": 0.1}, "model: found no finite values on both sides of a = 0 in result 1"),
]  # fmt: skip


@pytest.mark.parametrize(("model", "values", "u", "text"), BAD, ids=[text for *_, text in BAD])
def test_bad_input(model, values, u, text):
    with pytest.raises(ValueError, match="^" + re.escape(text)):
        propagate_many(lambda a, model=model: model(a), values, u)


@pytest.mark.parametrize(
    "model",
    [lambda a, b: a * np.mean(b), lambda a, b: a * np.max(b), lambda a, b: float(a) * b],
    ids=["mean", "max", "scalar"],
)
def test_models_that_mistake_arrays_are_called_point_by_point(model):
    values, u = {"a": [1.0, 2.0, 3.0], "b": [4.0, 4.0, 4.0]}, {"a": 0.1, "b": 0.2}
    found = propagate_many(model, values, u)
    wanted = [math.hypot(4 * 0.1, a * 0.2) for a in values["a"]]
    assert found.standard_uncertainties == pytest.approx(wanted, rel=1e-9)


def test_model_that_writes_into_its_arguments_changes_nothing():
    def rude(a, b):
        a *= 2
        return a * b

    a = np.array([1.0, 2.0, 3.0, 4.0])
    found = propagate_many(rude, {"a": a, "b": 5.0}, {"a": 0.1, "b": 0.0})
    assert a.tolist() == [1.0, 2.0, 3.0, 4.0]
    assert found.standard_uncertainties == pytest.approx([1.0] * 4)


def test_more_results_than_one_block():
    values, u = drawn(3000)
    found = propagate_many(loss, values, u)
    slopes = [values["speed_in"], values["torque_in"], values["speed_out"], values["torque_out"]]  # by hand
    wanted = math.pi / 30 * np.sqrt(sum((s * u[n]) ** 2 for s, n in zip(slopes, values, strict=True)))
    assert found.standard_uncertainties == pytest.approx(wanted, rel=1e-10)
