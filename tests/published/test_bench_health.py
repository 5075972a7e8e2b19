"""Charts and limits against published values; the source stands beside each.

NIST: NIST/SEMATECH e-Handbook of Statistical Methods. "From memory, recomputed": the numbers were recalled from the
document and reproduced, which is strong evidence but no independent reading.
"""

import numpy as np
import pytest

from lossstats.bench.bench_health import check_standard_chart
from lossstats.bench.chart_limits import c4, chart_spread, d2, moving_average, moving_average_sd, pooled_sd

# NIST 6.3.2, table of factors for control charts (from memory, recomputed), n = 2 to 10.
C4 = [0.7979, 0.8862, 0.9213, 0.9400, 0.9515, 0.9594, 0.9650, 0.9693, 0.9727]
D2 = [1.128, 1.693, 2.059, 2.326, 2.534, 2.704, 2.847, 2.970, 3.078]


@pytest.mark.parametrize(("n", "expected"), list(enumerate(C4, start=2)))
def test_c4(n, expected):
    assert c4(n) == pytest.approx(expected, abs=0.5e-4)


@pytest.mark.parametrize(("n", "expected"), list(enumerate(D2, start=2)))
def test_d2(n, expected):
    assert d2(n) == pytest.approx(expected, abs=0.5e-3)


def test_individuals_chart():
    """NIST 6.3.2.2, flow rates (from memory, recomputed)."""
    x = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    dates = [f"2025-01-{day:02}" for day in range(1, 11)]
    chart = check_standard_chart({"date": dates, "value": x}, base_period=10)
    assert chart.centre == pytest.approx(50.81, abs=0.005)
    # the handbook divides by d2 = 1.128, rounded; its limits end in the fourth decimal
    assert chart.limits == pytest.approx((45.8159, 55.8041), abs=0.002)
    assert chart_spread(x, "moving range") * d2(2) == pytest.approx(1.8778, abs=0.5e-4)
    assert chart.centre + 3 * 1.8778 / round(d2(2), 3) == pytest.approx(55.8041, abs=1e-4)


X = [
    52.0,
    47.0,
    53.0,
    49.3,
    50.1,
    47.0,
    51.0,
    50.1,
    51.2,
    50.5,
    49.6,
    47.6,
    49.9,
    51.3,
    47.8,
    51.2,
    52.6,
    52.4,
    53.6,
    52.1,
]
EWMA = [50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip


def test_ewma_chart():
    """NIST 6.3.2.4: weight 0.3, target 50, s = 2.0539; limits and count as printed, the 20 values recomputed."""
    averages = moving_average(np.array(X), 50.0, 0.3)
    assert averages.round(2) == pytest.approx(EWMA, abs=1e-9)
    reach = 3 * 2.0539 * moving_average_sd(500, 0.3)
    # the handbook takes the limits of many checks; its lower one is cut off, not rounded
    assert (50 + reach[-1], 50 - reach[-1]) == pytest.approx((52.5884, 47.4115), abs=1e-4)
    assert not np.any(np.abs(averages - 50) > reach[-1])


def test_pooled_repeatability():
    """NIST 2.4.4.3, example of pooling: five standard deviations of one degree of freedom."""
    sd, dof = pooled_sd(np.array([0.0223, 0.0027, 0.0289, 0.0133, 0.0205]), np.ones(5))
    assert (sd, dof) == (pytest.approx(0.0197, abs=0.5e-4), 5)


def test_pooled_repeatability_of_five_wafers():
    """NIST 2.4.4.4: sums of squares of five wafers with 60 degrees of freedom each."""
    squares = np.array([0.48115, 0.69209, 0.48483, 1.21752, 0.30076])
    sd, dof = pooled_sd(np.sqrt(squares / 60), np.full(5, 60.0))
    assert (sd, dof) == (pytest.approx(0.1029, abs=0.5e-4), 300)
