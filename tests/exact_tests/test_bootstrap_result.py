"""What a bootstrap result says of itself."""

import numpy as np

from lossstats.exact_tests.bootstrap_result import measured_coverage
from lossstats.exact_tests.bootstrapping import bootstrap

BEFORE = [7.31, 7.42, 7.18, 7.66, 7.29, 7.51, 7.90, 7.37, 7.44, 7.25, 7.58, 7.33]
AFTER = [6.88, 6.91, 6.79, 7.20, 6.90, 6.95, 7.33, 6.97, 7.01, 6.84, 7.10, 6.99]


def test_what_few_units_are_worth():
    """Shares of the committed table, measured by simulation of normal units."""
    five = bootstrap([0.41, 0.52, 0.28, 0.61, 0.37], statistic="mean", method="percentile", rng=1)
    assert five.measured_coverage == 0.840
    assert five.notes[0] == "5 units: a check of the t interval, never the headline"
    assert "by simulation of 5 normal units" in five.notes[-1]
    assert bootstrap(BEFORE, AFTER, statistic="difference", rng=1).measured_coverage is None
    assert measured_coverage("groups", 7, "bca") == (
        0.885,
        ("measured coverage: by simulation of 6 normal units a sample, at 95 % asked for",),
    )
    assert measured_coverage("pairs", 2, "bca") == (None, ("the coverage of 2 units was not measured",))


def test_renderings():
    result = bootstrap(BEFORE, AFTER, statistic="difference", rng=7, paired=True, resamples=500)
    assert "difference of pairs" in str(result)
    assert "500, seed 7" in str(result)
    assert "infinitely many" in bootstrap(BEFORE, statistic="mean", method="exact")._repr_html_()
    assert result.to_dict()["seed"] == 7
    assert bootstrap(BEFORE, statistic="mean", rng=np.random.default_rng(1), resamples=500).seed is None
