"""The benchmark of network-analyser files works, and ours and its peer read the same."""

from __future__ import annotations

import pytest

pytest.importorskip("skrf")


def test_the_quick_form_agrees_with_its_peer() -> None:
    from tests.benchmarks import touchstone

    (row,) = touchstone.run((), quick=True)
    assert row["agree"]
    assert row["times_faster_than_peer"] > 0
