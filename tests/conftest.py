"""No test sees the cache, the settings or the confirmed limits of the user who runs it, nor leaves any; no test
fails by chance."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

# The products of matrices here are small: threads of the linear algebra only wait for each other on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A test never asserts on time: a busy machine must not fail one. Nor does one fail by chance on a machine of somebody
# who changed nothing: property tests run from fixed seeds, and at random in `python -m tests.endurance properties`.
settings.register_profile("fixed", deadline=None, derandomize=True, database=None)
settings.register_profile("random", deadline=None, database=None, print_blob=True)
settings.load_profile(os.environ.get("MUNIMENT_PROPERTIES", "fixed"))


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
