"""The calls that are timed give the same answers: exact p to the last bit, bootstrap limits to Monte Carlo error."""

import pytest
import resampling_rows as rows

ROWS = [*rows.bootstrap_rows(4000), *rows.exact_rows(large=False), *rows.power_rows(20_000)]


@pytest.mark.parametrize("row", ROWS, ids=[f"{i}-{row.name}" for i, row in enumerate(ROWS)])
def test_ours_and_the_peer_agree(row):
    if "arch" in row.peer_name:
        pytest.importorskip("arch")
    assert row.agree()
