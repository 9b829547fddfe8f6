"""Bytes of the archive against the digests that the ledger holds, before anything is made of them.

A file is digested once on a machine. After that it counts as checked for as long as its size, both of its times and
its number in the file system are those that it had then; where one of them is another, it is digested again. Of an
object on a store it is the size and the ETag.
"""

from __future__ import annotations

import json
import os
import sqlite3
import time
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from archive.errors import Trouble
from archive.objects import StorePath
from archive.store import files, layout, unread, unread_deposits
from archive.store.bags import MANIFEST, TAG_MANIFEST, read_manifest
from archive.store.committed import bags_of
from archive.store.ledger import LedgerEntry

if TYPE_CHECKING:
    from archive.store.parquet import BagTables

TABLES = (
    "CREATE TABLE checked(path TEXT PRIMARY KEY, sha256 TEXT NOT NULL, state TEXT NOT NULL, always INTEGER NOT NULL)",
    "CREATE INDEX checked_always ON checked(path) WHERE always",
)
"""always: the catalogue was built from the file, so that every answer rests on it."""


_TAKEN = ("data/index.parquet", "data/deposit.json")
"""Files of each deposit's bag that the catalogue is built from."""

_COARSE_NS = 10_000_000
"""Steps in which FAT and exFAT count times; another file system has two equal times of such a step by chance alone."""


class DamagedFile(Trouble):
    """A file that is missing or not the one whose digest the ledger holds. path: in the archive; sha256: that digest,
    empty where it is not known."""

    path = sha256 = ""


@contextmanager
def passed_over(deposit: str, lacks: str) -> Iterator[None]:
    """Goes on without a deposit of which a file is damaged, and names it. lacks: what the answer then does not hold."""
    try:
        yield
    except DamagedFile as lost:
        tell_passed_over(deposit, lost.path, lacks)


def tell_passed_over(deposit: str, path: str, lacks: str) -> None:
    """Names a deposit that an answer goes without."""
    said = f"deposit {deposit} cannot be read, {path} is missing or damaged: {lacks}"
    warnings.warn(said, unread.UnreadEntry, stacklevel=3)


