"""Linear propagation against the library `uncertainties`, closed forms, and what a budget says in its notes."""

import math
import re

import numpy as np
import pytest
from uncertainties import ufloat, umath

from lossstats.budgets.budget import propagate
from lossstats.budgets.source import Source

UNARY = ("sin", "cos", "exp", "log", "sqrt", "tanh", "atan")
NAMES = {"numpy": {"atan": "arctan"}, "uncertainties": {}}


def expression(rng, depth):
    """A random expression of a, b, c, d: a function of the library to use and the values."""
    if depth == 0:
        name = str(rng.choice(list("abcd")))
        return lambda _lib, values: values[name]
    kind = rng.integers(8)
    left = expression(rng, depth - 1)
    if kind < 3:
        name = str(rng.choice(UNARY))
        return lambda lib, values: lib(name)(left(lib, values))
    right = expression(rng, int(rng.integers(depth)))
    if kind == 3:
        return lambda lib, values: left(lib, values) + right(lib, values)
    if kind == 4:
        return lambda lib, values: left(lib, values) - 2 * right(lib, values)
    if kind == 5:
        return lambda lib, values: left(lib, values) / right(lib, values)
    return lambda lib, values: left(lib, values) * right(lib, values)


def from_numpy(name):
    return getattr(np, {"atan": "arctan"}.get(name, name))


def from_uncertainties(name):
    return getattr(umath, name)


def generated(wanted=200, seed=20_261_125):
    """Expressions with a value and an uncertainty that are ordinary numbers, and inputs for each."""
    rng = np.random.default_rng(seed)
    found = []
    while len(found) < wanted:
        tree = expression(rng, int(rng.integers(2, 6)))
        values = dict(zip("abcd", rng.uniform(0.3, 3.0, 4).tolist(), strict=True))
        u = dict(zip("abcd", (10 ** rng.uniform(-6, -1, 4)).tolist(), strict=True))
        peers = {name: ufloat(values[name], u[name]) for name in "abcd"}
        try:
            peer = tree(from_uncertainties, peers)
        except (ValueError, ZeroDivisionError, OverflowError):
            continue
        if isinstance(peer, float) or not (1e-3 < abs(peer.n) < 1e3 and 1e-9 < peer.s < 1e2):
            continue
        found.append((tree, values, u, peers, peer))
    return found


def test_two_hundred_generated_expressions_agree_with_uncertainties():
    worst = 0.0
    for tree, values, u, peers, peer in generated():
        inputs = {name: Source.normal(u[name], value=values[name]) for name in "abcd"}
        budget = propagate(lambda tree=tree, **named: tree(from_numpy, named), inputs)
        assert budget.value == pytest.approx(peer.n, rel=1e-12)
        worst = max(worst, abs(budget.standard_uncertainty / peer.s - 1))
        for line in budget.contributions:
            theirs = abs(peer.derivatives.get(peers[line.source], 0.0)) * u[line.source]
            assert line.contribution == pytest.approx(theirs, rel=1e-9, abs=1e-9 * peer.s)
    assert worst < 1e-9


def test_correlated_inputs_agree_with_uncertainties():
    from uncertainties import correlated_values

    covariance = [[0.04, 0.018, 0.0], [0.018, 0.09, -0.03], [0.0, -0.03, 0.25]]
    x, y, z = correlated_values([2.0, 3.0, 5.0], covariance)
    peer = x * y / umath.sqrt(z)
    inputs = {"x": Source.normal(0.2, value=2), "y": Source.normal(0.3, value=3), "z": Source.normal(0.5, value=5)}
    budget = propagate(
        lambda x, y, z: x * y / np.sqrt(z), inputs, correlation={("x", "y"): 0.3, ("y", "z"): -0.2}
    )  # fmt: skip
    assert budget.standard_uncertainty == pytest.approx(peer.s, rel=1e-10)
    assert sum(line.share for line in budget.contributions) == pytest.approx(1.0, rel=1e-12)


