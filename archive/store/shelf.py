"""The archive's own shelf of mappings: those that a person named for a deposit or confirmed, and what else has read."""

from __future__ import annotations

from dataclasses import dataclass

from archive.store.archive import Archive
from archive.store.mapping_use import LOOKED_OVER, OFF


@dataclass(frozen=True)
class Shelved:
    """A mapping of an archive: SHA-256 and bytes of its file, how it came here, and the ledger entry that says so."""

    sha256: str
    data: bytes
    how: str
    number: int
    at: str
    deposit: str | None

    @property
    def looked_over(self) -> bool:
        """Whether it lies on the shelf; else it only has read files."""
        return self.how in LOOKED_OVER


def shelved(archive: Archive) -> list[Shelved]:
    """Every mapping that an archive holds, each once, the latest first; one that was taken off again is not there.

    Errors: Trouble where a mapping is not the one that the ledger commits.
    """
    archive.catch_up()
    rows = archive.db.execute(
        "SELECT m.*, e.at, d.deposit FROM mappings m JOIN entries e ON e.number = m.number "
        "LEFT JOIN deposits d ON d.number = m.number ORDER BY m.number"
    ).fetchall()
    held: dict[str, Shelved] = {}
    for r in rows:
        before = held.get(r["sha256"])
        if r["how"] == OFF:
            held.pop(r["sha256"], None)
            continue
        if before is not None and r["how"] not in LOOKED_OVER:
            continue
        held.pop(r["sha256"], None)  # it is the latest now
        if before is not None and before.looked_over:
            held[r["sha256"]] = before  # who looked it over first is who looked it over
            continue
        if (found := archive.checked.current(r["path"], r["sha256"])) is not None and found[0] == r["path"]:
            data = archive.checked.read(*found)
            held[r["sha256"]] = Shelved(r["sha256"], data, r["how"], r["number"], r["at"], r["deposit"])
    return list(reversed(held.values()))
