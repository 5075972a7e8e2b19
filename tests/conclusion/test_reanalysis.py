"""Exact intervals and percentages by logarithms, against counting by hand and scipy."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.decisions import WINDOW
from lossstats.conclusion.reanalysis import DoesNotApplyError, Reanalysis, as_row, exact_interval, log_ratio_percent
from lossstats.simulator.examples import example_trial
from lossstats.simulator.simulate import Articles, Bench, Display, Noise, Readings, lay_out, simulate_trial

READINGS = Readings(samples=40, noise=Noise(0.002), display=Display(0.001))


def trial_of(design, bench=None, **options):
    options = {"references_every": None, **options}
    plan = replace(lay_out(design, **options), articles=Articles(change_sd=0.1, mount_sd=0.05), readings=READINGS)
    return simulate_trial(replace(plan, bench=bench or Bench()), rng=5)[0]


def sides(result):
    """Unit values by group and condition."""
    keys = result.settings.comparison
    return [
        np.array([u.value for u in result.units if (u.group, u.condition) == (group, condition)])
        for group in ("treated", "control")
        for condition in (keys.before, keys.after)
    ]


def test_sign_flip_interval_by_listing_all_subsets():
    """Without errors in common it is the plain exact interval: k-th means of all subsets (Hartigan, 1969)."""
    result = analyse(trial_of("paired", articles=7))
    assert set(result.compared.difference.components) == {"scatter"}
    before, after, *_ = sides(result)
    d = before - after
    subsets = [c for r in range(1, 8) for c in itertools.combinations(d, r)]
    means = np.sort([np.mean(c) for c in subsets])
    k = int(0.025 * 2**7)
    assert exact_interval(result.compared, "lower") == pytest.approx((means[k - 1], means[-k]), abs=1e-12)
    turned = exact_interval(replace(result.compared, difference=replace(result.compared.difference, value=-d.mean())), "higher")  # fmt: skip
    assert turned == pytest.approx((-means[-k], -means[k - 1]), abs=1e-12)


def test_permutation_interval_by_shifting_until_the_test_refuses():
    result = analyse(trial_of("independent", articles=4))
    before, after, *_ = sides(result)
    ends = exact_interval(result.compared, "lower")

    def tails(shift):
        pooled = np.concatenate([before - shift, after])
        sums = np.array([sum(c) for c in itertools.combinations(pooled, 4)])
        seen = pooled[:4].sum()
        return np.mean(sums >= seen - 1e-12), np.mean(sums <= seen + 1e-12)

    for end, side, sign in ((ends.low, 0, -1), (ends.high, 1, 1)):
        assert tails(end + sign * 1e-6)[side] <= 0.025 < tails(end - sign * 1e-6)[side]


def test_common_errors_widen_the_exact_interval_in_quadrature():
    result = analyse(example_trial("flour_dust"))
    before, after, *_ = sides(result)
    d = before - after
    u = result.compared.difference.components
    shared = np.hypot(u["gain"], u["drift"])
    dof = shared**4 / (u["drift"] ** 4 / 20)  # the gain has infinitely many degrees of freedom
    expanded = stats.t.ppf(0.975, dof) * shared
    # Six pairs: the exact interval at 95 % reaches from the smallest to the largest difference.
    wanted = d.mean() - np.hypot(d.mean() - d.min(), expanded), d.mean() + np.hypot(d.max() - d.mean(), expanded)
    assert exact_interval(result.compared, "lower") == pytest.approx(wanted, abs=1e-9)


def test_log_ratios_of_pairs_by_scipy():
    result = analyse(trial_of("paired", articles=5))
    before, after, *_ = sides(result)
    ends = stats.ttest_1samp(np.log(after / before), 0).confidence_interval(0.95)
    share = log_ratio_percent(result)
    assert share.value == pytest.approx(100 * (1 - stats.gmean(after / before)), abs=1e-9)
    assert (share.low, share.high) == pytest.approx([100 * (1 - np.exp(e)) for e in ends[::-1]], abs=1e-9)


@pytest.mark.parametrize("design", ["independent", "single"])
def test_log_ratios_of_groups_by_scipy(design):
    result = analyse(trial_of(design, articles=5, mounts=1 if design == "independent" else 5))
    before, after, *_ = sides(result)
    ends = stats.ttest_ind(np.log(after), np.log(before), equal_var=False).confidence_interval(0.95)
    share = log_ratio_percent(result)
    assert share.value == pytest.approx(100 * (1 - stats.gmean(after) / stats.gmean(before)), abs=1e-9)
    assert (share.low, share.high) == pytest.approx([100 * (1 - np.exp(e)) for e in ends[::-1]], abs=1e-9)


def test_log_ratios_with_controls_by_scipy():
    result = analyse(trial_of("controls", articles=4, controls=3))
    before, after, control_before, control_after = sides(result)
    logs = np.log(after / before), np.log(control_after / control_before)
    ends = stats.ttest_ind(*logs, equal_var=False).confidence_interval(0.95)
    share = log_ratio_percent(result)
    assert share.value == pytest.approx(100 * (1 - np.exp(logs[0].mean() - logs[1].mean())), abs=1e-9)
    assert (share.low, share.high) == pytest.approx([100 * (1 - np.exp(e)) for e in ends[::-1]], abs=1e-9)


def test_log_ratios_of_equal_articles_are_the_ratio_of_means():
    """Articles of one level that change by one share: both percentages are that share, and agree with the truth."""
    plan = lay_out("paired", articles=4, references_every=None)
    articles = Articles(level=6.0, saving=0.6, article_sd=0.0, change_sd=0.0, mount_sd=0.0, run_sd=0.0)
    trial, _ = simulate_trial(replace(plan, articles=articles, readings=READINGS), rng=2)
    result = analyse(trial)
    assert log_ratio_percent(result).value == pytest.approx(result.compared.percent.value, abs=1e-3)
    assert log_ratio_percent(result).value == pytest.approx(10.0, abs=0.1)


def known(trial):
    keys = replace(trial.settings.comparison, repeatability=0.05, repeatability_dof=12.0)
    return replace(trial, settings=replace(trial.settings, comparison=keys))


def test_a_known_repeatability_leaves_nothing_to_permute_or_to_average():
    result = analyse(known(trial_of("single", mounts=2)))
    with pytest.raises(DoesNotApplyError, match="no exact test of such a comparison"):
        exact_interval(result.compared, "lower")
    with pytest.raises(DoesNotApplyError, match="one article, or a design without it: there are no ratios to average"):
        log_ratio_percent(result)


def test_levels_that_have_no_logarithm():
    trial = trial_of("independent", articles=8)
    first = replace(trial.runs[0], values=trial.runs[0].values - 7.0)
    result = analyse(replace(trial, runs=(first, *trial.runs[1:])))
    assert min(sides(result)[0]) < 0 and result.compared.percent is not None
    with pytest.raises(DoesNotApplyError, match="a level is not above zero, so it has no logarithm"):
        log_ratio_percent(result)


def test_a_window_of_equal_readings_without_resolution_has_no_mean_with_an_uncertainty():
    trial = trial_of("paired", articles=3)
    values = trial.runs[0].values.copy()
    values[20:] = values[20]
    settings = replace(trial.settings, readings=replace(trial.settings.readings, resolution=0.0))
    again = Reanalysis(replace(trial, runs=(replace(trial.runs[0], values=values), *trial.runs[1:]), settings=settings))
    with pytest.raises(DoesNotApplyError, match="r01: found equal readings in the final window and no resolution"):
        again.row(replace(again.planned, level=WINDOW), "")


def test_a_run_of_equal_readings_is_its_own_mean():
    trial = trial_of("paired", articles=3)
    runs = (replace(trial.runs[0], values=np.full(40, 7.0)), *trial.runs[1:])
    again = Reanalysis(replace(trial, runs=runs))
    row = again.row(replace(again.planned, level=WINDOW), "window")
    # Of 40 samples over 200 s the last 13 lie in the final third.
    means = {r.article + r.condition: r.values[-13:].mean() for r in runs}
    wanted = np.mean([means[f"K0{k}before"] - means[f"K0{k}after"] for k in (1, 2, 3)])
    assert row.saving == pytest.approx(wanted, abs=1e-9)


def test_a_row_is_the_result():
    result = analyse(example_trial("flour_dust"))
    row = as_row(result, "any", result.verdict, result.verdict)
    assert (row.saving, row.kind, row.changed) == (result.compared.difference.value, "saves", False)
    assert "saves more than 0.25 W" in str(row)
