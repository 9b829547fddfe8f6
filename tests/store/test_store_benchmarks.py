"""The benchmarks work, and ours and the peers' results agree. Times are for `python -m tests.benchmarks` to tell."""

from __future__ import annotations

from tests.benchmarks import deposit, find, object_store, storage


def test_deposit() -> None:
    (row,) = deposit.run(quick=True)
    assert row["agree"]
    assert row["speed_against_bare"] > 0


def test_storage_is_near_the_entropy_of_differences() -> None:
    """Sizes do not depend on the machine, so this is asserted: issue 6, figures (tables within 15 %)."""
    (row,) = storage.run(quick=True)
    assert row["agree"]
    assert row["curves_to_entropy"] < 1.15
    assert row["tables_to_gzip_csv"] < 1


def test_find() -> None:
    """Ours, DuckDB and SQLite find the same records of the same links."""
    reindex, row = find.run((400,), quick=True)
    assert reindex["records"] == row["records"]
    assert row["agree"]


def test_object_store() -> None:
    """Questions are answered alike on both (asserted within); bytes and requests do not depend on the machine."""
    *questions, claim, commit = object_store.run((400,), quick=True)
    assert len(questions) == 2
    assert claim["fetched / its row groups"] > 0
    assert commit["requests"] <= commit["set"]
