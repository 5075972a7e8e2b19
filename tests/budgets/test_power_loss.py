"""Power loss as a difference of two shaft powers: budgets against closed forms, patterns against simulation."""

import math
from dataclasses import replace

import numpy as np
import pytest

from lossstats.budgets.power_bench import PowerBench, ShaftReadings, Transducer
from lossstats.budgets.power_loss import difference_budget, error_patterns, level_budget, swapped_budget
from lossstats.trial_folder.shaft_power import power_loss_W

RAD_PER_S = math.pi / 30
CLASS_ONLY = Transducer(50.0, 0.1, class_of="reading", class_as="standard uncertainty")
INPUT = Transducer(
    50.0, 0.1, zero_Nm=0.01, span_percent_per_10K=0.05, zero_percent_per_10K=0.02, temperature_K=5.0,
    torque_step_Nm=0.01, speed_gain=1e-4, speed_step_rpm=0.1,
)  # fmt: skip
OUTPUT = replace(INPUT, torque_class_percent=0.05, zero_Nm=0.006, speed_gain=2e-4)


def readings(power_in, power_out, speed=95.0, ratio=1.0):
    """Readings of two shafts that carry these powers in W."""
    return ShaftReadings(power_in / (RAD_PER_S * speed), speed, power_out / (RAD_PER_S * speed * ratio), speed * ratio)


def u(budget):
    return budget.standard_uncertainty


@pytest.mark.parametrize(("r", "expected"), [(0.0, 0.35003571246374277), (0.9, 0.11079259903080167), (1.0, 0.004999999999999724)])  # fmt: skip
def test_difference_of_two_powers(r, expected):
    """250 W less 245 W, 0.1 % each: closed form of JCGM 100, 5.2.2, with correlation r; not a printed value."""
    assert math.sqrt(0.25**2 + 0.245**2 - 2 * r * 0.25 * 0.245) == pytest.approx(expected, abs=1e-12)
    budget = level_budget(readings(250.0, 245.0), PowerBench(CLASS_ONLY, CLASS_ONLY, r))
    assert budget.value == pytest.approx(5.0, abs=1e-9)
    assert u(budget) == pytest.approx(expected, rel=1e-6)


def test_two_independent_transducers_leave_much_doubt_about_a_small_loss():
    """0.1 % of 280 W and of 275 W in quadrature, 0.4 W on 5 W; by one calibration, 0.1 % of the 5 W is left."""
    level = readings(280.0, 275.0)
    assert u(level_budget(level, PowerBench(CLASS_ONLY, CLASS_ONLY))) == pytest.approx(
        math.hypot(0.28, 0.275), rel=1e-7
    )
    assert u(level_budget(level, PowerBench(CLASS_ONLY, CLASS_ONLY, 1.0))) == pytest.approx(0.005, rel=1e-4)


def closed_form(level, bench):
    """Quadrature by hand, at one speed of both shafts and independent calibrations."""
    variance = 0.0
    for sheet, torque, speed in (
        (bench.input, level.torque_in_Nm, level.speed_in_rpm),
        (bench.output, level.torque_out_Nm, level.speed_out_rpm),
    ):
        power, omega = RAD_PER_S * torque * speed, RAD_PER_S * speed
        kelvins = sheet.temperature_K / 10 / 100 / math.sqrt(3)
        variance += sum(
            part**2
            for part in (
                sheet.torque_class_percent / 100 * sheet.full_scale_Nm / math.sqrt(3) * omega,
                sheet.span_percent_per_10K * kelvins * power,
                sheet.zero_percent_per_10K * kelvins * sheet.full_scale_Nm * omega,
                sheet.zero_Nm * omega,
                sheet.torque_step_Nm / math.sqrt(12) * omega,
                sheet.speed_gain * power,
                sheet.speed_step_rpm / math.sqrt(12) * RAD_PER_S * torque,
            )
        )
    return math.sqrt(variance)


@pytest.mark.parametrize("ratio", [1.0, 2.5])
def test_level_budget_is_the_quadrature_of_its_sources(ratio):
    level, bench = readings(280.0, 274.0, ratio=ratio), PowerBench(INPUT, OUTPUT)
    budget = level_budget(level, bench)
    assert budget.value == pytest.approx(6.0, abs=1e-9)
    assert u(budget) == pytest.approx(closed_form(level, bench), rel=1e-6)


def test_few_degrees_of_freedom_of_a_class_reach_the_loss():
    sheet = replace(CLASS_ONLY, class_dof=10)
    budget = level_budget(readings(280.0, 280.0), PowerBench(sheet, sheet))
    assert budget.degrees_of_freedom == pytest.approx(20, rel=1e-6)  # two equal terms of 10


GAINS = PowerBench(replace(CLASS_ONLY, speed_gain=1e-4), CLASS_ONLY)
ZEROS = PowerBench(Transducer(50.0, 0.0, zero_Nm=0.01), Transducer(50.0, 0.0, zero_Nm=0.01))
STEPS = PowerBench(Transducer(50.0, 0.0, torque_step_Nm=0.1), Transducer(50.0, 0.0, torque_step_Nm=0.1))


