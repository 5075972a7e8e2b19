"""The Monte Carlo calls that are timed give the same: law by Monte Carlo error, threads to the last bit."""

import importlib.util
import sys
from pathlib import Path

import pytest

_spec = importlib.util.spec_from_file_location("monte_carlo_rows", Path(__file__).with_name("monte_carlo_rows.py"))
rows = importlib.util.module_from_spec(_spec)
sys.modules["monte_carlo_rows"] = rows  # dataclasses look their module up
_spec.loader.exec_module(rows)

ROWS = [row for row in rows.rows(200_000) if "alone" not in row.peer_name]


@pytest.mark.parametrize("row", ROWS, ids=[row.name for row in ROWS])
def test_ours_and_the_peer_agree(row):
    assert row.agree()
