"""Design 1,1,1 of the NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.4.1.1: solution and factors as printed."""

import numpy as np
import pytest

from lossstats.bench.reference_articles import compare_references


def test_design_111():
    y = (0.31, -0.12, -0.40)  # any three readings: the solution is a property of the design
    made = [("1", "2", y[0]), ("1", "3", y[1]), ("2", "3", y[2])]
    found = compare_references(made, known={"1": 10.0}, unit="g")
    assert 3 * np.array(found.weights["2"]) == pytest.approx([-2, -1, 1])
    assert 3 * np.array(found.weights["3"]) == pytest.approx([-1, -2, -1])
    assert found.values["2"].value == pytest.approx((-2 * y[0] - y[1] + y[2] + 3 * 10) / 3)
    assert found.degrees_of_freedom == 1
    assert found.repeatability_factor == pytest.approx({"2": 0.8165, "3": 0.8165}, abs=0.5e-4)
    assert found.between_factor == pytest.approx({"2": 1.4142, "3": 1.4142}, abs=0.5e-4)
    both = np.add(found.weights["2"], found.weights["3"])
    assert np.linalg.norm(both) == pytest.approx(1.4142, abs=0.5e-4)
    signs = np.array([[1, -1, 0], [1, 0, -1], [0, 1, -1]])
    assert np.linalg.norm(both @ signs) == pytest.approx(2.4495, abs=0.5e-4)
