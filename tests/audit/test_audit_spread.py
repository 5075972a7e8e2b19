"""Interval and p from spread and n: rounding known truths never accuses; what was changed is found and named."""

import numpy as np
import pytest
from scipy import stats

from lossstats.audit.audit_spread import interval_centred, interval_follows, p_follows, spread_of_one, zero_and_p
from lossstats.audit.quoted_number import read_quoted
from lossstats.audit.quoted_samples import read_samples
from lossstats.audit.quoted_set import change_range, make_set


def saving(text):
    return change_range(make_set({"saving": read_quoted("saving", text)}))


def verdicts(checks):
    return [check.verdict for check in checks]


def quoted_pairs(rng):
    """A paired experiment, its figures rounded on their own; the second implementation is scipy's t test."""
    n = int(rng.integers(3, 15))
    d = rng.normal(rng.uniform(0.0, 0.8), rng.uniform(0.1, 0.6), n)
    found = stats.ttest_1samp(d, 0)
    ends = found.confidence_interval(0.95)
    return n, d.mean(), d.std(ddof=1), (ends.low, ends.high), found.pvalue


def quoted_groups(rng):
    sizes = (int(rng.integers(3, 12)), int(rng.integers(3, 12)))
    x, y = (rng.normal(m, rng.uniform(0.1, 0.6), n) for m, n in zip((7.0, 6.5), sizes, strict=True))
    found = stats.ttest_ind(x, y, equal_var=False)
    ends = found.confidence_interval(0.95)
    return sizes, x.mean() - y.mean(), (x.std(ddof=1), y.std(ddof=1)), (ends.low, ends.high), found.pvalue


@pytest.mark.parametrize("make", [quoted_pairs, quoted_groups])
@pytest.mark.parametrize("places", [1, 2, 3])
def test_figures_of_one_experiment_agree_however_rounded(make, places):
    rng = np.random.default_rng(places)
    for _ in range(25):
        n, mean, sd, ends, p = make(rng)
        sds = tuple(f"{s:.{places}f}" for s in np.atleast_1d(sd))
        samples = read_samples(
            n=n, sd=sds, interval=tuple(f"{e:.{places}f}" for e in ends), p=f"{p:.{places + 1}f}", paired=len(sds) == 1
        )
        change = make_set(
            {"saving": read_quoted("saving", f"{abs(mean):.{places}f} {'less' if mean >= 0 else 'more'}")}
        )
        checks = [*interval_follows(samples), *interval_centred(samples, change_range(change), "saving")]
        checks += [*p_follows(samples, change_range(change)), *zero_and_p(samples)]
        assert len(checks) == 5
        assert "cannot all be true" not in verdicts(checks), [str(c) for c in checks]


@pytest.mark.parametrize("make", [quoted_pairs, quoted_groups])
def test_a_changed_figure_is_found(make):
    """A spread quoted 5 % too large, a p off by a fifth or more, with the other figures to four digits or six."""
    rng = np.random.default_rng(11)
    for _ in range(25):
        n, mean, sd, ends, p = make(rng)
        sds = tuple(f"{s * 1.05:.4f}" for s in np.atleast_1d(sd))
        interval = tuple(f"{e:.4f}" for e in ends)
        (check,) = interval_follows(read_samples(n=n, sd=sds, interval=interval, paired=len(sds) == 1))
        assert check.verdict == "cannot all be true"
        changed = f"{min(1.2 * p, 1) if p < 0.5 else 0.7 * p:.6f}"
        direction = "less" if mean >= 0 else "more"
        samples = read_samples(n=n, sd=tuple(f"{s:.6f}" for s in np.atleast_1d(sd)), p=changed, paired=len(sds) == 1)
        change = make_set({"saving": read_quoted("saving", f"{abs(mean):.6f} {direction}")})
        if p > 2e-5:
            assert verdicts(p_follows(samples, change_range(change))) == ["cannot all be true"], (p, changed)


