import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from lossstats.budgets.source import Source
from lossstats.monte_carlo.monte_carlo import propagate_monte_carlo

INPUTS = {"drive": Source.normal(0.28, value=280.0, unit="W"), "driven": Source.normal(0.275, value=275.0, unit="W")}


def loss(drive, driven):
    return drive - driven


def found(model=loss, inputs=INPUTS, **options):
    return propagate_monte_carlo(model, inputs, **{"rng": 1, "draws": 50_000, **options})


def test_difference_of_two_powers():
    # Closed form: u = sqrt(0.28^2 + 0.275^2) = 0.39246 W on a loss of 5 W, normal.
    result = found(draws=400_000, unit="W")
    u = math.hypot(0.28, 0.275)
    assert result.value == pytest.approx(5.0, abs=4 * u / math.sqrt(400_000))
    assert result.standard_uncertainty == pytest.approx(u, rel=4 / math.sqrt(800_000))
    assert result.symmetric() == pytest.approx((5 - 1.96 * u, 5 + 1.96 * u), abs=0.01)
    low, high = result.shortest(0.5)
    assert high - low == pytest.approx(2 * 0.6745 * u, rel=0.02)
    assert result.supports_linear is not False


@pytest.mark.parametrize("seed", range(8))
def test_adaptive_draws_judge_the_linear_interval(seed):
    # Exactly linear and normal: the linear interval is right, and default draws go on until they can say so.
    result = found(draws="adaptive", rng=seed)
    assert result.supports_linear is True
    assert result.validation.digits == 2
    assert 100_000 <= result.draws <= 5_000_000


def test_correlation_cancels():
    # Closed form: with r the variance is u1^2 + u2^2 - 2 r u1 u2.
    result = found(correlation={("drive", "driven"): 0.9})
    expected = math.sqrt(0.28**2 + 0.275**2 - 2 * 0.9 * 0.28 * 0.275)
    assert result.standard_uncertainty == pytest.approx(expected, rel=4 / math.sqrt(100_000))


def test_same_seed_same_result_whatever_the_workers():
    assert found() == found(workers=3)
    assert found(draws="adaptive") == found(draws="adaptive", workers=2)
    assert found() != found(rng=2)
    assert found(rng=np.random.default_rng(3)) == found(rng=np.random.default_rng(3))
    generator = np.random.default_rng(3)
    assert found(rng=generator) != found(rng=generator)


def test_seed_is_kept():
    assert found().seed == 1
    assert found(rng=np.int64(5)).seed == 5
    assert found(rng=np.random.default_rng(1)).seed is None


def test_looking_at_it_changes_nothing():
    result = found()
    before = (result.symmetric(0.8), result.shortest(0.8), result.symmetric())
    assert str(result)
    assert result.to_dict()
    assert (result.symmetric(0.8), result.shortest(0.8), result.symmetric()) == before


def test_several_outputs():
    # Closed form: x + y and x - y of independent inputs have covariance u_x^2 - u_y^2.
    inputs = {"x": Source.normal(0.2, value=3.0), "y": Source.normal(0.1, value=1.0)}
    both = found(lambda x, y: {"sum": x + y, "gap": x - y, "fixed": 7.0}, inputs, draws=200_000, unit=("W", "W", ""))
    assert list(both) == ["sum", "gap", "fixed"] and len(both) == 3
    assert both["sum"].value == pytest.approx(4.0, abs=0.002)
    assert both["sum"].unit == "W"
    assert both.covariance[0][1] == pytest.approx(0.04 - 0.01, abs=4 * 0.05 / math.sqrt(200_000))
    assert both.correlation[0][1] == pytest.approx(0.6, abs=0.01)
    assert both.correlation[0][2] == 0 and both.correlation[2][2] == 1
    assert both["fixed"].standard_uncertainty == 0
    assert both["fixed"].supports_linear is None
    assert both["fixed"].validation.words == "All draws are equal: there is no interval."
    with pytest.raises(KeyError, match="output: found 'total'; accepted: sum, gap, fixed"):
        both["total"]
    text = str(both)
    assert "r(sum, gap)" in text and "0.60" in text and "gap, linear interval" in text
    assert "<table>" in both._repr_html_()
    json.dumps(both.to_dict())


