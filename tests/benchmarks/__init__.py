"""Benchmarks: ours against a peer and a limit on the same data, as ratios measured in one run on one machine.

A module here has `run(sizes, quick) -> list[dict]`; `python -m tests.benchmarks` runs them all.
"""
