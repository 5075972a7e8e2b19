"""Drift correction: exact where the drift is straight, covariance against simulation, the check of fit."""

import math

import numpy as np
import pytest
from scipy import stats

from lossstats.comparison.contrast import paired_contrast
from lossstats.corrections.drift import correct_drift

ROLES = ["zero", "reference", "test", "test", "reference", "test", "test", "reference", "zero"]
TIMES = np.arange(9.0) * 1200
DAY = ["2025-03-03"] * 9


def correct(levels, roles=ROLES, times=TIMES, stretches=None, **options):
    u = np.full(len(roles), 0.01)
    return correct_drift(levels, u, times, stretches or ["2025-03-03"] * len(roles), roles, **options)


def test_straight_drift_and_zero_are_removed_exactly():
    truth = np.array([0.0, 6.0, 7.0, 6.5, 6.0, 7.2, 6.4, 6.0, 0.0])
    drift = 0.2 * TIMES / TIMES[-1]
    zero = 0.05
    load = np.array([r != "zero" for r in ROLES])
    c = correct(truth + zero + drift * load)
    tests = [i for i, r in enumerate(ROLES) if r == "test"]
    # Hung on the mean of the references: their mean drift stays on every level alike.
    origin = np.mean([drift[i] for i, r in enumerate(ROLES) if r == "reference"])
    assert c.levels == pytest.approx(truth[tests] + origin)
    assert np.diff(c.levels) == pytest.approx(np.diff(truth[tests]))
    assert c.corrected_by_references
    assert c.corrected_by_zeros
    assert c.applied[2] == pytest.approx(zero + drift[2] - origin)
    assert math.isnan(c.applied[0])


def test_bench_days_are_separate_stretches_hung_on_the_first():
    roles = ["reference", "test", "reference"] * 2
    times = np.r_[0, 1, 2, 24, 25, 26] * 3600.0
    days = ["2025-03-03"] * 3 + ["2025-03-04"] * 3
    level = np.array([6.0, 7.0, 6.0, 6.3, 6.8, 6.5])  # the second day reads 0.3 more, and drifts by 0.2
    c = correct(level, roles, times, days)
    assert c.levels == pytest.approx([7.0, 6.8 - 0.4])
    assert c.origin_uncertainty == pytest.approx(0.5 / math.sqrt(12))


def test_weights_leave_the_shared_covariance():
    roles = ["reference", "test", "test", "reference"]
    c = correct([6.0, 7.0, 6.5, 6.1], roles, np.arange(4.0) * 600, reference_repeatability=0.06)
    # By hand: corrected_i = y_i - (1-w_i) r0 - w_i r1 + (r0 + r1)/2
    w = np.array([1 / 3, 2 / 3])
    rows = np.c_[-(1 - w) + 0.5, -w + 0.5]
    assert c.covariance == pytest.approx(0.06**2 * rows @ rows.T)


def test_covariance_tells_the_true_spread_of_a_paired_mean():
    """Two bench days, references at the ends: simulated variance of the mean saving against scatter plus shared part."""
    rng = np.random.default_rng(11)
    n, sd_ref, sd_test = 6, 0.05, 0.05
    roles = (["reference"] + ["test"] * n + ["reference"]) * 2
    days = ["a"] * (n + 2) + ["b"] * (n + 2)
    times = np.r_[np.arange(n + 2), 100 + np.arange(n + 2)] * 1200.0
    means, scatters, shared = [], [], set()
    for _ in range(600):
        y = np.where(
            np.array(roles) == "reference", rng.normal(6, sd_ref, 2 * n + 4), rng.normal(7, sd_test, 2 * n + 4)
        )
        c = correct(y, roles, times, days, reference_repeatability=sd_ref)
        contrast = paired_contrast(n)
        means.append(contrast.value(c.levels))
        scatters.append(contrast.scatter(c.levels).standard_uncertainty ** 2)
        shared.add(round(contrast.hidden(c.covariance), 12))
    assert len(shared) == 1
    predicted = np.mean(scatters) + shared.pop() ** 2
    # 600 repeats know a variance to 2/sqrt(1200) = 6 %; without the shared part it would be a third.
    assert np.var(means) == pytest.approx(predicted, rel=0.15)
    assert np.mean(scatters) < 0.6 * np.var(means)


def test_check_of_fit_is_chi_squared_and_f():
    roles, times = ["reference", "test"] * 5 + ["reference"], np.arange(11.0) * 600
    levels = np.full(11, 6.0)
    levels[::2] += [0, 0.05, -0.02, 0.03, 0, 0.01]
    refs, t = levels[::2], times[::2]
    e = np.array([refs[k] - np.interp(t[k], [t[k - 1], t[k + 1]], [refs[k - 1], refs[k + 1]]) for k in range(1, 5)])
    rows = np.zeros((4, 6))
    for k in range(4):
        rows[k, k : k + 3] = [-0.5, 1, -0.5]
    q = e @ np.linalg.inv(rows @ rows.T * 0.02**2) @ e
    c = correct(levels, roles, times, reference_repeatability=0.02)
    assert c.check.statistic == pytest.approx(q)
    assert c.check.p_value == pytest.approx(stats.chi2.sf(q, 4))
    c = correct(levels, roles, times, reference_repeatability=0.02, reference_dof=8)
    assert c.check.p_value == pytest.approx(stats.f.sf(q / 4, 4, 8))
    assert any("not straight" in note for note in c.notes) == (c.check.p_value < 0.05)


