"""Every key of trial.toml is described, and its default keeps its own limits."""

import dataclasses
import math

import pytest

from lossstats.trial_folder import settings

TABLES = [getattr(settings, name) for name in dir(settings) if dataclasses.is_dataclass(getattr(settings, name))]
LIMITS = {"at_least", "above", "at_most", "infinite", "nonzero", "filled", "stamps", "several"}
KEYS = [
    pytest.param(field, id=f"{table.__name__}.{field.name}")
    for table in TABLES
    for field in dataclasses.fields(table)
    if "doc" in field.metadata
]
NUMBERS = [key for key in KEYS if type(key.values[0].default) in (int, float)]


def test_there_are_tables_and_keys():
    assert {"TrialKeys", "ComparisonKeys", "PlanKeys", "Settings"} <= {table.__name__ for table in TABLES}
    assert len(KEYS) > 60 and len(NUMBERS) > 20


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.__name__)
def test_tables_cannot_be_changed_in_place(table):
    assert table.__dataclass_params__.frozen
    assert table.__doc__ and not table.__doc__.startswith(f"{table.__name__}(")


@pytest.mark.parametrize("key", KEYS)
def test_a_key_says_what_it_means_in_one_line(key):
    doc = key.metadata["doc"]
    assert doc == doc.strip() and doc and "\n" not in doc and not doc.endswith(".")
    assert set(key.metadata) - {"doc"} <= LIMITS


@pytest.mark.parametrize("key", NUMBERS)
def test_a_default_keeps_the_limits_of_its_key(key):
    limits, default = key.metadata, key.default
    assert limits.get("at_least", -math.inf) <= default <= limits.get("at_most", math.inf)
    assert default > limits.get("above", -math.inf)
    assert math.isfinite(default) or limits.get("infinite")
    assert default != 0 or not limits.get("nonzero")


def test_defaults_that_can_grow_are_not_shared():
    assert settings.LogKeys().other is not settings.LogKeys().other
    one, other = (settings.Settings(settings.TrialKeys("?"), None) for _ in range(2))
    assert one.operating_point is not other.operating_point
