"""Runs to mounts to units: each mount and each unit counts once."""

import numpy as np
import pytest

from lossstats.corrections.unit_table import TestRun, make_unit_table

RUNS = [
    TestRun("K01", "dusty", "1"), TestRun("K01", "dusty", "1"), TestRun("K01", "dusty", "2"), TestRun("K02", "dusty", "1"),
    TestRun("K01", "cleaned", "1"), TestRun("K02", "cleaned", "1"),
]  # fmt: skip
LEVELS = np.array([7.0, 7.2, 6.5, 6.8, 6.0, 6.1])
WAY = {"conditions": ("dusty", "cleaned")}


def test_a_mount_counts_once_however_many_runs_it_has():
    table = make_unit_table(RUNS, LEVELS, [True] * 6, **WAY)
    assert table.part("dusty") == pytest.approx({"K01": (7.1 + 6.5) / 2, "K02": 6.8})
    assert table.part("cleaned") == pytest.approx({"K01": 6.0, "K02": 6.1})
    assert table.averaging @ LEVELS == pytest.approx([v.value for v in table.values])
    assert table.averaging.sum(axis=1) == pytest.approx(np.ones(4))
    assert [(v.mounts, v.runs) for v in table.values] == [(2, 3), (1, 1), (1, 1), (1, 1)]


def test_a_run_left_out_leaves_the_other_mount():
    table = make_unit_table(RUNS, LEVELS, [True, True, False, True, True, True], **WAY)
    assert table.part("dusty")["K01"] == pytest.approx(7.1)


def test_a_unit_that_loses_a_condition_is_left_out_and_named():
    table = make_unit_table(RUNS, LEVELS, [True, True, True, True, True, False], **WAY)
    assert list(table.part("dusty")) == ["K01"]
    assert table.left_out == ("K02: no usable run in one condition",)
    independent = make_unit_table(RUNS, LEVELS, [True, True, True, True, True, False], paired=False, **WAY)
    assert list(independent.part("dusty")) == ["K01", "K02"]


def test_mount_as_unit():
    runs = [TestRun("K01", c, m) for c in ("dusty", "cleaned") for m in ("1", "2", "3")]
    table = make_unit_table(runs, np.arange(6.0), [True] * 6, unit="mount", paired=False, **WAY)
    assert table.part("cleaned") == {"K01/1": 3.0, "K01/2": 4.0, "K01/3": 5.0}


def test_controls_come_last_and_stay_in_order():
    runs = [TestRun(a, c, "1") for a in ("K01", "C01", "K02", "C02") for c in ("dusty", "cleaned")]
    table = make_unit_table(runs, np.arange(8.0), [True] * 8, controls=("C01", "C02"), **WAY)
    assert [(v.unit, v.condition) for v in table.values] == [
        ("K01", "dusty"), ("K02", "dusty"), ("K01", "cleaned"), ("K02", "cleaned"),
        ("C01", "dusty"), ("C02", "dusty"), ("C01", "cleaned"), ("C02", "cleaned"),
    ]  # fmt: skip


def test_nothing_left_is_an_error():
    with pytest.raises(ValueError, match="condition cleaned: found no usable run of any unit"):
        make_unit_table(RUNS, LEVELS, [True] * 4 + [False] * 2, paired=False, **WAY)
