"""What a rehearsal takes the bench to do: level, noise, warm-up, drift."""

from __future__ import annotations

from dataclasses import dataclass, replace

from lossstats.records.argument_checks import above_zero, not_negative
from lossstats.simulator.simulated_drift import Drift, WalkDrift, WarmUpDrift
from lossstats.simulator.simulated_readings import Approach, Noise


@dataclass(frozen=True)
class RehearsedBench:
    """What a rehearsal takes the bench to do; `usual_bench` and `quiet_bench` make one.

    Attributes
    ----------
    level : float
        Mean level of the articles before, in the measurand's unit.
    reference_level : float
        Level of the reference article.
    noise : Noise
        Noise of the readings.
    interval_s : float
        Time between samples where trial.toml names none.
    warm_up : Approach
        Warm-up inside test and reference runs; seen by a rehearsal from samples only.
    warm_up_spread : float
        Relative standard deviation of its amplitudes from run to run.
    drift : tuple of Drift
        Slow change over a bench day, in the measurand's unit.
    day_shift : float
        Standard deviation of the shift of each bench day but the first.
    drift_at_zero : float
        Part of drift and day shift that a zero run sees.
    """

    level: float
    reference_level: float
    noise: Noise
    interval_s: float
    warm_up: Approach
    warm_up_spread: float
    drift: tuple[Drift, ...]
    day_shift: float
    drift_at_zero: float

    def __post_init__(self) -> None:
        for name in ("level", "reference_level", "interval_s"):
            above_zero(f"bench.{name}", getattr(self, name))
        for name in ("warm_up_spread", "day_shift"):
            not_negative(f"bench.{name}", getattr(self, name))


def usual_bench(level: float = 6.5) -> RehearsedBench:
    """Describe a bench that is neither good nor bad, all sizes in proportion to the level.

    Parameters
    ----------
    level : float, default 6.5
        Mean level of the articles before, in the measurand's unit.

    Returns
    -------
    RehearsedBench
        Change parts of it with ``dataclasses.replace``.

    Notes
    -----
    Common practice, no source: readings scatter by 0.3 % of the level with a correlation of 0.5 from one to the next,
    5 s apart; a run starts 10 % above its level and comes down with a time constant of 90 s, which varies by 30 % from
    run to run; the bench warms up over the day by 2 % with a time constant of 1 h and wanders by 0.3 % in an hour (a
    random walk); days differ by 1 %; a zero run sees half of all this.

    Examples
    --------
    >>> usual_bench(200.0).day_shift
    2.0
    """
    above_zero("level", level)
    return RehearsedBench(
        level=level,
        reference_level=level,
        noise=Noise(0.003 * level, 0.5),
        interval_s=5.0,
        warm_up=Approach((0.1 * level,), (90.0,)),
        warm_up_spread=0.3,
        drift=(WarmUpDrift(0.02 * level, 1.0), WalkDrift(0.003 * level)),
        day_shift=0.01 * level,
        drift_at_zero=0.5,
    )


def quiet_bench(level: float = 6.5) -> RehearsedBench:
    """Describe a bench without noise, warm-up or drift: nothing but the components is left.

    Parameters
    ----------
    level : float, default 6.5
        Mean level of the articles before, in the measurand's unit.

    Returns
    -------
    RehearsedBench
        Change parts of it with ``dataclasses.replace``.
    """
    return replace(
        usual_bench(level), noise=Noise(0.0, 0.0), warm_up=Approach(), warm_up_spread=0.0, drift=(), day_shift=0.0
    )