def test_shares_sum_to_one_and_may_be_negative():
    inputs = {"a": Source.normal(1.0), "b": Source.normal(0.2)}
    budget = propagate(lambda a, b: a - b, inputs, correlation={("a", "b"): 1.0})
    # a: 1 (1 - 0.2) / 0.64, b: -0.2 (1 - 0.2) / 0.64, by hand.
    assert [line.share for line in budget.contributions] == pytest.approx([1.25, -0.25])
    assert any("may be negative" in note for note in budget.notes)


def test_full_correlation_cancels():
    inputs = {"a": Source.normal(0.3), "b": Source.normal(0.3)}
    budget = propagate(lambda a, b: a - b, inputs, correlation={("a", "b"): 1.0})
    assert budget.standard_uncertainty == pytest.approx(0.0, abs=1e-9)


def test_simultaneous_readings_have_the_degrees_of_freedom_of_their_differences():
    # u and dof of a difference of paired readings are those of the mean of the differences (closed form).
    a, b = [7.1, 7.4, 7.3, 7.8], [6.9, 7.3, 7.0, 7.6]
    differences = np.subtract(a, b)
    inputs = {"a": Source.readings(a), "b": Source.readings(b)}
    budget = propagate(lambda a, b: a - b, inputs, simultaneous=[("a", "b")])
    assert budget.standard_uncertainty == pytest.approx(differences.std(ddof=1) / 2, rel=1e-9)
    assert budget.degrees_of_freedom == pytest.approx(3.0)
    assert any("a, b are correlated: they enter the effective degrees of freedom as one" in n for n in budget.notes)


def test_independent_degrees_of_freedom_by_welch_satterthwaite():
    inputs = {"a": Source.normal(3.0, dof=10), "b": Source.normal(4.0)}
    budget = propagate(lambda a, b: a + b, inputs)
    assert budget.degrees_of_freedom == pytest.approx(5**4 / (3**4 / 10))
    assert any("used as they are; truncated to an integer" in note for note in budget.notes)


def test_an_input_that_does_not_count_brings_no_degrees_of_freedom():
    inputs = {"a": Source.normal(3.0, dof=1), "b": Source.normal(4.0, dof=8)}
    assert propagate(lambda a, b: 0 * a + b, inputs).degrees_of_freedom == pytest.approx(8)


@pytest.mark.parametrize("function", [lambda x, y: x**2 + y, lambda x, y: math.cos(x) + y], ids=["array", "scalar"])
def test_zero_first_order_sensitivity_is_flagged(function):
    budget = propagate(function, {"x": Source.normal(0.1), "y": Source.normal(0.1)})
    flagged = [note for note in budget.notes if "zero first-order sensitivity" in note]
    assert len(flagged) == 1 and flagged[0].startswith("x: ")


def test_input_without_any_effect_is_named():
    budget = propagate(lambda x, y: 0 * x + y, {"x": Source.normal(0.1), "y": Source.normal(0.1)})
    assert [note.split(" (")[0] for note in budget.notes] == [
        "x: zero first-order sensitivity; within its standard uncertainty the result does not change with it alone"
    ]


def test_linear_model_has_no_such_notes():
    budget = propagate(lambda x, y: x + y, {"x": Source.normal(0.1), "y": Source.normal(0.1)})
    assert budget.notes == ()
    assert budget.second_order.standard_uncertainty == pytest.approx(budget.standard_uncertainty, rel=1e-12)


@pytest.mark.parametrize(("u", "noted"), [(0.1, False), (0.7, True)])
def test_second_order_note_at_five_percent(u, noted):
    # x^2 at 1: u_2 / u_1 = sqrt(1 + u^2 / 2), closed form: 1.0025 for 0.1 and 1.116 for 0.7.
    budget = propagate(lambda x: x**2, {"x": Source.normal(u, value=1.0)})
    assert budget.second_order.standard_uncertainty == pytest.approx(2 * u * math.sqrt(1 + u * u / 2), rel=1e-9)
    assert budget.second_order.shift == pytest.approx(u * u, rel=1e-9)
    assert any("second-order terms matter" in note for note in budget.notes) is noted


def test_second_order_out_of_reach_says_why():
    budget = propagate(lambda x: np.log(x) + 0, {"x": Source.normal(1.5, value=1.0)})
    assert budget.second_order.standard_uncertainty is None
    assert "second-order terms could not be computed: the model fails within" in budget.notes[0]
    assert "the model fails within" in str(budget.second_order)


