"""Words and limits of a finished result of components."""

import math

import numpy as np
import pytest

from lossstats.components.component_result import dof_words, sd_words
from lossstats.components.components import variance_components
from lossstats.records.estimate import Interval

TABLE = {"article": np.repeat(list("ABCDEF"), 3), "value": [6.1, 6.3, 6.2, 7.0, 7.2, 6.9, 5.6, 5.5, 5.9, 6.6, 6.4, 6.5, 6, 6.2, 6.1, 6.8, 7, 6.7]}  # fmt: skip


@pytest.fixture(scope="module")
def found():
    return variance_components(TABLE, ["article"], unit="W")


def test_one_sided_limit_is_the_upper_end_of_the_wider_interval(found):
    for level in found.levels:
        assert found.upper(level, 0.975) == pytest.approx(found.interval(level, 0.95).high)
        assert found.planning_sd(level) == found.upper(level, 0.8) == found.planning_sd(level, 0.8)


def test_total_lies_above_its_parts(found):
    low, high = found.total_interval()
    assert low < found.total_sd < high and found.total_sd == pytest.approx(math.hypot(*found.sd.values()))
    assert high > max(found.interval(level).high for level in found.levels)
    with pytest.raises(ValueError, match="confidence: found 0"):
        found.total_interval(0)


def test_statement_at_another_confidence(found):
    wide, narrow = found.statement("article", 0.99), found.statement("article", 0.5)
    assert wide != narrow and wide.split()[0] == narrow.split()[0] == f"{found.sd['article']:.2f}"


def test_no_unit_no_trailing_blank():
    bare = variance_components(TABLE, ["article"])
    assert all(line == line.rstrip() for line in str(bare).splitlines()) and not bare.statement("article").endswith(" ")


def test_degrees_of_freedom_in_words():
    assert (dof_words(1), dof_words(2.0)) == ("1 degree of freedom", "2 degrees of freedom")


def test_a_low_end_above_zero_never_reads_as_zero():
    assert sd_words(2.04, Interval(0.0003, 5.0), "") == "2.0400 (0.0003 to 5.0000)"
    assert sd_words(0.0, Interval(0.0, 0.123), "W") == "not distinguishable from 0, at most 0.12 W"
