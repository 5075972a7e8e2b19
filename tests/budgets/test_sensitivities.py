"""Sensitivities against derivatives known in closed form, second-order terms against exact moments."""

import math

import numpy as np
import pytest

from lossstats.budgets.sensitivities import reaches, second_order_terms, sensitivities


def at(function, *values, u=0.01):
    values = np.array(values, dtype=float)
    return sensitivities(lambda x: np.atleast_2d(function(*x)), values, np.full(len(values), u))


@pytest.mark.parametrize(
    ("function", "slope", "x"),
    [
        (np.exp, math.exp(3.0), 3.0),
        (np.sin, math.cos(1.0), 1.0),
        (lambda x: np.sin(8 * np.pi * x), 8 * math.pi, 1.0),  # a wave whose period fits the first steps
        (lambda x: np.sin(1000 * x), 1000 * math.cos(1000.0), 1.0),
        (np.log, 1e6, 1e-6),
        (lambda x: 1 / x, -1e-12, 1e6),
        (lambda x: x**7, 7e42, 1e7),
        (lambda x: x - 279.0, 1.0, 280.0),
        (np.tan, 1 + math.tan(1.5) ** 2, 1.5),
        (np.arctan, 1.0, 0.0),
    ],
    ids=["exp", "sin", "wave", "fast wave", "log", "reciprocal", "power", "difference", "near a pole", "at zero"],
)
@pytest.mark.parametrize("u", [1e-9, 0.01, 0.5])
def test_slope_to_ten_digits_whatever_u(function, slope, x, u):
    with np.errstate(all="ignore"):
        found = at(function, x, u=u)
    assert found.coefficients[0, 0] == pytest.approx(slope, rel=1e-10)
    assert found.errors[0, 0] <= 1e-8 * abs(slope)


def test_steps_at_which_the_model_fails_fall_out():
    with np.errstate(invalid="ignore"):
        found = at(np.sqrt, 0.01, u=1.0)
    assert found.coefficients[0, 0] == pytest.approx(5.0, rel=1e-10)


def test_model_that_works_on_one_side_only_has_no_slope():
    with np.errstate(invalid="ignore"):
        found = at(np.sqrt, 0.0)
    assert math.isnan(found.coefficients[0, 0])
    assert math.isinf(found.errors[0, 0])


def test_a_step_in_the_model_shows_in_the_error():
    found = at(lambda x: np.where(x > 1, 5.0, 0.0) + x, 1.0)
    assert found.errors[0, 0] > 0.01


def test_several_inputs_and_outputs():
    found = at(lambda x, y: np.stack([x * y, x - y]), 3.0, 5.0)
    assert found.coefficients == pytest.approx(np.array([[5.0, 3.0], [1.0, -1.0]]), rel=1e-12)


def test_reaches_are_the_larger_of_two_changes():
    found = reaches(lambda x: np.atleast_2d(x[0] ** 2 + 0 * x[1]), np.array([1.0, 2.0]), np.array([0.5, 0.1]))
    assert found.tolist() == [[1.25, 0.0]]


def terms(function, values, factor):
    return second_order_terms(lambda x: np.atleast_2d(function(*x)), np.array(values, dtype=float), np.array(factor))


def test_square_of_a_normal_is_exact():
    # Var X^2 = 4 m^2 u^2 + 2 u^4, E X^2 = m^2 + u^2.
    found = terms(lambda x: x**2, [3.0], [[0.7]])
    assert found.variance[0] == pytest.approx(2 * 0.7**4, rel=1e-9)
    assert found.shift[0] == pytest.approx(0.49, rel=1e-9)


def test_product_of_independent_normals_is_exact():
    # Var XY = x^2 v^2 + y^2 u^2 + u^2 v^2 (closed form).
    found = terms(lambda x, y: x * y, [3.0, -2.0], [[0.7, 0.0], [0.0, 0.4]])
    assert found.variance[0] == pytest.approx((0.7 * 0.4) ** 2, rel=1e-9)
    assert found.shift[0] == pytest.approx(0.0, abs=1e-12)


def test_product_of_correlated_normals_is_exact():
    # Var XY = first order + u^2 v^2 + cov^2, E XY = xy + cov (Isserlis; closed form).
    u, v, r = 0.7, 0.4, 0.6
    factor = np.linalg.cholesky([[u * u, r * u * v], [r * u * v, v * v]])
    found = terms(lambda x, y: x * y, [3.0, -2.0], factor)
    assert found.variance[0] == pytest.approx((u * v) ** 2 * (1 + r * r), rel=1e-9)
    assert found.shift[0] == pytest.approx(r * u * v, rel=1e-9)


def test_third_derivatives_enter():
    # f = x^3 + x y^2 at (1, 2), written out by hand from the note: f_x = 3 + 4, f_y = 4; f_xx = 6, f_xy = 4, f_yy = 2;
    # f_xxx = 6, f_xyy = 2, others 0. Sum of f_ij^2 / 2 + f_i f_ijj over i, j.
    u, v = 0.1, 0.2
    wanted = (18 + 7 * 6) * u**4 + (8 + 7 * 2 + 8) * u**2 * v**2 + 2 * v**4
    found = terms(lambda x, y: x**3 + x * y**2, [1.0, 2.0], [[u, 0.0], [0.0, v]])
    assert found.variance[0] == pytest.approx(wanted, rel=1e-9)


def test_inputs_without_uncertainty_add_nothing():
    assert terms(lambda x, y: x**2 * y, [3.0, 2.0], [[0.0, 0.0], [0.0, 0.0]]).variance[0] == 0.0
    one = terms(lambda x, y: x**2 * y, [3.0, 2.0], [[0.1, 0.0], [0.0, 0.0]])
    assert one.variance[0] == pytest.approx(0.5 * 16 * 1e-4, rel=1e-9)


def test_failing_within_u_gives_nan():
    with np.errstate(invalid="ignore"):
        assert math.isnan(terms(np.log, [1.0], [[1.5]]).variance[0])
