"""One archive and one room for all tests of a session."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.room.serving import Room, archive_of


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive; its user's cache lies beside it."""
    return archive_of(tmp_path_factory.mktemp("room"))


@pytest.fixture(scope="session")
def room(shelf: Path) -> Iterator[Room]:
    """A room that is open."""
    found = Room(shelf, shelf.parent)
    yield found
    found.close()


@pytest.fixture(scope="session")
def inside(room: Room) -> tuple[str, str]:
    """Secret path and cookie of a sign-in."""
    return room.sign_in()
