"""Repairing an archive from a copy: only what is damaged is touched, and only with bytes of the right digest."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from pathlib import Path

from archive import disk
from archive.errors import Trouble
from archive.objects import place
from archive.store import files, layout, memory
from archive.store.archive import Archive
from archive.store.bags import TAG_MANIFEST, Damage, read_manifest
from archive.store.bags.check import NOT_LISTED
from archive.store.committed import files_of, redacted
from archive.store.fixity import fixity
from archive.store.fixity.bags import NO_PART, NOT_COMMITTED, look, strays
from archive.store.fixity.chain import NO_ENTRY, walk
from archive.store.ledger import LedgerEntry, judge


@dataclass
class Repair:
    """What was repaired, what could not be, and what was set apart as it was."""

    repaired: list[str] = field(default_factory=list)
    left: list[Damage] = field(default_factory=list)
    kept_apart: list[str] = field(default_factory=list)

    def set_apart(self, root: Path, path: str) -> None:
        """Moves a file or folder out of the way, as it is."""
        apart = root / layout.ASIDE / "damaged" / path
        while apart.exists():
            apart = apart.with_name(f"{apart.name}-{secrets.token_hex(2)}")
        disk.move_in(root / path, apart)
        self.kept_apart.append(apart.relative_to(root).as_posix())


def repair(archive: Archive, copy: Path) -> Repair:
    """Repairs the ledger, then every file that it commits. Damaged files, and files that no entry commits, are moved to
    aside/damaged, not thrown away. What `fixity` still finds afterwards is left, and said.

    Errors: Trouble where the copy is not one of this archive.
    """
    copy = place(copy)
    if not (copy / layout.LEDGER).is_dir():
        raise Trouble(
            "this is no copy of an archive",
            code="copy.not-a-copy",
            where=str(copy),
            remedy="name the folder of a second copy",
        )
    first = layout.entry_path(copy, 0)
    if (
        not first.is_file()
        or judge(first.read_bytes()) != "valid"
        or LedgerEntry(first.read_bytes())["archive"] != archive.id
    ):
        raise Trouble(
            "this is a copy of another archive", code="copy.other-archive", where=str(copy), expected=archive.id
        )
    done = Repair()
    _ledger(archive, copy, done)
    chain = walk(archive.root, archive.id)
    gone = redacted(chain.entries)
    for entry in chain.entries:
        _entry(archive.root, copy, entry, gone, done)
    for stray in _strays(archive):
        done.set_apart(archive.root, stray)
    named = {d.path for d in done.left}
    done.left += [d for d in fixity(archive).damaged if d.path not in named]
    return done


def _strays(archive: Archive) -> list[str]:
    """Files that no entry commits, wherever they lie."""
    chain = walk(archive.root, archive.id)
    gone = redacted(chain.entries)
    found = [*chain.damage, *strays(archive.root, chain.entries)]
    found += [d for e in chain.entries for d in look(archive.root, e, gone, bytes_too=False)]
    return [d.path for d in found if d.what in (NO_ENTRY, NOT_COMMITTED, NO_PART, NOT_LISTED)]


def _ledger(archive: Archive, copy: Path, done: Repair) -> None:
    """Entries that are missing or not valid here, from a copy whose whole chain is sound."""
    theirs = walk(copy, archive.id)
    if [d for d in theirs.damage if d.what != NO_ENTRY]:
        return done.left.append(Damage(layout.LEDGER, f"the ledger of the copy is damaged itself: {theirs.state}"))
    ours = walk(archive.root, archive.id)
    if not ours.damage and ours.count >= theirs.count:
        return None
    seen = memory.recall(archive.id, "head")
    if seen is not None and int(seen["size"]) <= theirs.count and not theirs.holds(int(seen["size"]), seen["root"]):
        return done.left.append(Damage(layout.LEDGER, "the copy does not hold the head last seen on this machine"))
    for entry in theirs.entries:
        mine = archive.ledger.data(entry.number)
        if mine == entry.data:
            continue
        if mine is not None and judge(mine) == "valid" and not _misfit(archive, entry.number, ours.damage):
            done.left.append(Damage(_name(archive, entry.number), "is sound by itself and not the one of the copy"))
            return None
        _put(archive.root, _name(archive, entry.number), entry.data, done)
    return None


def _misfit(archive: Archive, number: int, damage: list[Damage]) -> bool:
    """Whether the entry, or the one after it, was found not to fit into the chain."""
    near = {_name(archive, number), _name(archive, number + 1)}
    return any(d.path in near for d in damage)


def _name(archive: Archive, number: int) -> str:
    return layout.entry_path(archive.root, number).relative_to(archive.root).as_posix()


def _entry(root: Path, copy: Path, entry: LedgerEntry, gone: dict[str, str], done: Repair) -> None:
    for path, told in entry.files.items():  # tag manifests and plain files first: they say what else there is
        if path not in gone:
            _file(root, copy, path, told["sha256"], done)
            if path.endswith(f"/{TAG_MANIFEST}"):
                _tags(root, copy, path, done)
    try:
        listed = list(files_of(root, entry))
    except Trouble as trouble:
        done.left.append(Damage(trouble.where, trouble.message))
        return
    for path, digest in listed:
        if path not in gone:
            _file(root, copy, path, digest, done)


def _tags(root: Path, copy: Path, tag: str, done: Repair) -> None:
    folder = tag.removesuffix(f"/{TAG_MANIFEST}")
    try:
        pinned = read_manifest(root / tag)
    except (OSError, ValueError):
        return
    for name, digest in pinned.items():
        _file(root, copy, f"{folder}/{name}", digest, done)


def _file(root: Path, copy: Path, path: str, digest: str, done: Repair) -> None:
    if files.holds(root / path, digest):
        return
    if not files.holds(copy / path, digest):
        damage = Damage(path, "damaged here, and not to be had from the copy")
        if damage not in done.left:
            done.left.append(damage)
        return
    _put(root, path, (copy / path).read_bytes(), done)


def _put(root: Path, path: str, data: bytes, done: Repair) -> None:
    place = root / path
    if place.exists():
        done.set_apart(root, path)
    disk.make_folder(root / layout.ASIDE)
    files.put(place, data, root / layout.ASIDE)
    done.repaired.append(path)
