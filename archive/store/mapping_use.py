"""How a mapping came to read files of an archive: words that entries hold, and what earlier entries meant."""

from __future__ import annotations

import re
from collections.abc import Mapping

FILE = "mapping.toml"
"""Name under which an event keeps the bytes of a mapping."""

NAMED, ACCEPTED, OWN, DRAFT, FROM_SHELF = "named", "accepted draft", "own folder", "draft", "shelf"
"""With a deposit: named by a person, a draft that a person accepted, of the user's folder, a draft, of the shelf."""

CONFIRMED, OFF = "confirmed", "taken off"
"""By an event."""

LOOKED_OVER = (CONFIRMED, NAMED, ACCEPTED, OWN)
"""Ways by which a mapping comes to lie on the shelf."""

_BY_DIGEST = re.compile(r"[0-9a-f]{16}\.toml")


def how_used(name: str, digest: str, said: Mapping[str, str]) -> str:
    """How a mapping in a deposit's bag came to be used. name: of its file. said: by the entry, by digest.

    Earlier versions of this program said nothing: a mapping that was named kept its own name in the bag.
    """
    return said.get(digest) or (DRAFT if _BY_DIGEST.fullmatch(name) else NAMED)
