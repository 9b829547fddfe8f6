"""What a fixity run found, in the same shape for every depth."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from archive.store.bags import Damage

COUNT, DIGEST, DEEP = DEPTHS = ("count", "digest", "deep")

SAID = {
    COUNT: "names and sizes only; no byte was read",
    DIGEST: "every byte against manifests and ledger",
    DEEP: "every byte, every Parquet page, every record's digest, and the catalogue against a rebuild",
}


@dataclass
class Report:
    """Result of a fixity run. Anything in `damaged` makes it unsound; findings, cautions and uncommitted do not."""

    depth: str
    checked_against: str = "nothing but itself"
    deposits: int = 0
    files: int = 0
    records: int = 0
    damaged: list[Damage] = field(default_factory=list)
    damaged_deposits: set[str] = field(default_factory=set)
    findings: list[dict[str, Any]] = field(default_factory=list)
    uncommitted: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    entries: int = 0
    head: str = ""
    chain: str = "ok"
    signatures: dict[str, int] = field(default_factory=dict)
    stamps: list[dict[str, Any]] = field(default_factory=list)
    copies: list[dict[str, Any]] = field(default_factory=list)
    redactions: list[dict[str, Any]] = field(default_factory=list)
    """Ledger entries that took files out: entry, at, and the paths of files."""

    disposals: list[dict[str, Any]] = field(default_factory=list)
    """Ledger entries by which records were disposed of: the same, with job, deposits, and number of records."""

    earlier: int = 0
    """Entries that a run looked at which was interrupted; this one went on from there."""
    earlier_from: str = ""
    """When that run looked at the first of them."""

    @property
    def sound(self) -> bool:
        """Whether everything is as it was, as far as this depth looks."""
        return not self.damaged

    def add(self, found: Iterable[Damage], before: str = "") -> None:
        """Adds damage; before: path of the bag that its paths are in."""
        for d in found:
            path = "/".join(p for p in (before, d.path) if p)
            self.damaged.append(Damage(path, d.what))

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        return {
            "sound": self.sound,
            "depth": self.depth,
            "depth_means": SAID[self.depth],
            "checked_against": self.checked_against,
            "deposits": self.deposits,
            "sound_deposits": self.deposits - len(self.damaged_deposits),
            "files": self.files,
            "records": self.records,
            "damaged": [{"path": d.path, "what": d.what} for d in self.damaged],
            "findings": self.findings,
            "uncommitted": self.uncommitted,
            "cautions": self.cautions,
            "redactions": self.redactions,
            "disposals": self.disposals,
            "ledger": {
                "entries": self.entries,
                "head": self.head,
                "chain": self.chain,
                "signatures": self.signatures,
                "stamps": self.stamps,
            },
            "copies": self.copies,
            "looked_at_earlier": {"entries": self.earlier, "from": self.earlier_from} if self.earlier else None,
        }
