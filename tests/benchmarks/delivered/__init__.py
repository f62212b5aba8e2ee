"""Benchmarks of what was delivered."""