def test_what_an_interval_that_does_not_follow_would_fit():
    """sd 0.25, n = 6: t gives 2.571 x 0.1021 = 0.262; the normal factor 0.200, one standard error 0.10."""
    for interval, fitting in (
        ("0.30 to 0.70", "a normal factor in place of t"),
        ("0.40 to 0.60", "one standard error to both sides"),
        ("0.25 to 0.75", "one standard deviation to both sides"),
        ("0.09 to 0.91", "a confidence of 99 %"),
    ):
        (check,) = interval_follows(read_samples(n=6, sd="0.25", interval=interval))
        assert check.verdict == "cannot all be true"
        assert fitting in check.words, check.words
    assert "by t it would be 0.257 to 0.268 W" in check.words
    (check,) = interval_follows(read_samples(n=6, sd="0.25", interval="0.30 to 0.70"))
    # 0.25 t(n - 1) / sqrt(n): 0.209 at n = 8, 0.192 at n = 9 — '0.195 to 0.205' by the rounding of sd at both
    assert "or n of 8 to 9" in check.words
    assert interval_follows(read_samples(n=6, sd="0.25")) == []
    (other,) = interval_follows(read_samples(n=6, sd="0.25", interval="3 to 7 %"))
    assert other.verdict == "cannot be told"


def test_the_middle_of_the_interval():
    samples = read_samples(interval="0.30 to 0.70 W")
    assert verdicts(interval_centred(samples, saving("0.50"), "saving")) == ["agrees"]
    assert verdicts(interval_centred(samples, saving("0.60"), "saving")) == ["cannot all be true"]
    (outside,) = interval_centred(samples, saving("0.80"), "saving")
    assert outside.words.startswith("the interval does not hold the saving")
    assert verdicts(interval_centred(samples, saving("0.50 more"), "saving")) == ["agrees"]  # the size of a rise
    percent = read_samples(interval="3 to 12 %")
    assert verdicts(interval_centred(percent, saving("6"), "percent")) == ["cannot be told"]
    assert interval_centred(samples, None, "saving") == interval_centred(read_samples(), saving("1"), "saving") == []


def test_one_sided_p_is_named():
    # 0.50 / (0.25 / sqrt 6) = 4.90, 5 degrees of freedom: two-sided 0.0045, one-sided 0.0022
    (check,) = p_follows(read_samples(n=6, sd="0.250", p="0.0022"), saving("0.500"))
    assert check.verdict == "cannot all be true"
    assert "it would fit a one-sided test" in check.words
    assert verdicts(p_follows(read_samples(n=6, sd="0.250", p="0.0045"), saving("0.500"))) == ["agrees"]
    assert verdicts(p_follows(read_samples(n=6, sd="0.25", p="0.9"), saving("0.0"))) == ["agrees"]
    assert p_follows(read_samples(n=6, sd="0.25", p="0.0022", p_by="exact"), saving("0.5")) == []


@pytest.mark.parametrize(
    ("interval", "p", "p_by", "verdict"),
    [
        ("0.1 to 0.9", "0.03", None, "agrees"), ("-0.1 to 0.9", "0.2", None, "agrees"),
        ("0.1 to 0.9", "0.2", None, "cannot all be true"), ("-0.1 to 0.9", "0.03", None, "cannot all be true"),
        ("-0.9 to -0.1", "0.2", None, "cannot all be true"), ("0.1 to 0.9", "0.2", "exact", "cannot be told"),
        ("0.0 to 0.9", "0.03", None, "cannot be told"), ("0.1 to 0.9", "0.05", None, "cannot be told"),
        ("0.1 to 0.9", "< 0.05", None, "cannot be told"),
    ],
)  # fmt: skip
def test_zero_and_p(interval, p, p_by, verdict):
    assert verdicts(zero_and_p(read_samples(interval=interval, p=p, p_by=p_by))) == [verdict]


def test_a_single_value_has_no_spread():
    assert verdicts(spread_of_one(read_samples(n=1, sd="0.2"))) == ["cannot all be true"]
    assert verdicts(spread_of_one(read_samples(n=1, p="0.2"))) == ["cannot be told"]
    assert spread_of_one(read_samples(n=1)) == spread_of_one(read_samples(n=2, sd="0.2")) == []
