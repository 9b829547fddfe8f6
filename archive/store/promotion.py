"""Whether a copy was promoted that this machine saw, so that the archive it was made of is the original no more."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.objects import place
from archive.store.ledger import Ledger, LedgerEntry


@dataclass(frozen=True)
class Promotion:
    """A promotion that stands in the ledger of a copy and not in one's own. by: a name, "" where it is not known;
    at: ISO 8601; apart: entries of one's own from its number on, which the copy has not."""

    number: int
    path: Path
    by: str
    at: str
    apart: int

    def __str__(self) -> str:
        by = self.by or "somebody not named"
        more = "1 entry" if self.apart == 1 else f"{self.apart} entries"
        apart = f"; {more} written here since are not in it" if self.apart else ""
        return f"the copy {self.path} was promoted by {by} on {self.at[:10]} and is the original since{apart}"


def promotion(ledger: Ledger, seen: Mapping[str, Any]) -> Promotion | None:
    """The promotion of the copy whose head was seen last. seen: as store.memory keeps a head, with the path of its
    archive. None where there was none, or the copy cannot be read from here."""
    path = place(str(seen.get("path") or ledger.root))
    if path.absolute() == ledger.root.absolute():
        return None
    with suppress(Trouble, OSError):
        other = Ledger(path, ledger.archive_id)
        made = [e for e in other.entries(0) if e.get("event") == "promote"]
        new = [e for e in made if ledger.data(e.number) != other.data(e.number)]
        if new:
            apart = max(ledger.count() - new[0].number, 0)
            return Promotion(new[-1].number, path, _by(path, new[-1]), str(new[-1].get("at") or ""), apart)
    return None


def _by(root: Path, entry: LedgerEntry) -> str:
    """Who made an entry, as its own table of people says; "" where that is redacted or not the one it commits."""
    name = f"events/{entry.get('id')}/people.json"
    with suppress(OSError, ValueError, KeyError):
        data = (root / name).read_bytes()
        if hashlib.sha256(data).hexdigest() == entry.files[name]["sha256"]:
            return next((str(r["name"]) for r in json.loads(data) if r["person_key"] == entry.get("by")), "")
    return ""
