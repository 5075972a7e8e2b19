"""Bench simulator with known truth, and the example trials made with it."""
