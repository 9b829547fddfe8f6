"""Archives to test on, with a cache and settings of their own."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive import store
from archive.store import Archive


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """No test sees the cache or the settings of the user who runs it."""
    folder = tmp_path_factory.mktemp("user")
    monkeypatch.setenv("MUNIMENT_CACHE", str(folder / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(folder / "config"))
    return folder


@pytest.fixture
def archive(tmp_path: Path) -> Archive:
    """A new, empty archive."""
    return store.create(tmp_path / "archive")
