"""Files as received, as they are today: where their bytes are, after redactions too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from archive.store.archive import Archive

_BEFORE = "/data/originals"


@dataclass(frozen=True)
class Received:
    """Files as received of one deposit.

    packed: a zip of them, or None; alone: those that stand by themselves, by name. handed_in: SHA-256 of the files as
    they were handed in; altered: a redaction took something out, so that a zip of another digest is not the one that
    was handed in, though what is in it is.
    """

    packed: Path | None
    alone: Mapping[str, Path]
    handed_in: frozenset[str] = frozenset()
    altered: bool = False

    @classmethod
    def of_bag(cls, bag: Path) -> Received:
        """Those of a bag in which nothing was redacted, unchecked."""
        folder, packed = bag / "data" / "originals", bag / "data" / "originals.zip"
        found = {p.relative_to(folder).as_posix(): p for p in sorted(folder.rglob("*")) if p.is_file()}
        return cls(packed if packed.is_file() else None, found)

    def __bool__(self) -> bool:
        return self.packed is not None or bool(self.alone)


def received(archive: Archive, deposit: str) -> Received:
    """Files as received of a deposit, each compared with its digest first.

    Errors: Trouble where one is not the file that the ledger commits; for no such deposit.
    """
    entry = archive.deposit_entry(deposit)
    checked, packed, alone, altered = archive.checked, None, {}, False
    for path, digest in checked.of_entry(entry).items():
        if not path.startswith(f"{entry['path']}{_BEFORE}"):
            continue
        found = checked.current(path, digest)
        altered = altered or found != (path, digest)
        if found is None:
            continue
        place = checked.check(*found)
        inside = PurePosixPath(path).relative_to(f"{entry['path']}/data")
        if len(inside.parts) == 1:
            packed = place
        else:
            alone[inside.relative_to("originals").as_posix()] = place
    handed_in = frozenset(o["sha256"] for o in archive.texts(entry).get("originals", []) if "sha256" in o)
    return Received(packed, alone, handed_in, altered)


def still_holds(archive: Archive, bag: str, sha256: str) -> bool:
    """Whether a file as received is still in a bag (its path in the archive), after the redactions of its originals."""
    db, before = archive.db, f"{bag}{_BEFORE}"
    paths = [r[0] for r in db.execute("SELECT path FROM gone WHERE substr(path, 1, ?) = ?", (len(before), before))]
    while paths:
        path = paths.pop()
        row = db.execute("SELECT replacement, parts FROM gone WHERE path = ?", (path,)).fetchone()
        if row is None:
            continue
        part = db.execute("SELECT 1 FROM gone_parts WHERE path = ? AND sha256 = ?", (path, sha256)).fetchone()
        if not row["parts"] or not row["replacement"] or part is not None:
            return False
        paths.append(str(row["replacement"]))
    return True