class CheckedFiles:
    """Files of one archive by their paths in it. Errors of all methods: DamagedFile where one is another or missing."""

    def __init__(self, db: sqlite3.Connection, root: Path, digested: set[str] | None = None) -> None:
        """digested: where given, a file counts as checked only once it was digested here; the set holds those."""
        self._db, self.root, self._digested = db, root, digested
        self._base = str(root)

    def check(self, path: str, sha256: str, *, always: bool = False) -> Path:
        """Digests a file unless it is unchanged since it was; gives its place. always: look again at each question."""
        place = self.root / path
        state = self._state(path, sha256)
        held = self._db.execute("SELECT sha256, state, always FROM checked WHERE path = ?", (path,)).fetchone()
        fresh = self._digested is None or path in self._digested
        if not fresh or held is None or tuple(held[:2]) != (sha256, state) or held[2] < always:
            if self._digest(path, sha256) != sha256:
                raise damaged(self.root, path, sha256)
            self._remember(path, sha256, state, always)
            if self._digested is not None:
                self._digested.add(path)
        return place

    def read(self, path: str, sha256: str, *, always: bool = False) -> bytes:
        """The bytes of a small file, digested each time."""
        state = self._state(path, sha256)
        try:
            data = (self.root / path).read_bytes()
        except OSError as error:
            raise damaged(self.root, path, sha256, error.strerror or "not to be read") from None
        if files.sha256(data) != sha256:
            raise damaged(self.root, path, sha256)
        if always:
            self._remember(path, sha256, state, always)
        return data

    def check_again(self) -> None:
        """Looks at every file that the catalogue was built from. What rests on one that was changed is noted as
        unread. A store is listed for it as a whole."""
        if isinstance(self.root, StorePath):
            self.root.look()
        for path, sha256, state in self._db.execute("SELECT path, sha256, state FROM checked WHERE always").fetchall():
            if not self._unchanged(path, sha256, state):
                with self._entry_unread():
                    self.check(path, sha256, always=True)

    def _unchanged(self, path: str, sha256: str, state: str) -> bool:
        try:
            return self._state(path, sha256) == state
        except Trouble:
            return False

    def digest_again(self) -> None:
        """Digests every ledger entry and every event that the catalogue was built from, whatever their times say."""
        for path, sha256 in self._db.execute("SELECT path, sha256 FROM checked WHERE always").fetchall():
            if path.startswith((f"{layout.LEDGER}/", f"{layout.EVENTS}/")):
                with self._entry_unread():
                    self.check(path, sha256, always=True)

    @contextmanager
    def _entry_unread(self) -> Iterator[None]:
        """Damage of the text of an event or a file of a deposit is noted; that of any other file is raised."""
        try:
            yield
        except DamagedFile as lost:
            if not (unread.lost(self._db, lost.path) or unread_deposits.lost(self._db, lost.path, lost.sha256)):
                raise

    def fetch(self, entries: Iterable[LedgerEntry]) -> None:
        """What the catalogue takes of some new entries: a store is asked for it beside each other."""
        if isinstance(self.root, StorePath):
            listed = [entry for entry in entries if entry.kind != "created"]
            named = [path for entry in listed for path in entry.files]
            bags = [folder for entry in listed if entry.kind == "deposit" for folder in bags_of(entry)]
            self.root.fetch([*named, *(f"{folder}/{name}" for folder in bags for name in (MANIFEST, *_TAKEN))])

    def forget(self, path: str) -> None:
        """A file that was redacted is looked at no more."""
        self._db.execute("DELETE FROM checked WHERE path = ?", (path,))

    def of_bag(self, folder: str, tag_sha256: str) -> dict[str, str]:
        """SHA-256 of every file that a bag's manifests name, by path in the archive."""
        try:
            tags = read_manifest(self.check(f"{folder}/{TAG_MANIFEST}", tag_sha256))
            listed = read_manifest(self.check(f"{folder}/{MANIFEST}", tags[MANIFEST]))
        except (KeyError, ValueError):
            raise damaged(self.root, f"{folder}/{MANIFEST}", "") from None
        return {f"{folder}/{name}": digest for name, digest in {**tags, **listed}.items()}

    def of_entry(self, entry: LedgerEntry) -> dict[str, str]:
        """SHA-256 of every file that an entry commits, down to the last one in its bags, by path in the archive."""
        found = {path: str(said["sha256"]) for path, said in entry.files.items()}
        for folder, digest in bags_of(entry).items():
            found |= self.of_bag(folder, digest)
        return found

    def tables(self, bag: str, digests: dict[str, str], *, always: bool = False) -> BagTables:
        """Tables of a bag, each file compared before it is read; of a redacted one, what replaced it.

        digests: SHA-256 of the bag's files by path in the archive.
        """
        from archive.store.parquet import BagTables  # here, so that finding needs no Arrow

        listed, instead = self.standing(bag, digests)
        places = {self.root / path: digest for path, digest in listed.items()}
        replaced = {name: self.root / path for name, path in instead.items()}
        if not isinstance(self.root, StorePath) or not self._whole(bag, listed, digests):
            return BagTables(self.root / bag, places, self.checking(always=always), replaced)
        from archive.store.parquet.in_part import RecordProofs, TablesInPart

        proofs = RecordProofs(
            lambda path: self._compared(path.relative_to(self.root).as_posix(), places[path]),
            lambda low, high: self._record_digests(bag, low, high),
            lambda path: damaged(self.root, path.relative_to(self.root).as_posix(), places[path]),
        )
        return TablesInPart(self.root / bag, places, self.checking(always=always), replaced, proofs)

    def _whole(self, bag: str, listed: dict[str, str], digests: dict[str, str]) -> bool:
        """Whether nothing of a bag's tables was redacted that the digests of its records rest on."""
        gone = {path for path in digests if path.startswith(f"{bag}/data/tables/")} - listed.keys()
        return all(path.endswith(("/people.parquet", "/findings.parquet")) for path in gone)

    def _compared(self, path: str, sha256: str) -> bool:
        """Whether `check` would find a file unchanged, and not fetch it."""
        held = self._db.execute("SELECT sha256, state FROM checked WHERE path = ?", (path,)).fetchone()
        fresh = self._digested is None or path in self._digested
        return fresh and held is not None and tuple(held) == (sha256, self._state(path, sha256))

    def _record_digests(self, bag: str, low: int, high: int) -> list[str]:
        """Digests of records as the catalogue took them from the index, which was compared."""
        rows = self._db.execute(
            "SELECT r.digest FROM records r JOIN deposits d ON d.deposit = r.deposit WHERE d.path = ? "
            "AND r.position >= ? AND r.position < ? ORDER BY r.position",
            (bag, low, high),
        )
        return [str(row[0]) for row in rows]

    def standing(self, bag: str, digests: dict[str, str]) -> tuple[dict[str, str], dict[str, str]]:
        """Digests of the files that make up a bag's tables today, by path in the archive; and those that replaced a
        redacted table, by its name."""
        listed, instead = {}, {}
        for path, digest in digests.items():
            wanted = path.startswith(f"{bag}/data/tables/") or path == f"{bag}/data/index.parquet"
            found = self.current(path, digest) if wanted else None
            if found is not None:
                listed[found[0]] = found[1]
                if found[0] != path:
                    instead[Path(path).stem] = found[0]
        return listed, instead

    def checking(self, *, always: bool = False) -> Callable[[Path, str], object]:
        """Compares a file, by its place, with a digest, as `check` does."""
        return lambda path, digest: self.check(path.relative_to(self.root).as_posix(), digest, always=always)

    def current(self, path: str, sha256: str) -> tuple[str, str] | None:
        """Path and digest of what stands for a file today: itself, or what a redaction put there; None: nothing."""
        while (gone := self._gone(path)) is not None:
            path, sha256 = gone
            if not path:
                return None
        return path, sha256

    def json(self, path: str, digests: dict[str, str], *, always: bool = False) -> Any:
        """The JSON that an entry commits, or that replaced it; None where it was redacted or never committed."""
        found = self.current(path, digests[path]) if path in digests else None
        if found is None:
            return None
        data = self.read(*found, always=always)
        try:
            return json.loads(data)
        except ValueError:
            return None  # what replaced it is no JSON

    def _gone(self, path: str) -> tuple[str, str] | None:
        row = self._db.execute("SELECT replacement, replacement_sha256 FROM gone WHERE path = ?", (path,)).fetchone()
        return None if row is None else (row[0] or "", row[1] or "")

    def _digest(self, path: str, sha256: str) -> str:
        try:
            return files.fingerprint(self.root / path).sha256
        except OSError as error:
            raise damaged(self.root, path, sha256, error.strerror or "not to be read") from None

    def _state(self, path: str, sha256: str) -> str:
        if isinstance(self.root, StorePath):
            return self._tag(path, sha256)
        try:
            s = os.stat(f"{self._base}/{path}")  # noqa: PTH116 - thousands at each question; a Path takes ten times as long
        except OSError as error:
            raise damaged(self.root, path, sha256, error.strerror or "missing") from None
        # A FAT disk keeps no time of change, and others to 10 ms: who knows what stands there is looked at each time.
        unknowable = s.st_ctime_ns == s.st_mtime_ns and not s.st_mtime_ns % _COARSE_NS
        look = f" {time.monotonic_ns()}" if unknowable else ""
        return f"{s.st_size} {s.st_mtime_ns} {s.st_ctime_ns} {s.st_dev}:{s.st_ino}{look}"

    def _tag(self, path: str, sha256: str) -> str:
        """Size and ETag of an object: what reads it names the ETag, and is refused where it is another by then."""
        try:
            seen: Any = (self.root / path).stat()
        except FileNotFoundError:
            raise damaged(self.root, path, sha256, "missing") from None
        return f"{seen.st_size} {seen.tag or time.monotonic_ns()}"

    def _remember(self, path: str, sha256: str, state: str, always: bool) -> None:
        if self._db.in_transaction and not always:
            return  # somebody reads a state of the database, and must not keep others from writing
        with suppress(sqlite3.OperationalError):  # a cache that cannot be written: it is digested again next time
            self._db.execute("INSERT OR REPLACE INTO checked VALUES(?, ?, ?, ?)", (path, sha256, state, always))


def damaged(root: Path, path: str, sha256: str, what: str = "") -> DamagedFile:
    """What to say of a file that is not the one whose digest the ledger holds. what: why it cannot be read."""
    said = DamagedFile(
        "the file is missing or cannot be read" if what else "the file is not the one that the ledger commits",
        code="archive.file-missing" if what else "archive.file-damaged",
        where=str(root / path),
        found=what,
        remedy=f"run `muniment fixity {root}`, then `muniment repair {root} --from COPY`",
    )
    said.path, said.sha256 = path, sha256
    return said
