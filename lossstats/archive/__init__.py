"""Thousands of runs: bulk readers, any executor, levels as a table."""
