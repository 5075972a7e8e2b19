"""The calls that are timed give the same answers: exact p to the last bit, bootstrap limits to Monte Carlo error."""

import importlib.util
from pathlib import Path

import pytest

_spec = importlib.util.spec_from_file_location("resampling_rows", Path(__file__).with_name("resampling_rows.py"))
rows = importlib.util.module_from_spec(_spec)
import sys  # noqa: E402

sys.modules["resampling_rows"] = rows  # dataclasses look their module up
_spec.loader.exec_module(rows)

ROWS = [*rows.bootstrap_rows(4000), *rows.exact_rows(large=False), *rows.power_rows(20_000)]


@pytest.mark.parametrize("row", ROWS, ids=[f"{i}-{row.name}" for i, row in enumerate(ROWS)])
def test_ours_and_the_peer_agree(row):
    if "arch" in row.peer_name:
        pytest.importorskip("arch")
    assert row.agree()
