"""What a rehearsal takes the bench to do. Evidence: proportions as the docstring states them; refusals."""

from dataclasses import replace

import pytest

from lossstats.rehearsal.rehearsed_bench import quiet_bench, usual_bench
from lossstats.simulator.simulated_drift import WalkDrift, WarmUpDrift


def test_all_sizes_go_with_the_level():
    bench = usual_bench(200.0)
    assert bench.reference_level == 200.0
    assert bench.noise.correlated_sd == pytest.approx(0.6) and bench.noise.phi == 0.5
    assert bench.warm_up.amplitudes == pytest.approx((20.0,)) and bench.warm_up.time_constants_s == (90.0,)
    assert bench.drift == (WarmUpDrift(4.0, 1.0), WalkDrift(pytest.approx(0.6)))
    assert bench.day_shift == pytest.approx(2.0)


def test_a_quiet_bench_does_nothing():
    bench = quiet_bench()
    assert bench.level == 6.5
    assert bench.noise.mean_sd(1) == 0
    assert not bench.warm_up.amplitudes and not bench.drift and bench.day_shift == 0 and bench.warm_up_spread == 0


@pytest.mark.parametrize("level", [0.0, -1.0, float("nan"), float("inf")])
def test_a_level_out_of_range_is_refused(level):
    with pytest.raises(ValueError, match=rf"^level: found {level}; accepted: a finite number above 0$"):
        usual_bench(level)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"reference_level": 0.0}, "bench.reference_level: found 0.0; accepted: a finite number above 0"),
        ({"interval_s": -5.0}, "bench.interval_s: found -5.0; accepted: a finite number above 0"),
        ({"day_shift": -0.1}, "bench.day_shift: found -0.1; accepted: a finite number of at least 0"),
        ({"warm_up_spread": float("nan")}, "bench.warm_up_spread: found nan; accepted: a finite number of at least 0"),
    ],
)
def test_other_numbers_out_of_range_are_refused(change, words):
    with pytest.raises(ValueError, match=words):
        replace(usual_bench(), **change)
