"""Benchmarks: ratios from one run, the peer or the limit beside them. Not tests, and not timed by tests."""
