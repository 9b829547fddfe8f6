"""Archives to test on, with a cache and settings of their own."""

from __future__ import annotations

import os
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


@pytest.fixture(autouse=True)
def no_waiting_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Syncs are asked for, and counted where a test counts them, but not waited for."""
    monkeypatch.setattr(os, "fsync", lambda _handle: None)


@pytest.fixture
def archive(tmp_path: Path) -> Archive:
    """A new, empty archive."""
    return store.create(tmp_path / "archive")
