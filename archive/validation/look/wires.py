"""What a wire map says: the class of fault of each contact, from the contacts alone."""

from __future__ import annotations

from collections.abc import Mapping

from archive.vocabulary import PAIRS

CONTACTS = tuple(str(n) for n in range(1, 9))
_PAIR_OF = {c: p for p in PAIRS for c in p.split("-")}


def mate(contact: str) -> str:
    """The other contact of the pair. Errors: KeyError for a contact that is none of the eight."""
    a, b = _PAIR_OF[contact].split("-")
    return b if contact == a else a


def classify(far: Mapping[str, str]) -> dict[str, str]:
    """Class of each near contact that is not straight: open, reversed, crossed, miswire.

    far: near contact to far contact, "" where nothing arrives. Split pairs and shorts do not show in it.
    Source: TSB-67 classes; each is a function of the contacts.
    """
    out: dict[str, str] = {}
    for near, there in far.items():
        if near not in _PAIR_OF or there == near:
            continue
        if not there:
            out[near] = "open"
        elif far.get(mate(near)) and there in _PAIR_OF and far[mate(near)] == mate(there):
            out[near] = "reversed" if there == mate(near) else "crossed"
        else:
            out[near] = "miswire"
    return out
