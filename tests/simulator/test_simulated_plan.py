"""Plans: what they refuse, and the settings that go with them."""

import math
from dataclasses import replace

import pytest

from lossstats.simulator.simulate import Articles, Bench, Display, Noise, Power, Readings, declare, lay_out


def test_declared_settings_are_those_of_the_simulation():
    plan = replace(
        lay_out("single", before="dusty", after="cleaned"),
        articles=Articles(mount_sd=0.06, run_sd=0.08),
        bench=Bench(gain_sd=0.005, zero_sd=0.02),
        readings=Readings(noise=Noise(0.0), display=Display(0.005)),
        power=Power(nominal=280.0, tolerance=2.8),
    )
    settings = declare(plan)
    assert (settings.comparison.before, settings.comparison.after) == ("dusty", "cleaned")
    assert (settings.comparison.design, settings.comparison.unit_of_replication) == ("single", "mount")
    assert (settings.instrument.gain, settings.instrument.zero) == (0.005, 0.02)
    assert settings.readings.resolution == 0.005
    assert settings.drift.reference_repeatability == pytest.approx(0.1)  # 6-8-10 triangle
    assert settings.operating_point["input_power_W"].nominal == 280.0


def test_repeatability_without_any_scatter_is_left_unsaid():
    quiet = Articles(mount_sd=0.0, run_sd=0.0)
    plan = replace(lay_out("paired"), articles=quiet, readings=Readings(noise=Noise(0.0)))
    assert declare(plan).drift.reference_repeatability is None
    assert declare(plan).operating_point == {}


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Articles(mount_sd=-0.1), "Articles.mount_sd: found -0.1; accepted: a finite number of at least 0"),
        (lambda: Articles(run_sd=math.nan), "Articles.run_sd: found nan; accepted: a finite number of at least 0"),
        (lambda: Bench(gain_sd=-1.0), "Bench.gain_sd: found -1.0; accepted: a finite number of at least 0"),
        (lambda: Power(within_sd=-1.0), "Power.within_sd: found -1.0; accepted: a finite number of at least 0"),
        (lambda: Power(nominal=0.0), "Power.nominal: found 0.0; accepted: a finite number above 0"),
        (lambda: Readings(samples=2.5), "Readings.samples: found 2.5; accepted: a whole number of at least 1"),
        (lambda: Readings(interval_s=math.nan), "Readings.interval_s: found nan; accepted: a finite number above 0"),
        (lambda: replace(lay_out("paired"), after="cleaned"), "found condition 'after'; accepted: 'before' or"),
        (lambda: replace(lay_out("paired"), runs=lay_out("paired").runs[::-1]), "found runs out of bench order"),
        (
            lambda: replace(lay_out("paired"), runs=lay_out("paired").runs[:5]),
            "found no test run of a treated article in condition 'after'; accepted: at least one",
        ),
    ],
)
def test_refusals(make, message):
    with pytest.raises(ValueError, match=message):
        make()
