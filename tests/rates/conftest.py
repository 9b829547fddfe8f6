"""Archives to count in, with a cache of their own."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive import store
from archive.store import Archive
from tests.rates import years


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """No test sees the cache or the settings of the user who runs it; nothing waits for the disk."""
    folder = tmp_path_factory.mktemp("user")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(folder / "cache"))
        patch.setenv("MUNIMENT_CONFIG", str(folder / "config"))
        patch.setenv("XDG_DATA_HOME", str(folder / "data"))
        patch.setenv("XDG_CONFIG_HOME", str(folder / "settings"))
        patch.setattr(os, "fsync", lambda _handle: None)
        yield folder


@pytest.fixture(autouse=True)
def own_user(own_cache: Path) -> Path:
    """In place of a new user for every test: one for all, so that the large archive is indexed once."""
    return own_cache


@pytest.fixture
def archive(tmp_path: Path) -> Archive:
    """A new, empty archive."""
    return store.create(tmp_path / "archive")


@pytest.fixture(scope="session")
def of_years(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The archive of seven years; tests only read it."""
    path = tmp_path_factory.mktemp("years") / "certificates"
    years.build(path).db.close()
    return path