def test_exchanged_transducers_leave_half_the_loss_to_each_gain():
    level = readings(280.0, 275.0)
    budget = swapped_budget(level, level, PowerBench(CLASS_ONLY, CLASS_ONLY))
    assert budget.value == pytest.approx(5.0, abs=1e-9)
    assert u(budget) == pytest.approx(math.hypot(0.0025, 0.0025), rel=1e-4)


def test_exchanged_transducers_cancel_zeros_at_one_speed_only():
    level, geared = readings(280.0, 275.0), readings(280.0, 275.0, ratio=2.0)
    assert u(swapped_budget(level, level, ZEROS)) == pytest.approx(0.0, abs=1e-9)
    omega = RAD_PER_S * 95.0
    # Each zero acts by half the difference of the two speeds.
    assert u(swapped_budget(geared, geared, ZEROS)) == pytest.approx(0.01 * omega / 2 * math.sqrt(2), rel=1e-6)


def test_a_difference_of_losses_leaves_the_change_of_power_to_each_gain():
    """Input power kept, loss 1.5 W less: the gain of the input is of no account, that of the output acts by 1.5 W."""
    before, after = readings(280.0, 273.0), readings(280.0, 274.5)
    budget = difference_budget(before, after, GAINS)
    assert budget.value == pytest.approx(1.5, abs=1e-9)
    assert u(budget) == pytest.approx(0.0015, rel=1e-4)
    moved = difference_budget(before, readings(282.0, 276.5), GAINS)  # 2 W more in, 3.5 W more out
    assert u(moved) == pytest.approx(math.hypot(0.002, 0.0002, 0.0035), rel=1e-3)


def test_a_difference_of_losses_cancels_zeros_at_kept_speeds():
    before, after = readings(280.0, 273.0), readings(280.0, 274.5)
    assert u(level_budget(before, ZEROS)) == pytest.approx(0.01 * RAD_PER_S * 95 * math.sqrt(2), rel=1e-6)
    assert u(difference_budget(before, after, ZEROS)) == pytest.approx(0.0, abs=1e-9)
    faster = readings(280.0, 274.5, speed=96.0)
    assert u(difference_budget(before, faster, ZEROS)) == pytest.approx(0.01 * RAD_PER_S * math.sqrt(2), rel=1e-6)


def test_display_steps_do_not_cancel():
    level = readings(280.0, 275.0)
    one = 0.1 / math.sqrt(12) * RAD_PER_S * 95 * math.sqrt(2)
    assert u(level_budget(level, STEPS)) == pytest.approx(one, rel=1e-6)
    assert u(difference_budget(level, level, STEPS)) == pytest.approx(one * math.sqrt(2), rel=1e-6)
    assert u(swapped_budget(level, level, STEPS)) == pytest.approx(one / math.sqrt(2), rel=1e-6)


def test_torque_beyond_full_scale_is_refused():
    with pytest.raises(ValueError, match="torque: found .* N m; accepted: finite, at most the full scale of 10 N m"):
        level_budget(readings(280.0, 275.0), PowerBench(Transducer(10.0, 0.1), CLASS_ONLY))
    # Exchanged, the small transducer of the fast shaft would have to bear the torque of the slow one.
    geared, small = readings(280.0, 275.0, ratio=4.0), Transducer(10.0, 0.1)
    level_budget(geared, PowerBench(CLASS_ONLY, small))
    with pytest.raises(ValueError, match="at most the full scale of 10 N m"):
        swapped_budget(geared, readings(280.0, 275.0, ratio=4.0), PowerBench(CLASS_ONLY, small))


RUNS = {
    "torque_in_Nm": np.array([28.1, 28.3, 27.9, 28.0, 28.4]),
    "speed_in_rpm": np.array([95.0, 95.4, 94.8, 95.1, 95.0]),
    "torque_out_Nm": np.array([13.6, 13.8, 13.65, 13.7, 13.9]),
    "speed_out_rpm": np.array([190.0, 190.8, 189.6, 190.2, 190.0]),
}
CONTRASTS = np.array(
    [[1, 0, 0, 0, 0], [0.2] * 5, [0.5, 0.5, 0, -0.5, -0.5], [1, -1, 0, 0, 0], [0.5, -1, 0.5, 0, 0], [0, 1, 2, -3, 0.5]]
)


