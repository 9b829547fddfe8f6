"""Archives that the tests of this folder only read, each made once."""

from __future__ import annotations

import pytest
from answers_making import archive_of_hostile_labels, archive_of_troubles

from archive import store


def _made(factory, name, make):
    place = factory.mktemp(name)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(place / "cache"))
        patch.setenv("XDG_DATA_HOME", str(place / "data"))
        make(place / "made")
    return place / "made" / "archive"


@pytest.fixture(scope="session")
def troubles_place(tmp_path_factory):
    """Folder of the archive with every kind of trouble."""
    return _made(tmp_path_factory, "troubles", archive_of_troubles)


@pytest.fixture(scope="session")
def hostile_place(tmp_path_factory):
    """Folder of the archive with hostile labels."""
    return _made(tmp_path_factory, "hostile", archive_of_hostile_labels)


@pytest.fixture
def troubles(troubles_place):
    """That archive, opened by a user who has not seen it."""
    return store.open(troubles_place)


@pytest.fixture
def hostile(hostile_place):
    """That archive, opened by a user who has not seen it."""
    return store.open(hostile_place)
