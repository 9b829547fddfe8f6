"""The quick forms of the benchmarks: they run, and ours and the peers agree. No time is asserted."""

from __future__ import annotations

from tests.benchmarks import distributions, rates, ready


def test_rates_and_duckdb_agree() -> None:
    rows = rates.run((400,), quick=True)
    assert [r["what"] for r in rows] == ["reindex", *["rates"] * 3]
    assert rows[0]["records"] >= 4_000
    assert all(r["agrees"] for r in rows[1:])


def test_distributions_and_numpy_agree() -> None:
    rows = distributions.run((400,), quick=True)
    assert len(rows) == len(distributions.PARAMETERS)
    assert all(r["agrees"] for r in rows)


def test_readiness_and_reading_are_of_the_same_links() -> None:
    (row,) = ready.run((400,), quick=True)
    assert row["agrees"] and row["parameters"] >= 3
