"""The arrays of a search in the user's cache, so that a room that is opened again need not read the whole catalogue."""

from __future__ import annotations

import json
import zipfile
from contextlib import suppress
from pathlib import Path

import numpy as np

from archive.atomic import atomic_write
from archive.errors import Trouble
from archive.room.search.facets import FIELDS, Facets, Words, empty
from archive.store import Archive, memory
from archive.store.catalogue import database

VERSION = 1
"""Raised whenever the arrays change: an older file is then not read."""

_NAME = "facets.npz"
_ARRAYS = ("day", "face", "counted", "leading")


def load(archive: Archive) -> Facets:
    """The arrays as they were kept; none where nothing fitting is kept."""
    place = _place(archive)
    if place is None or not place.is_file():
        return empty()
    try:
        with np.load(place, allow_pickle=False) as held:
            told = json.loads(held["told"].tobytes())
            if told["versions"] != [VERSION, database.VERSION]:
                return empty()
            words = {n: Words(w, {word: at for at, word in enumerate(w)}) for n, w in told["words"].items()}
            codes = {name: held[f"codes-{name}"] for name in FIELDS}
            return Facets(told["upto"], told["last"], codes, words, *(held[name] for name in _ARRAYS))
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile):
        return empty()


def keep(archive: Archive, facets: Facets) -> None:
    """Keeps the arrays. A cache that cannot be written is no fault: nothing is kept then."""
    place = _place(archive)
    if place is None:
        return
    told = {
        "versions": [VERSION, database.VERSION],
        "upto": facets.upto,
        "last": facets.last,
        "words": {name: words.listed for name, words in facets.words.items()},
    }
    arrays = {f"codes-{name}": codes for name, codes in facets.codes.items()}
    arrays |= {name: getattr(facets, name) for name in _ARRAYS}
    arrays["told"] = np.frombuffer(json.dumps(told).encode(), np.uint8)
    with suppress(OSError, Trouble), atomic_write(place, durable=False) as aside, aside.open("wb") as file:
        np.savez(file, allow_pickle=False, **arrays)


def _place(archive: Archive) -> Path | None:
    folder = memory.folder(archive.id) if archive.remembers else None
    return None if folder is None else folder / _NAME
