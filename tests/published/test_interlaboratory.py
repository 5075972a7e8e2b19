"""Repeatability, reproducibility and outliers against published values; the source stands beside each."""

import numpy as np
import pytest

from lossstats.components.interlaboratory import repeatability
from lossstats.components.outlier_tests import grubbs_limit, grubbs_test

# ISO 5725-2:1994, B.1: sulfur content of coal in percent by mass, four levels, eight laboratories with three to five
# values (from memory, recomputed: all twelve printed results come out).
COAL = {
    1: [
        [0.71, 0.71, 0.70, 0.71], [0.69, 0.67, 0.68], [0.66, 0.65, 0.69], [0.67, 0.65, 0.66],
        [0.70, 0.69, 0.66, 0.71, 0.69], [0.73, 0.74, 0.73], [0.71, 0.71, 0.69], [0.70, 0.65, 0.68],
    ],
    2: [
        [1.20, 1.18, 1.23, 1.21], [1.22, 1.21, 1.22], [1.28, 1.31, 1.30], [1.23, 1.18, 1.20],
        [1.31, 1.22, 1.22, 1.24], [1.39, 1.36, 1.37], [1.20, 1.26, 1.26], [1.24, 1.22, 1.30],
    ],
    3: [
        [1.68, 1.70, 1.68, 1.69], [1.64, 1.64, 1.65], [1.61, 1.61, 1.62], [1.68, 1.66, 1.66],
        [1.64, 1.67, 1.60, 1.66, 1.68], [1.70, 1.73, 1.73], [1.69, 1.70, 1.68], [1.67, 1.68, 1.67],
    ],
    4: [
        [3.26, 3.26, 3.20, 3.24], [3.20, 3.20, 3.20], [3.37, 3.36, 3.38], [3.16, 3.22, 3.23],
        [3.20, 3.19, 3.18, 3.27, 3.24], [3.27, 3.31, 3.29], [3.27, 3.24, 3.23], [3.25, 3.26, 3.26],
    ],
}  # fmt: skip
COAL_RESULTS = {  # m, s_r, s_R as printed
    1: (0.690, 0.015, 0.026),
    2: (1.252, 0.029, 0.061),
    3: (1.667, 0.017, 0.035),
    4: (3.250, 0.026, 0.058),
}

# ASTM E691: glucose in serum, mg/dl, eight laboratories, three values each (from memory, recomputed). Material C is
# left out: one of its recalled values does not give the printed results.
GLUCOSE = {
    "A": [
        [41.03, 41.45, 41.37], [41.17, 42.00, 41.15], [41.01, 40.68, 42.66], [39.37, 42.37, 42.63],
        [41.88, 41.19, 41.32], [43.28, 40.50, 42.28], [41.08, 41.27, 39.02], [43.36, 42.65, 41.72],
    ],
    "B": [
        [78.28, 78.18, 78.49], [77.78, 80.38, 79.54], [79.18, 79.72, 80.81], [84.08, 78.60, 81.92],
        [78.16, 79.58, 78.33], [78.66, 79.27, 81.75], [79.76, 81.45, 77.35], [80.44, 80.80, 79.80],
    ],
    "D": [
        [193.71, 193.59, 193.65], [190.88, 200.14, 194.30], [192.71, 193.28, 190.28], [195.85, 196.36, 199.43],
        [192.59, 191.44, 195.12], [195.34, 198.26, 198.13], [194.66, 191.99, 187.13], [197.56, 195.99, 200.82],
    ],
    "E": [
        [292.78, 294.09, 292.89], [292.27, 309.40, 295.08], [295.53, 290.14, 292.34], [295.19, 295.44, 296.83],
        [293.93, 292.48, 294.28], [297.74, 296.80, 290.33], [287.29, 293.76, 289.36], [298.46, 295.28, 296.12],
    ],
}  # fmt: skip
GLUCOSE_RESULTS = {  # mean, s_r, s_R as printed
    "A": (41.5183, 1.0632, 1.0632),
    "B": (79.6796, 1.4949, 1.5796),
    "D": (194.7170, 2.6251, 3.3657),
    "E": (294.4920, 3.9350, 4.1923),
}


def table_of(laboratories):
    names = np.repeat(np.arange(1, len(laboratories) + 1), [len(values) for values in laboratories])
    return {"laboratory": names, "value": np.concatenate(laboratories)}


@pytest.mark.parametrize("level", COAL)
def test_sulfur_in_coal(level):
    """Unequal numbers, by the formulas of 7.4."""
    found = repeatability(table_of(COAL[level]), unit="%")
    assert (found.general_mean, found.s_r, found.s_R) == pytest.approx(COAL_RESULTS[level], abs=0.00055)


@pytest.mark.parametrize("material", GLUCOSE)
def test_glucose_in_serum(material):
    """Equal numbers; where the variance between laboratories is below 0, as for A, s_R equals s_r in both documents."""
    found = repeatability(table_of(GLUCOSE[material]), unit="mg/dl")
    assert (found.general_mean, found.s_r, found.s_R) == pytest.approx(GLUCOSE_RESULTS[material], abs=1.5e-4)


def test_glucose_stands_out():
    """ASTM E691 for E (from memory, recomputed): the second laboratory has k 2.33, the only one beyond 2.06."""
    found = repeatability(table_of(GLUCOSE["E"]))
    k = [lab.k for lab in found.laboratories]
    assert k[1] == pytest.approx(2.33, abs=0.006) and sorted(k)[-2] < 2.06
    assert found.laboratories[1].k_mark == "**"


def test_handbook_grubbs():
    """NIST/SEMATECH e-Handbook, 1.3.5.17.1 (from memory, recomputed): G 2.4687, one-sided 5 % point for eight 2.032.

    The exact statistic is 2.46876.
    """
    values = np.array([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    found = grubbs_test(values, [str(k) for k in range(1, 9)], high=True)
    assert found.statistic == pytest.approx(2.4687, abs=1e-4) and found.suspects == ("8",) and found.mark == "**"
    assert values.mean() == pytest.approx(206.43, abs=0.006) and values.std(ddof=1) == pytest.approx(15.85, abs=0.006)
    assert grubbs_limit(8, 0.05, sides=1) == pytest.approx(2.032, abs=0.0005)
