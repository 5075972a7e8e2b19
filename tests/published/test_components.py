"""Components of variance and the analysis of variance against published values; the source stands beside each."""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from lossstats.components.anova import one_way_anova
from lossstats.components.components import variance_components
from lossstats.components.nested_likelihood import likelihood_components

DATA = Path(__file__).parent / "data"
# Devore (2000), travel time of a pulse along six rails, ns; data set nlme/Rail; published numbers.
RAIL = [[55, 53, 54], [26, 37, 32], [78, 91, 85], [92, 100, 96], [49, 51, 50], [80, 85, 83]]


def columns(name, **renamed):
    table = pd.read_csv(DATA / name, comment="#")
    return table.rename(columns={old: new for new, old in renamed.items()})


def rail():
    return {"rail": np.repeat(np.arange(6), 3), "value": np.ravel(RAIL)}


def printed(value, places):
    """Half a unit in the last printed digit."""
    return pytest.approx(value, abs=0.5001 * 10.0**-places)


def test_pastes():
    """Davies and Goldsmith (1972); estimates of lme4 (REML criterion 246.9907, batch 1.657, cask 8.434, rest 0.678).

    The design is balanced, so the unbiased components are the same.
    """
    table = columns("pastes.csv", value="strength")
    found = variance_components(table, ["batch", "cask"])
    assert found.mean == printed(60.0533, 4) and found.standard_uncertainty == pytest.approx(0.6769, abs=1e-4)
    assert list(found.variance.values()) == [printed(1.657, 3), printed(8.434, 3), printed(0.678, 3)]
    likely = likelihood_components(table, ["batch", "cask"])
    assert list(likely.sd.values()) == [printed(1.2874, 4), printed(2.9041, 4), printed(0.8234, 4)]
    assert -2 * likely.log_likelihood == printed(246.9907, 4)
    assert likely.standard_errors["mean"] == pytest.approx(0.6769, abs=1e-4)


def test_rail():
    """Pinheiro and Bates (2000), chapter 1: 24.80547, 4.020779, log-likelihood -61.0885, mean 66.5 (10.17104).

    Analysis of variance (R output, not printed there): 1862.1, 16.17, F 115.18.
    """
    found = variance_components(rail(), ["rail"])
    assert found.sd == {"rail": printed(24.80547, 5), "residual": printed(4.020779, 6)}
    assert (found.mean, found.standard_uncertainty) == (printed(66.5, 1), printed(10.17104, 5))
    likely = likelihood_components(rail(), ["rail"])
    assert likely.sd == {"rail": printed(24.80547, 4), "residual": printed(4.020779, 5)}
    assert likely.log_likelihood == printed(-61.0885, 4)
    analysis = one_way_anova([np.array(r, dtype=float) for r in RAIL])
    assert analysis.mean_squares == (printed(1862.1, 1), printed(16.17, 2))
    assert analysis.statistic == printed(115.18, 2) and analysis.p_value == pytest.approx(1.033e-9, rel=5e-4)


def test_machines():
    """Pinheiro and Bates (2000), 1.3: workers alone 5.146552, 3.161647, log-likelihood -143.4391; coefficients.

    With machines within workers (R output, not printed there): 4.78105, 3.729532, 0.9615771, -107.8438.
    """
    table = columns("machines.csv", value="score")
    workers = likelihood_components(table, ["Worker"], fixed="Machine")
    assert workers.sd == {"Worker": printed(5.146552, 4), "residual": printed(3.161647, 5)}
    assert workers.log_likelihood == printed(-143.4391, 4)
    a, b, c = workers.coefficients.values()
    assert (a, b - a, c - a) == (printed(52.3556, 4), printed(7.9667, 4), printed(13.9167, 4))
    both = likelihood_components(table, ["Worker", "Machine"], fixed="Machine")
    assert both.sd == {
        "Worker": printed(4.78105, 4), "Machine": printed(3.729532, 4), "residual": printed(0.9615771, 5),
    }  # fmt: skip
    assert both.log_likelihood == printed(-107.8438, 4)


# Davies and Goldsmith (1972), yield of dyestuff in g of six batches; Box and Tiao (1973), simulated, no batch effect
# visible; data sets Dyestuff and Dyestuff2 of lme4 (from memory, recomputed).
DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445],
]  # fmt: skip
DYESTUFF_2 = [
    [7.298, 3.846, 2.434, 9.566, 7.990], [5.220, 6.556, 0.608, 11.788, -0.892], [0.110, 10.386, 13.434, 5.510, 8.166],
    [2.212, 4.852, 7.092, 9.288, 4.980], [0.282, 9.014, 4.458, 9.446, 7.198], [1.722, 4.782, 8.106, 0.758, 3.758],
]  # fmt: skip


def batches(values):
    return {"batch": np.repeat(np.arange(6), 5), "value": np.ravel(values)}


