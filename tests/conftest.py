"""No test sees the cache, the settings or the confirmed limits of the user who runs it, nor leaves any."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

# The products of matrices here are small: threads of the linear algebra only wait for each other on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A test never asserts on time: a busy machine must not fail one.
settings.register_profile("muniment", deadline=None)
settings.load_profile("muniment")


@pytest.fixture(autouse=True)
def own_user(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Folders of a user who has never used the program."""
    folder = tmp_path_factory.mktemp("user")
    monkeypatch.setenv("MUNIMENT_CACHE", str(folder / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(folder / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(folder / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(folder / "settings"))
    monkeypatch.setenv("MUNIMENT_TRACEBACK", "1")  # a fault of the program is no line among others
    return folder
