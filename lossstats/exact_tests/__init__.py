"""Exact permutation and sign-flip tests, and the bootstrap."""
