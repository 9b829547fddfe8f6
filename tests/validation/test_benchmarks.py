"""The quick forms of the benchmarks: they work, and ours and the peer's results agree. Nothing here asserts on time."""

from __future__ import annotations

from tests.benchmarks import copies, validation


def test_rules_agree_with_a_plain_loop() -> None:
    row = validation.run(quick=True)[0]
    assert row["agrees with the loop"]
    assert row["planted"] >= 5


def test_the_index_of_copies_agrees_with_all_pairs() -> None:
    """Ten planted copies of five kinds among hard links: all found, nothing else, as by comparing every pair."""
    row = copies.run(quick=True)[0]
    assert row["agrees with all pairs"]
    assert row["recall"] == 1.0
    assert row["not planted"] == 0