def test_dyestuff():
    """Estimates of lme4: criterion 319.6543, batch 1764, rest 2451, mean 1527.5 (19.38)."""
    likely = likelihood_components(batches(DYESTUFF), ["batch"])
    assert -2 * likely.log_likelihood == printed(319.6543, 4)
    assert likely.sd["batch"] ** 2 == printed(1764, 0) and likely.sd["residual"] ** 2 == printed(2451, 0)
    assert likely.standard_errors["mean"] == printed(19.38, 2) and likely.coefficients["mean"] == printed(1527.5, 1)
    assert variance_components(batches(DYESTUFF), ["batch"]).variance == {
        "batch": printed(1764, 0),
        "residual": printed(2451, 0),
    }


def test_dyestuff_at_the_boundary():
    """Estimates of lme4: criterion 161.8283, batch 0, rest 13.81 (3.716), mean 5.6656 (0.6784)."""
    likely = likelihood_components(batches(DYESTUFF_2), ["batch"])
    assert likely.at_boundary == ("batch",) and likely.sd == {"batch": 0, "residual": printed(3.716, 3)}
    assert -2 * likely.log_likelihood == printed(161.8283, 4)
    assert likely.coefficients["mean"] == printed(5.6656, 4) and likely.standard_errors["mean"] == printed(0.6784, 4)
    found = variance_components(batches(DYESTUFF_2), ["batch"])
    assert found.variance["batch"] < 0 and found.statement("batch").startswith("not distinguishable from 0, at most")


def values_with(mean, sd, n):
    """Values with exactly this mean and standard deviation."""
    pattern = np.arange(n) - (n - 1) / 2
    return mean + sd * pattern / pattern.std(ddof=1)


def test_voltage_standard_between_days():
    """JCGM 100, H.5.2.3 and table H.9 (from memory, recomputed): s_a 128, s_b 85, s_B 43, u(V) 18 uV, F 2.25.

    F is 2.26 from the rounded table. Had there been no day effect, 13 uV with 49 degrees of freedom.
    """
    mean = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]  # uV above 10 V
    s = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]
    days = [10 + 1e-6 * values_with(m, sd, 5) for m, sd in zip(mean, s, strict=True)]
    analysis = one_way_anova(days)
    assert np.sqrt(analysis.mean_squares) * 1e6 == pytest.approx([128, 85], abs=0.5)
    assert analysis.degrees_of_freedom == (9, 40) and analysis.statistic == pytest.approx(2.25, abs=0.02)
    found = variance_components({"day": np.repeat(np.arange(10), 5), "value": np.ravel(days)}, ["day"], unit="V")
    assert found.mean == pytest.approx(10.000097, abs=5e-7)
    assert found.sd["day"] * 1e6 == pytest.approx(43, abs=0.5) and found.sd["residual"] * 1e6 == pytest.approx(
        85, abs=0.5
    )
    assert found.mean_squares["day"] ** 0.5 * 1e6 == pytest.approx(57, abs=0.5)
    assert found.standard_uncertainty * 1e6 == pytest.approx(18, abs=0.5) and found.degrees_of_freedom["day"] == 9
    assert np.std(days, ddof=1) / math.sqrt(50) * 1e6 == pytest.approx(13, abs=0.5)


def test_handbook_pooled_level_3():
    """NIST/SEMATECH e-Handbook, 2.4.4.3: five wafers, two runs each; pooled 0.0197 with 5 degrees of freedom."""
    s3 = [0.0223, 0.0027, 0.0289, 0.0133, 0.0205]
    values = [values_with(100.0 + k, s, 2) for k, s in enumerate(s3)]
    found = variance_components({"wafer": np.repeat(np.arange(5), 2), "value": np.ravel(values)}, ["wafer"])
    assert found.degrees_of_freedom["residual"] == 5 and found.sd["residual"] == printed(0.0197, 4)


def test_handbook_pooled_level_1():
    """NIST/SEMATECH e-Handbook, 2.4.4.4: sums of squares of five wafers, 60 degrees of freedom each; s1 0.1029."""
    squares = [0.48115, 0.69209, 0.48483, 1.21752, 0.30076]
    values = [values_with(100.0 + k, math.sqrt(ss / 60), 61) for k, ss in enumerate(squares)]
    found = variance_components({"wafer": np.repeat(np.arange(5), 61), "value": np.ravel(values)}, ["wafer"])
    assert found.degrees_of_freedom["residual"] == 300 and found.sd["residual"] == pytest.approx(0.1029, abs=5e-5)


