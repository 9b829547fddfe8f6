"""The benchmark of spreading works, and all ways give as many verdicts. Times are for the benchmark to tell."""

from __future__ import annotations

from tests.benchmarks import spreading


def test_all_ways_say_as_much() -> None:
    rows = spreading.run(quick=True)
    assert len({r["what"] for r in rows}) == 4
    assert all(r["agree"] and r["results"] for r in rows)