def test_covariance_against_numpy():
    inputs = {"x": Source.normal(0.2, value=1e6), "y": Source.rectangular(1.0)}
    both = found(lambda x, y: (x + y, x * y), inputs)
    from lossstats.budgets.model_function import ModelFunction
    from lossstats.monte_carlo.model_draws import ModelDraws
    from lossstats.monte_carlo.random_draws import InputDraws

    function = ModelFunction(lambda x, y: (x + y, x * y), {"x": 1e6, "y": 0.0})
    values = ModelDraws(function, InputDraws(inputs), 1).fixed(50_000).values
    assert np.array(both.covariance) == pytest.approx(np.cov(values), rel=1e-10)
    assert [one.value for one in both.values()] == pytest.approx(values.mean(axis=1), rel=1e-13)


def test_shown():
    result = found(unit="W")
    text = str(result)
    assert "95 % interval, symmetric" in text and " W\n" in text
    assert "50 000, seed 1" in text
    words = {True: "The linear interval may be used", None: "These draws cannot tell"}  # two normals: never refused
    assert words[result.supports_linear] in text
    assert "note" in text and "fewer than the 200000 that JCGM 101, 7.2.2 advises" in text
    assert "<table>" in result._repr_html_()
    kept = result.to_dict()
    assert kept["symmetric"] == list(result.symmetric()) and kept["seed"] == 1
    assert "_draws" not in json.dumps(kept) and "array" not in repr(result)


def test_no_note_where_draws_are_enough():
    assert found(draws=200_000).notes == ()
    assert found(draws="adaptive").notes == ()


def test_model_of_scalars_is_noted():
    result = found(lambda drive, driven: math.fsum((drive, -driven)), draws=2000)
    assert any("does not take arrays" in note for note in result.notes)


def test_notes_of_the_sources():
    result = found(lambda x: x, {"x": Source.between(1.0, 2.0, value=1.1)})
    assert any(note.startswith("x: the estimate 1.1 is not in the middle") for note in result.notes)
    assert result.value == pytest.approx(1.5, abs=0.01)
    assert result.supports_linear is False


def test_adaptive_draws_that_do_not_settle_are_noted(monkeypatch):
    from lossstats.monte_carlo import model_draws, monte_carlo

    monkeypatch.setattr(model_draws, "MOST_DRAWS", 100_000)
    monkeypatch.setattr(monte_carlo, "MOST_DRAWS", 100_000)
    result = found(draws="adaptive", digits=4)
    assert result.draws == 100_000
    assert any(
        note.startswith("100000 draws, the most that are made adaptively, did not bring") for note in result.notes
    )


def test_an_input_without_standard_deviation():
    # t with two degrees of freedom: the interval exists (closed form), the standard uncertainty does not.
    from scipy import stats

    readings = [1.0, 2.0, 4.0]
    result = found(lambda x: x, {"x": Source.readings(readings)}, draws="adaptive", unit="W")
    law = stats.t(2, np.mean(readings), np.std(readings, ddof=1) / math.sqrt(3))
    errors = (result.validation.error_low, result.validation.error_high)
    for end, exact, error in zip(result.symmetric(), law.interval(0.95), errors, strict=True):
        assert abs(end - exact) < 4 * error
    assert (result.has_spread, result.supports_linear, result.draws) == (False, None, 1_000_000)
    assert "x without a finite standard deviation leaves no standard uncertainty" in result.validation.words
    text = " ".join(str(result).split())
    assert "in these draws), see the notes" in text
    assert "x: a t distribution with 2 degrees of freedom has no finite standard deviation" in text
    assert "1000000 draws were made: the adaptive procedure" in text
    both = found(lambda x: (x, -x), {"x": Source.readings(readings)})
    assert "u none (" in str(both)


def test_no_linear_interval():
    result = found(lambda x: np.where(x < 2.0, x, x + 1.0), {"x": Source.rectangular(1.0, value=2.0)})
    assert result.supports_linear is not True
    kink = found(lambda x: np.sqrt(np.abs(x)), {"x": Source.rectangular(1.0)})
    assert kink.supports_linear is not True


