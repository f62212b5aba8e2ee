"""Bits per unit of each feature, made by tests/benchmarks/locate/fit_weights.py."""

FITTED: dict[str, tuple[float, int, int]] = {}
