"""From recorded operating points to factors and shared errors."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from lossstats.corrections.at_nominal import at_nominal
from lossstats.trial_folder.settings import OperatingPoint
from lossstats.trial_folder.trial import Run

T = np.arange(0.0, 300.0, 5.0)
ROLES = ("zero", "reference", "test", "test")
POWER = (0.0, 280.0, 282.8, 277.2)


def runs(**more):
    start = datetime(2031, 3, 3, 8, tzinfo=UTC)
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 0.1, (len(ROLES), len(T)))
    return [
        Run(f"r{i}", start + timedelta(hours=i), role, time_s=T, values=np.ones_like(T), operating_point={"power_W": power + noise[i]} | {name: np.full_like(T, x[i]) for name, x in more.items()})
        for i, (role, power) in enumerate(zip(ROLES, POWER, strict=True))
    ]  # fmt: skip


def test_nothing_is_done_unless_declared():
    made = at_nominal(runs(), {"power_W": OperatingPoint(280.0, 3.0)}, 1 / 3)
    assert made.factors.tolist() == [1, 1, 1, 1] and not made.causes
    assert np.isnan(made.means["power_W"][0])
    np.testing.assert_allclose(made.means["power_W"][1:], POWER[1:], atol=0.1)


def test_power_and_its_doubt():
    point = OperatingPoint(280.0, 3.0, "power", 1.2, 0.3, 9.0, "earlier runs")
    made = at_nominal(runs(), {"power_W": point}, 1 / 3)
    means = made.means["power_W"][1:]
    np.testing.assert_allclose(made.factors[1:], (280 / means) ** 1.2)
    assert made.factors[0] == 1
    (cause,) = made.causes.values()
    assert list(made.causes) == ["operating point: power_W"]
    np.testing.assert_allclose(cause.relative[1:], -np.log(means / 280) * 0.3)
    assert cause.relative[0] == 0 and cause.degrees_of_freedom == 9.0
    assert cause.stated == "sensitivity to power_W: 1.2, u = 0.3, earlier runs"


def test_exponential_form_and_the_reading_itself():
    point = OperatingPoint(25.0, 5.0, "exponential", -0.01, reading_u=0.5)
    made = at_nominal(runs(oil_C=(20.0, 25.0, 27.0, 25.0)), {"oil_C": point}, 1 / 3)
    np.testing.assert_allclose(made.factors, [1, 1, np.exp(0.02), 1])
    np.testing.assert_allclose(made.causes["reading: oil_C"].relative, [0, 0.005, 0.005, 0.005])


def test_two_columns_multiply():
    points = {
        "power_W": OperatingPoint(280.0, 3.0, "power", 1.0),
        "oil_C": OperatingPoint(25.0, 5.0, "exponential", -0.01),
    }
    made = at_nominal(runs(oil_C=(20.0, 25.0, 27.0, 25.0)), points, 1 / 3)
    np.testing.assert_allclose(made.factors[2], 280 / made.means["power_W"][2] * np.exp(0.02))


def test_a_point_at_which_the_correction_means_nothing_is_named():
    with pytest.raises(ValueError, match=r"operating_point\.oil_C: point: found -3\.0 in run 0"):
        at_nominal(runs(oil_C=(1.0, -3.0, 1.0, 1.0)), {"oil_C": OperatingPoint(25.0, 5.0, "power", 1.0)}, 1 / 3)
