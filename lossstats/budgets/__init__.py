"""Uncertainty budgets by named source (JCGM 100), and the bench of two shafts as a model function."""
