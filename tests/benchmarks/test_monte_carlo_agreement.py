"""The Monte Carlo calls that are timed give the same: law by Monte Carlo error, threads to the last bit."""

import monte_carlo_rows as rows
import pytest

ROWS = [row for row in rows.rows(200_000) if "alone" not in row.peer_name]


@pytest.mark.parametrize("row", ROWS, ids=[row.name for row in ROWS])
def test_ours_and_the_peer_agree(row):
    assert row.agree()
