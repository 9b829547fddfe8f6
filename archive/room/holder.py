"""Whoever opened the room: the name that documents made in it carry, and the key that seals them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from archive.store import Archive
from archive.store.ledger.entry import Sign


def _no_key(_: Archive) -> Sign | None:
    return None


@dataclass(frozen=True)
class Holder:
    """by: name, None where none was stated. sign: gives what signs for this person, if anything does. Both are for
    those alone who came in by a token: whoever signs in with a name has a name, and no key here."""

    by: str | None = None
    sign: Callable[[Archive], Sign | None] = _no_key


NOBODY = Holder()