def test_simultaneous_readings():
    # JCGM 100, H.2 (from memory, recomputed): five readings of V, I and phi taken together. Two of them, so that the
    # multivariate t has three degrees of freedom; its median is the ratio of the means.
    inputs = {
        "V": Source.readings((5.007, 4.994, 5.005, 4.990, 4.999)),
        "I": Source.readings((19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3)),
    }
    result = found(lambda V, I: V / I, inputs, simultaneous=[("V", "I")], draws=200_000)  # noqa: E741
    assert result.value == pytest.approx(254.26, abs=0.01)
    # The scale is u of linear propagation, 0.236 ohm with the coefficient -0.36, times sqrt(4 / 3): S / (n (n - N)).
    from scipy import stats

    half = stats.t(3).ppf(0.975) * 0.23634 * math.sqrt(4 / 3)
    assert result.symmetric() == pytest.approx((254.26 - half, 254.26 + half), abs=0.03)


@pytest.mark.parametrize(
    ("options", "text"),
    [
        ({"draws": 10}, 'draws: found 10; accepted: "adaptive", or a whole number from 1000'),
        ({"draws": 5000, "confidence": 0.999}, "draws: found 5000; accepted: .* from 20000 .20 draws outside"),
        ({"draws": "many"}, "draws: found 'many'"),
        ({"draws": True}, "draws: found True"),
        ({"draws": 1e6}, "draws: found 1000000.0; accepted: .* a whole number"),
        ({"confidence": 1.0}, "confidence: found 1.0; accepted: a number between 0 and 1"),
        ({"confidence": 0.99999, "draws": "adaptive"}, "confidence: found 0.99999; accepted: at most 0.9999"),
        ({"digits": 0}, "digits: found 0; accepted: a whole number from 1 to 4"),
        ({"workers": 0}, "workers: found 0; accepted: a whole number of threads"),
        ({"progress": 3}, "progress: found 3; accepted: a callable"),
        ({"rng": None}, "rng: found None; accepted: a Generator, or a whole number of at least 0"),
        ({"rng": -1}, "rng: found -1"),
        ({"unit": ("W", "V")}, r"unit: found \('W', 'V'\); accepted: one for each output of the model, result"),
        ({"units": {"drive": "kW"}}, r"inputs\['drive'\].unit: found 'W'; accepted: 'kW'"),
        ({"inputs": {"drive": 3.0}}, r"inputs\['drive'\]: found 3.0; accepted: a Source"),
        ({"inputs": {"drive": INPUTS["drive"]}}, "inputs: found none for driven"),
        ({"correlation": {("drive", "belt"): 0.1}}, "found 'belt'; accepted: one of the inputs drive, driven"),
        ({"correlation": {("drive", "driven"): 1.5}}, "found 1.5; accepted: a coefficient from -1 to 1"),
        ({"model": lambda drive, driven: np.sqrt(driven - 275) + drive}, "found no finite number for .* draws; one such draw"),
    ],
    ids=lambda value: str(value)[:40] if isinstance(value, str) else "",
)  # fmt: skip
def test_bad_input(options, text):
    with pytest.raises(ValueError, match=text):
        found(**options)


@pytest.mark.parametrize("draws", ["10_000_000", "'adaptive', digits=4"])
def test_memory_of_ten_million_draws(draws):
    """10^7 draws of one output, intervals included, within 300 MB for the whole process."""
    status = Path("/proc/self/status")
    if not status.exists():
        pytest.skip("only Linux tells the peak of a process by itself; getrusage counts that of its parent as well")
    program = (
        "import pathlib\n"
        "from lossstats.monte_carlo.monte_carlo import propagate_monte_carlo\n"
        "from lossstats.budgets.source import Source\n"
        f"r = propagate_monte_carlo(lambda x: x, {{'x': Source.rectangular(1.0)}}, rng=1, draws={draws})\n"
        "assert r.draws == 10_000_000 and r.shortest()\n"
        "lines = pathlib.Path('/proc/self/status').read_text().splitlines()\n"
        "print(next(int(line.split()[1]) for line in lines if line.startswith('VmHWM')) / 1024)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) < 300
