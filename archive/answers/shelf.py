"""Mappings of an archive as readers take them, and as people see them: who looked each over, when, and what it read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from archive.answers.link import people
from archive.errors import Trouble
from archive.formats.mapping.load import load, loads
from archive.formats.mapping.model import Mapping
from archive.formats.mapping.offered import Offered
from archive.store import Archive
from archive.store.events.shelve import confirm_mapping, take_off_mapping
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.shelf import Shelved, shelved


def offered_by(archive: Archive, given: Any = None) -> Offered:
    """What is offered for reading into an archive. given: mappings that were named, as for formats.mapping.offered.

    Errors: Trouble for a mapping that cannot be read, or one of the archive that is damaged.
    """
    held = [(s, m) for s in shelved(archive) if (m := _mapping(s)) is not None]
    shelf: dict[str, Mapping] = {}
    for s, m in held:
        if s.looked_over:
            shelf.setdefault(m.layout, m)
    return Offered.of(given, tuple(shelf.values()), tuple(m for _, m in held))


def listed(archive: Archive) -> list[dict[str, Any]]:
    """A row per mapping of an archive, the latest first: what it reads, how it came here, by whom, when, and whether
    it lies on the shelf and recognises first. files: sources that it read."""
    rows = shelved(archive)
    entries = {s.number: e for s in rows if (e := archive.ledger.read(s.number)) is not None}
    names = people(archive, {e.get("by") for e in entries.values()}, entries.values())
    read = dict(
        archive.db.execute(
            "SELECT mapping_sha256, count(DISTINCT source_id) FROM records WHERE NOT withdrawn AND NOT replaced "
            "GROUP BY 1"
        ).fetchall()
    )
    made, layouts = [], set[str]()
    for s in rows:
        m = _mapping(s)
        first = s.looked_over and m is not None and m.layout not in layouts
        if first and m is not None:
            layouts.add(m.layout)
        by = entries[s.number].get("by") if s.number in entries else None
        made.append(
            {
                "layout": m.layout if m else None,
                "title": m.title if m else "",
                "sha256": s.sha256,
                "how": s.how,
                "shelf": s.looked_over,
                "recognises": first,
                "by": names.get(by or ""),
                "at": s.at,
                "deposit": s.deposit,
                "files": read.get(s.sha256, 0),
            }
        )
    return made


def confirm(
    archive: Archive, path: Path, *, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Lays a mapping on the shelf. Errors: Trouble where it is none, or lies there already."""
    mapping = load(path)
    if any(s.sha256 == mapping.digest and s.looked_over for s in shelved(archive)):
        raise Trouble(
            "this mapping lies on the shelf already",
            code="shelf.there-already",
            where=str(path),
            remedy=f"see `muniment mapping list {archive.root}`",
        )
    return confirm_mapping(archive, mapping.text, by=by, reason=reason, sign=sign)


def take_off(
    archive: Archive, name: str, *, by: str | None, reason: str | None, sign: Sign | None = None
) -> tuple[LedgerEntry, Shelved]:
    """Takes a mapping off the shelf. name: of its layout (the one that recognises first), or the first digits of its
    SHA-256. Errors: Trouble where none or several are meant."""
    rows = [s for s in shelved(archive) if s.looked_over]
    of_layout = [s for s in rows if (m := _mapping(s)) is not None and m.layout == name]
    meant = of_layout[:1] or [s for s in rows if len(name) >= 6 and s.sha256.startswith(name)]
    if len(meant) != 1:
        layouts = sorted({m.layout for s in rows if (m := _mapping(s)) is not None})
        raise Trouble(
            "there is no such mapping on the shelf",
            code="shelf.no-such-mapping",
            where=str(archive.root),
            found=name,
            expected=", ".join(layouts) or "none lies there",
        )
    return take_off_mapping(archive, meant[0].sha256, by=by, reason=reason, sign=sign), meant[0]


def _mapping(s: Shelved) -> Mapping | None:
    """The mapping in the bytes; None where they are none of exports, as a port map, or of a later language."""
    try:
        return loads(s.data, f"the archive's mapping {s.sha256[:12]}")
    except Trouble:
        return None