def test_check_of_fit_false_alarms_and_power():
    """Five references: 5 % false alarms under straight drift; a bow of 0.2 W at u = 0.05 W is found in 0.89 (method note: 0.89)."""
    rng = np.random.default_rng(5)
    roles, times = ["reference", "test"] * 4 + ["reference"], np.arange(9.0) * 600
    x = times / times[-1]
    rates = {}
    for name, drift in (("straight", 0.4 * x), ("bow", 0.2 * 4 * x * (1 - x))):
        flagged = [
            correct(6 + drift + rng.normal(0, 0.05, 9), roles, times, reference_repeatability=0.05).check.p_value < 0.05
            for _ in range(600)
        ]
        rates[name] = np.mean(flagged)
    assert rates["straight"] == pytest.approx(0.05, abs=3 * math.sqrt(0.05 * 0.95 / 600))
    assert rates["bow"] > 0.80


def test_repeatability_is_estimated_where_it_is_not_stated():
    roles, times = ["reference", "test"] * 4 + ["reference"], np.arange(9.0) * 600
    rng = np.random.default_rng(2)
    estimates = [correct(6 + rng.normal(0, 0.05, 9), roles, times).reference_repeatability ** 2 for _ in range(400)]
    assert np.mean(estimates) == pytest.approx(0.05**2, rel=0.15)
    c = correct(6 + rng.normal(0, 0.05, 9), roles, times)
    assert (c.reference_dof, c.reference_source, c.check) == (3, "estimated from the reference runs", None)
    assert "estimated from the same runs" in c.why_no_check


def test_without_references_the_note_is_plain():
    c = correct([7.0, 6.5], ["test", "test"], np.array([0.0, 600.0]))
    assert c.levels == pytest.approx([7.0, 6.5])
    assert any("bench drift and treatment cannot be told apart" in note for note in c.notes)
    assert not c.covariance.any()
    ignored = correct(np.full(9, 6.0), use_references=False, use_zeros=False)
    assert not ignored.corrected_by_references
    assert any("cannot be told apart" in note for note in ignored.notes)


def test_a_day_without_references_spoils_the_correction_and_says_so():
    roles = ["reference", "test", "reference", "test"]
    c = correct([6.0, 7.0, 6.0, 6.5], roles, np.arange(4.0) * 3600, ["day 1"] * 3 + ["day 2"])
    assert not c.corrected_by_references
    assert any("fewer than 2 reference run(s) in day 2" in note for note in c.notes)


def test_runs_outside_the_references_are_named():
    roles = ["test", "reference", "test", "reference"]
    c = correct([7.0, 6.0, 6.5, 6.1], roles, np.arange(4.0) * 600)
    assert c.outside == (0,)
    assert any("1 test run(s) not between two reference runs" in note for note in c.notes)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"levels": [6.0, 7.0, 6.0]}, "found lengths"),
        ({"levels": [6.0, math.nan]}, "levels: found nan at position 2; accepted: finite numbers"),
        ({"uncertainties": [0.01, -0.01]}, "uncertainties: found -0.01 at position 2; accepted: finite numbers of at"),
        ({"factors": [1.0]}, r"factors: found lengths \[1, 2\]; accepted: all the same"),
        ({"factors": [1.0, 0.0]}, "factors: found 0 at position 2; accepted: finite numbers above 0"),
        ({"reference_repeatability": 0.0}, "reference_repeatability: found 0.0; accepted: a finite number above 0"),
        ({"reference_repeatability": -1.0}, "reference_repeatability: found -1.0; accepted"),
        ({"reference_dof": 0.0}, "reference_dof: found 0.0; accepted: a number above 0, or infinity"),
        (dict.fromkeys(("levels", "uncertainties", "time_s", "stretches", "roles"), ()), "accepted: .*one run or more"),
        ({"time_s": [0.0, 0.0]}, "time_s: found no rise at position 2"),
        ({"roles": ["test", "spare"]}, "roles: found 'spare'; accepted: 'test', 'reference', 'zero'"),
    ],
)
def test_bad_input_is_named(change, text):
    call = {"levels": [6.0, 7.0], "uncertainties": [0.01, 0.01], "time_s": [0.0, 600.0], "stretches": ["a", "a"], "roles": ["test", "test"]}  # fmt: skip
    with pytest.raises(ValueError, match=text):
        correct_drift(**{**call, **change})


def test_renderings():
    text = str(correct(np.full(9, 6.0) + 0.01 * np.arange(9), reference_repeatability=0.05))
    assert "corrected by" in text
    assert "check of fit" in text
