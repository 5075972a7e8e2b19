"""Constants, limits and false alarms against closed forms and plain second implementations."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.bench.chart_limits import (
    c4,
    chart_spread,
    d2,
    moving_average,
    moving_average_sd,
    pooled_sd,
    repeatability_limit,
    simulate_false_alarms,
)


def test_constants_by_closed_form_and_simulation():
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), rel=1e-14)
    assert d2(2) == pytest.approx(2 / math.sqrt(math.pi), rel=1e-12)
    assert d2(3) == pytest.approx(3 / math.sqrt(math.pi), rel=1e-12)
    draws = np.random.default_rng(1).standard_normal((100_000, 7))
    assert d2(7) == pytest.approx(np.ptp(draws, axis=1).mean(), abs=0.01)
    assert c4(7) == pytest.approx(draws.std(axis=1, ddof=1).mean(), abs=0.004)


@pytest.mark.parametrize("constant", [c4, d2])
def test_constants_need_two_readings(constant):
    with pytest.raises(ValueError, match="n: found 1; accepted: a whole number of at least 2"):
        constant(1)


def test_spread_by_hand():
    values = np.array([1.0, 3.0, 2.0])
    assert chart_spread(values, "moving range") == pytest.approx(1.5 * math.sqrt(math.pi) / 2, rel=1e-12)
    assert chart_spread(values, "standard deviation") == pytest.approx(1 / math.sqrt(math.pi / 4), rel=1e-12)
    with pytest.raises(ValueError, match="spread_from: found 'range'; accepted: 'moving range' or 'standard dev"):
        chart_spread(values, "range")


def test_moving_average_by_a_plain_loop():
    values, z, by_hand = np.random.default_rng(2).normal(5, 1, 20), 5.0, []
    for value in values:
        z = 0.25 * value + 0.75 * z
        by_hand.append(z)
    assert moving_average(values, 5.0, 0.25) == pytest.approx(by_hand, rel=1e-12)


def test_spread_of_the_moving_average_is_that_of_its_weights():
    weights = [0.3 * 0.7**j for j in range(6)]
    exact = [math.sqrt(sum(w * w for w in weights[: i + 1])) for i in range(6)]
    assert moving_average_sd(6, 0.3) == pytest.approx(exact, rel=1e-12)
    assert moving_average_sd(3, 1.0) == pytest.approx([1, 1, 1])


def test_pooled_sd_and_its_limit():
    rng = np.random.default_rng(3)
    groups = [rng.normal(0, 2, n) for n in (2, 3, 5)]
    sds, dofs = np.array([g.std(ddof=1) for g in groups]), np.array([1.0, 2.0, 4.0])
    squares = sum(float(((g - g.mean()) ** 2).sum()) for g in groups)
    assert pooled_sd(sds, dofs) == (pytest.approx(math.sqrt(squares / 7), rel=1e-12), 7.0)
    assert repeatability_limit(2.0, 40, 2, 0.01) == pytest.approx(2 * math.sqrt(stats.f.isf(0.01, 2, 40)), rel=1e-9)


@pytest.mark.parametrize("base", [10, 20, 30])
def test_false_alarms_of_single_checks_by_closed_form(base):
    found = simulate_false_alarms(base, 5, spread_from="standard deviation", trials=20_000, rng=4)
    exact = 2 * stats.t.sf(3 / (c4(base) * math.sqrt(1 + 1 / base)), base - 1)
    # five checks of one bench share its limits: at most as noisy as 20 000 independent ones
    assert found.per_check == pytest.approx(exact, abs=4 * math.sqrt(exact / 20_000))


def test_known_limits_alarm_at_the_nominal_rate():
    found = simulate_false_alarms(0, 26, trials=20_000, rng=5)
    assert found.per_check == pytest.approx(0.0027, abs=0.0003)
    assert found.any_single == pytest.approx(1 - 0.9973**26, abs=0.008)
    assert max(found.any_single, found.any_average) <= found.any_rule <= found.any_single + found.any_average


def test_fewer_base_checks_alarm_more():
    rates = [simulate_false_alarms(base, 26).any_rule for base in (10, 20, 30, 0)]
    assert rates == sorted(rates, reverse=True)
    assert rates[0] > 3 * rates[-1]


def test_false_alarms_shown_and_refused():
    assert "limits from             10 checks" in str(simulate_false_alarms(10, 26))
    assert "exact knowledge" in simulate_false_alarms(0, 26)._repr_html_()
    with pytest.raises(ValueError, match="found 1, 5, 4000; accepted: base 0 or at least 2"):
        simulate_false_alarms(1, 5)