def test_handbook_nested_formulae():
    """NIST/SEMATECH e-Handbook, 2.4.4: s_days, s_runs and s_R from s1, s2, s3 of J repeats, K days, L runs."""
    L, K, J = 4, 3, 5
    y = np.random.default_rng(8).normal(0, 0.05, (L, K, J))
    y += np.random.default_rng(9).normal(0, 0.2, (L, K, 1)) + np.random.default_rng(10).normal(0, 0.4, (L, 1, 1))
    s1 = math.sqrt(y.var(axis=2, ddof=1).mean())
    s2 = math.sqrt(y.mean(axis=2).var(axis=1, ddof=1).mean())
    s3 = y.mean(axis=(1, 2)).std(ddof=1)
    run, day, _ = np.indices(y.shape)
    found = variance_components({"run": run.ravel(), "day": day.ravel(), "value": y.ravel()}, ["run", "day"])
    assert found.sd["day"] == pytest.approx(math.sqrt(s2**2 - s1**2 / J))
    assert found.sd["run"] == pytest.approx(math.sqrt(s3**2 - s2**2 / K))
    assert found.total_sd == pytest.approx(math.sqrt(s3**2 + (K - 1) / K * s2**2 + (J - 1) / J * s1**2))


# NIST StRD, analysis of variance: certified F. Binary64 holds the decimals only to the digits asked here: exact
# arithmetic on the numbers as read agrees with the certified value to 15, 10.4 to 10.2 and 4.4 to 4.2 digits.
SMLS = {
    "SmLs01": (1, 21, 21.0, 13),
    "SmLs02": (1, 201, 201.0, 13),
    "SmLs03": (1, 2001, 2001.0, 13),
    "SmLs04": (1_000_000, 21, 21.0, 10.1),
    "SmLs05": (1_000_000, 201, 201.0, 9.9),
    "SmLs06": (1_000_000, 2001, 2001.0, 9.9),
    "SmLs07": (1_000_000_000_000, 21, 21.0, 4),
    "SmLs08": (1_000_000_000_000, 201, 201.0, 4),
    "SmLs09": (1_000_000_000_000, 2001, 2001.0, 4),
}
CENTRES = (4, 3, 5, 3, 5, 3, 5, 3, 5)  # first value of each treatment, tenths above the leading part


def simon_lesage(leading, n):
    """The data of SmLs01 to SmLs09 by their rule: the centre, then a tenth below and above it in turn."""
    steps = [0, *([-1, 1] * (n // 2))]
    return [[f"{leading}.{centre + step}" for step in steps] for centre in CENTRES]


def digits(found, certified):
    """Number of matching decimal digits (log relative error), 15 at most."""
    return 15.0 if found == certified else min(15.0, -math.log10(abs(found - certified) / abs(certified)))


@pytest.mark.parametrize("name", SMLS)
def test_simon_lesage(name):
    leading, n, certified, asked = SMLS[name]
    found = one_way_anova([np.array(group, dtype=float) for group in simon_lesage(leading, n)])
    assert digits(found.statistic, certified) >= asked
    assert found.degrees_of_freedom == (8, 9 * (n - 1))
    assert digits(found.residual_sd, 0.1) >= asked


def strd_file(name):
    """Groups as text and the certified F, from the original file that scipy carries among its tests."""
    spec = importlib.util.find_spec("scipy")
    path = Path(spec.submodule_search_locations[0]) / "stats" / "tests" / "data" / "nist_anova" / f"{name}.dat"
    if not path.exists():
        pytest.skip("this scipy was installed without its tests")
    lines = path.read_text(encoding="utf-8").splitlines()
    certified = next(float(line.split()[-1]) for line in lines if line.startswith("Between Treatment"))
    groups = {}
    for treatment, value in (line.split() for line in lines[60:] if line.strip()):
        groups.setdefault(treatment, []).append(value)
    return list(groups.values()), certified


@pytest.mark.parametrize("name", SMLS)
def test_the_rule_gives_the_original_files(name):
    leading, n, certified, _ = SMLS[name]
    assert strd_file(name) == (simon_lesage(leading, n), certified)


@pytest.mark.parametrize(
    ("name", "certified", "residual_sd", "asked"),
    [("AtmWtAg", 15.946733567793, 1.5104831444641e-5, 9.9), ("SiRstv", 1.18046237440255, 0.104076068334656, 12.8)],
)
def test_measured_data_sets(name, certified, residual_sd, asked):
    """NIST StRD AtmWtAg and SiRstv; the components agree with the analysis of variance to the same digits."""
    rows = np.genfromtxt(DATA / f"nist_{name}.csv", delimiter=",", names=True, skip_header=1)
    groups = [rows["value"][rows["group"] == g] for g in np.unique(rows["group"])]
    found = one_way_anova(groups)
    assert digits(found.statistic, certified) >= asked and digits(found.residual_sd, residual_sd) >= asked
    components = variance_components({"group": rows["group"], "value": rows["value"]}, ["group"])
    squares = components.mean_squares
    assert digits(squares["group"] * len(groups[0]) / squares["residual"], certified) >= asked - 0.5