def drawn_errors(bench, rng, draws):
    """Losses read less the true ones, with every error of the transducers drawn by its data sheet."""
    common = rng.normal(size=draws)
    powers = {}
    for shaft, sheet in (("in", bench.input), ("out", bench.output)):
        torque, speed = RUNS[f"torque_{shaft}_Nm"], RUNS[f"speed_{shaft}_rpm"]
        size = sheet.torque_class_percent / 100 * sheet.full_scale_Nm / torque.mean() / math.sqrt(3)
        rho = bench.shared_calibration
        gain = size * (math.sqrt(rho) * common + math.sqrt(1 - rho) * rng.normal(size=draws))
        kelvins = sheet.temperature_K / 10 / 100
        gain = gain + rng.uniform(-1, 1, draws) * sheet.span_percent_per_10K * kelvins
        zero = rng.normal(0, sheet.zero_Nm, draws)
        zero = zero + rng.uniform(-1, 1, draws) * sheet.zero_percent_per_10K * kelvins * sheet.full_scale_Nm
        read = torque * (1 + gain[:, None]) + zero[:, None]
        powers[shaft] = (read, speed * (1 + rng.normal(0, sheet.speed_gain, draws)[:, None]))
    return power_loss_W(*powers["in"], *powers["out"]) - power_loss_W(*RUNS.values())


@pytest.mark.parametrize("shared", [0.0, 0.6, 1.0])
def test_variance_of_any_contrast_is_the_sum_over_patterns(shared):
    bench = PowerBench(INPUT, OUTPUT, shared)
    draws = 40_000
    drawn = drawn_errors(bench, np.random.default_rng(7), draws) @ CONTRASTS.T
    patterns = error_patterns(**RUNS, bench=bench)
    for weights, found in zip(CONTRASTS, drawn.T, strict=True):
        expected = sum(pattern.term(weights).standard_uncertainty ** 2 for pattern in patterns.values())
        assert np.var(found) == pytest.approx(expected, rel=5 * math.sqrt(2 / draws) + 0.002)


@pytest.mark.parametrize("shared", [0.0, 0.6, 1.0])
@pytest.mark.parametrize(("runs", "weights"), [((1,), (1.0,)), ((0, 3), (1.0, -1.0))], ids=["level", "difference"])
def test_patterns_agree_with_the_budgets(shared, runs, weights):
    """The same bench without display steps, by budget and by patterns."""
    bench = PowerBench(*(replace(s, torque_step_Nm=0.0, speed_step_rpm=0.0) for s in (INPUT, OUTPUT)), shared)
    chosen = {name: column[list(runs)] for name, column in RUNS.items()}
    levels = [ShaftReadings(**{name: float(column[i]) for name, column in RUNS.items()}) for i in runs]
    budget = level_budget(*levels, bench) if len(runs) == 1 else difference_budget(*levels, bench)
    terms = [pattern.term(weights) for pattern in error_patterns(**chosen, bench=bench).values()]
    assert math.hypot(*(term.standard_uncertainty for term in terms)) == pytest.approx(u(budget), rel=1e-5)


def test_patterns_by_name():
    names = error_patterns(**RUNS, bench=PowerBench(INPUT, OUTPUT, 0.5)).keys()
    own = {f"{name} {shaft}" for name in ("torque gain", "temperature span", "torque zero", "temperature zero", "speed gain") for shaft in ("in", "out")}  # fmt: skip
    assert set(names) == own | {"torque gain common"}
    assert set(error_patterns(**RUNS, bench=PowerBench(INPUT, OUTPUT))) == own
    whole = error_patterns(**RUNS, bench=PowerBench(CLASS_ONLY, CLASS_ONLY, 1.0))
    assert set(whole) == {"torque gain common"}
    assert whole["torque gain common"].values == pytest.approx(power_loss_W(*RUNS.values()) * 0.001)
    one_exact = error_patterns(**RUNS, bench=PowerBench(CLASS_ONLY, Transducer(50.0, 0.0), 1.0))
    assert set(one_exact) == {"torque gain in"}


def test_degrees_of_freedom_of_patterns():
    bench = PowerBench(replace(INPUT, class_dof=8), replace(OUTPUT, class_dof=20), 0.5)
    dof = {name: p.degrees_of_freedom for name, p in error_patterns(**RUNS, bench=bench).items()}
    assert (dof["torque gain common"], dof["torque gain in"], dof["torque gain out"]) == (8, 8, 20)
    assert math.isinf(dof["torque zero in"])


@pytest.mark.parametrize(
    ("name", "column", "message"),
    [
        ("speed_in_rpm", [95.0], r"torques and speeds: found \[5, 1, 5, 5\] runs; accepted: one mean a run in each"),
        ("torque_out_Nm", [13.0, math.nan, 13.0, 13.0, 13.0], r"torque_out_Nm: found nan in run 1 \(counted from 0\)"),
        ("torque_in_Nm", 28.0, r"torque_in_Nm: found an array of shape \(\); accepted: one mean a run"),
        ("torque_in_Nm", [28.0, 28.0, 28.0, 28.0, 51.0], "torque: found 51 N m; accepted: finite, at most the full scale"),
    ],
)  # fmt: skip
def test_bad_columns(name, column, message):
    with pytest.raises(ValueError, match=message):
        error_patterns(**(RUNS | {name: column}), bench=PowerBench(INPUT, OUTPUT))
