"""The benchmark of the open forms works, and ours, its peers and its limits read the same."""

from __future__ import annotations


def test_the_quick_form_agrees_with_its_peers() -> None:
    from tests.benchmarks import open_xml

    rows = open_xml.run((), quick=True)
    assert len(rows) == 4
    assert all(row["agree"] for row in rows), rows
