"""The ledger looked at as it stands: every entry, the chain from each to the one before, and the heads it must hold."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from archive.objects import StorePath
from archive.store import layout, merkle
from archive.store.bags import Damage
from archive.store.files import sha256
from archive.store.ledger import VOID_LEAF, LedgerEntry, judge

NO_ENTRY = "not an entry of the ledger"


@dataclass
class Chain:
    """Entries that can be read, by number; leaf and root after each number, as far as all before it are there.

    voided: numbers of torn entries that a later one voids, with the entry by which somebody decided so.
    """

    count: int = 0
    voided: dict[int, LedgerEntry] = field(default_factory=dict)
    entries: list[LedgerEntry] = field(default_factory=list)
    leaves: list[bytes] = field(default_factory=list)
    roots: list[str] = field(default_factory=list)
    damage: list[Damage] = field(default_factory=list)

    @property
    def state(self) -> str:
        """ok, or the first thing that is wrong."""
        return f"{self.damage[0].path}: {self.damage[0].what}" if self.damage else "ok"

    def holds(self, size: int, root: str) -> bool:
        """Whether the ledger had this head at this size."""
        return 0 < size <= len(self.roots) and self.roots[size - 1] == root

    def size_of(self, root: str) -> int | None:
        """Number of entries at which the ledger had this head; None where it never had."""
        return self.roots.index(root) + 1 if root in self.roots else None


def walk(root: Path, archive_id: str) -> Chain:
    """Reads the whole ledger. Never raises for damage."""
    found = Chain()
    if isinstance(root, StorePath):
        root.forget()
        root.look()
        root.fetch(p.relative_to(root).as_posix() for p in (root / layout.LEDGER).rglob("*.json"))
    tree, whole = merkle.Tree(), True
    ledger = root / layout.LEDGER
    if not ledger.is_dir():
        found.damage.append(Damage(layout.LEDGER, "missing"))
        return found
    found.count = layout.entry_count(root)
    datas: list[bytes | None] = []
    for number in range(found.count):
        path = layout.entry_path(root, number)
        datas.append(path.read_bytes() if path.is_file() else None)
    last: LedgerEntry | None = None
    voided, decided = _voids(datas)
    for number, data in enumerate(datas):
        name = layout.entry_path(root, number).relative_to(root).as_posix()
        if number in voided:
            leaf: bytes | None = VOID_LEAF
            if number in decided:
                found.voided[number] = decided[number]
            what = _void(data, voided[number], decided.get(number))
            if what:
                found.damage.append(Damage(name, what))
        else:
            entry, what = _entry(data, number, archive_id, last, found.count)
            if what:
                found.damage.append(Damage(name, what))
            if entry is not None:
                found.entries.append(entry)
            last = entry
            leaf = entry.leaf if entry is not None else None
        whole = whole and leaf is not None
        if whole and leaf is not None:
            tree.add(leaf)
            found.leaves.append(leaf)
            found.roots.append(tree.root().hex())
    strays = {p.relative_to(root).as_posix() for p in ledger.rglob("*") if p.is_file()}
    strays -= {layout.entry_path(root, n).relative_to(root).as_posix() for n in range(found.count)}
    found.damage += [Damage(path, NO_ENTRY) for path in sorted(strays)]
    return found


def _voids(datas: list[bytes | None]) -> tuple[dict[int, int], dict[int, LedgerEntry]]:
    """Numbers that a later entry voids, with its number; those that somebody decided on, with that entry."""
    by: dict[int, int] = {}
    decided: dict[int, LedgerEntry] = {}
    for number, data in enumerate(datas):
        if data is not None and judge(data) == "valid":
            entry = LedgerEntry(data)
            by.update({n: number for n in entry.get("voids", []) if n < number})
            if entry.get("event") == "void":
                decided[int(entry["entry"])] = entry
    return by, decided


def _void(data: bytes | None, by: int, decided: LedgerEntry | None) -> str:
    """What is wrong with an entry that was voided, if anything."""
    if decided is None:
        return f"ends too early; entry {by} voids it, and nobody decided so: look in copies, or `muniment void` it"
    if data is None or sha256(data) != decided["torn_sha256"]:
        return f"is not the torn file that entry {decided.number} voids"
    return ""


def _entry(
    data: bytes | None, number: int, archive_id: str, last: LedgerEntry | None, count: int
) -> tuple[LedgerEntry | None, str]:
    """An entry as far as it can be read, and what is wrong with it."""
    if data is None:
        return None, "missing"
    state = judge(data)
    if state != "valid":
        what = "its digest does not match: it was changed" if state == "damaged" else "ends too early"
        return None, what
    entry = LedgerEntry(data)
    if entry.get("number") != number:
        return entry, f"says it is entry {entry.get('number')}"
    if entry.get("archive") != archive_id:
        return entry, f"belongs to another archive, {entry.get('archive')}"
    if number == 0:
        return entry, "" if entry.get("previous") is None else "the first entry names one before it"
    if last is not None and entry.get("previous") != last.sha256:
        return entry, "does not continue the entry before it"
    return entry, ""