def test_second_order_that_outweighs_the_first_says_why():
    # sin x at 0 with u = 2: 1 - u^2 < 0 for f_i f_iii u^4 = -u^4 (closed form).
    budget = propagate(lambda x: np.sin(x) + 0, {"x": Source.normal(2.0)})
    assert "outweigh the first" in budget.second_order.why_none


def test_a_smooth_minimum_is_no_kink_and_claims_no_interval():
    source = Source.normal(0.005)
    budget = propagate(lambda x, y: x**2 + y**2, {"x": source, "y": source})
    assert not any("kink" in note for note in budget.notes)
    assert sum("zero first-order sensitivity" in note for note in budget.notes) == 2
    assert "95 % interval         none: the standard uncertainty is 0" in str(budget)


def test_kink_is_flagged():
    budget = propagate(lambda x: np.where(x > 1, 3 * x - 2, x), {"x": Source.normal(0.1, value=1.001)})
    assert budget.contributions[0].sensitivity == pytest.approx(3.0)
    jump = propagate(lambda x: np.floor(x) + x, {"x": Source.normal(0.1, value=1.0)})
    assert any("the model has a kink or a step near 1" in note for note in jump.notes)


def test_dominant_rectangle_is_flagged():
    inputs = {"x": Source.rectangular(1.0), "y": Source.normal(0.1)}
    assert any("x (rectangular) outweighs all others" in n for n in propagate(lambda x, y: x + y, inputs).notes)
    inputs["y"] = Source.normal(0.5)
    assert not propagate(lambda x, y: x + y, inputs).notes


def test_no_uncertainty_at_all_says_so():
    budget = propagate(lambda x: 2 * x, {"x": Source.normal(0.0, value=1.0)})
    assert budget.contributions[0].share is None
    assert any("the combined standard uncertainty is 0" in note for note in budget.notes)


def test_notes_of_sources_are_passed_on():
    budget = propagate(lambda x: x, {"x": Source.between(0.0, 3.0, value=1.0)})
    assert any(note.startswith("x: the estimate 1 is not in the middle") for note in budget.notes)


def test_several_outputs_with_names_and_units():
    inputs = {"x": Source.normal(0.1, value=2.0), "y": Source.normal(0.2, value=3.0)}
    budgets = propagate(lambda x, y: (x + y, x - y), inputs, output=("sum", "difference"), unit=("W", "W"))
    assert [b.output for b in budgets.outputs] == ["sum", "difference"]
    assert budgets.covariance[0] == pytest.approx([0.05, -0.03])
    assert budgets.correlation[0][1] == pytest.approx(-0.6)
    assert budgets["sum"].unit == "W"


BAD = [
    ({"inputs": {"y": Source.normal(0.1)}}, "inputs: found 'y'; accepted: the parameters of the model, x"),
    ({"inputs": {"x": 0.1}}, "inputs['x']: found 0.1; accepted: a Source"),
    ({"confidence": 95}, "confidence: found 95; accepted: a number between 0 and 1"),
    ({"units": {"x": "W"}}, "inputs['x'].unit: found 'mW'; accepted: 'W', the unit that the model takes"),
    ({"correlation": {("x", "z"): 0.1}}, "correlation: found 'z'; accepted: one of the inputs x"),
    ({"output": ("a", "b")}, "output: found ('a', 'b'); accepted: one for each output of the model, result"),
    ({"unit": ("a", "b")}, "unit: found ('a', 'b'); accepted: one for each output of the model, result"),
    ({"model": lambda x: math.sqrt(x - 2)}, "model: raised ValueError: "),
    ({"model": lambda x: math.sqrt(x - 1)}, "model: found no finite values on both sides of x = 1, however near"),
]  # fmt: skip


@pytest.mark.parametrize(("changed", "text"), BAD, ids=[text for _, text in BAD])
def test_bad_input(changed, text):
    arguments = {"model": lambda x: 2 * x, "inputs": {"x": Source.normal(0.1, value=1.0, unit="mW")}} | changed
    with pytest.raises(ValueError, match="^" + re.escape(text)):
        propagate(**arguments)
