"""Variance components of nested mounts and runs; repeatability and reproducibility between laboratories."""
