"""Benchmarks: commands of their own, started by `tests/benchmarks/run`."""
