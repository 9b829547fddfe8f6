"""Real programs: killed at random instants, and many writing at once. The long forms are in tests/endurance."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.endurance import store_runs


@pytest.fixture(autouse=True)
def children_use_this_cache(own_cache: Path) -> None:
    """The started programs inherit the environment."""


@pytest.mark.slow
def test_twenty_kills(tmp_path: Path) -> None:
    figures = [store_runs.kills(tmp_path, kind, 5, seed=7) for kind in ("deposit", "redaction", "assessment", "export")]
    assert sum(f["kills"] for f in figures) == 20


@pytest.mark.slow
def test_eight_writers_for_ten_seconds_with_readers(tmp_path: Path) -> None:
    figures = store_runs.writers(tmp_path, 8, 10)
    assert figures["acknowledged"] > 8
    assert figures["looks"] > 4
