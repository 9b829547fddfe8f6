"""An archive that is open: its settings, its ledger, what stands in it, its head."""

from __future__ import annotations

import math
import sqlite3
import time
import tomllib
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from archive.errors import Trouble
from archive.near_names import offered
from archive.objects import StorePath, place
from archive.store import catalogue, condemned, disposed, layout, memory
from archive.store.checked_files import CheckedFiles
from archive.store.ledger import Ledger, LedgerEntry, Taken, judge
from archive.store.ledger.entry import Sign
from archive.store.names import portable
from archive.store.promotion import promotion
from archive.store.received import Received, received, still_holds
from archive.store.records import split_address
from archive.store.unread import Unread, UnreadEntry, decided_for, refuse, unread_events
from archive.store.unread_deposits import hides_records, unread_deposits

if TYPE_CHECKING:
    from archive.store.parquet import BagTables


_LOOK_AGAIN = 1.0
"""Seconds for which the files that the catalogue was built from are not looked at again."""


class LedgerHead(NamedTuple):
    """What pins a whole archive down: the number of its ledger entries, and the root of the tree over them."""

    size: int
    root: str


class Archive:
    """An archive. Reading needs no right to write in it.

    entries(n)  ledger entries from number n on
    bag(d)      folder of a deposit's bag; tables(d) reads its tables; record("d/5") one record
    healed      ids of what stopped writers had left; ended: files of redactions that were ended, with their entry
    db          the SQLite database (archive.store.catalogue), caught up by `catch_up`
    """

    def __init__(self, root: Path, settings: dict[str, Any]) -> None:
        self.root = root
        self.settings = settings
        self.id = str(settings["archive"]["id"])
        self.ledger = Ledger(root, self.id)
        self.healed: list[str] = []
        self.ended: dict[str, int] = {}
        self._digested: set[str] | None = None
        self._told: set[int | str] = set()
        self._looked = -math.inf

    remembers = True
    """Whether what is derived of it may be kept in this user's cache."""

    @cached_property
    def db(self) -> sqlite3.Connection:
        """The database of the catalogue."""
        return catalogue.connect(self.id, str(self.root) if isinstance(self.root, StorePath) else "")

    def catch_up(self) -> int:
        """Brings the database up to the ledger; number of entries. Errors: Trouble for a damaged or shorter ledger."""
        seen = memory.recall(self.id, "head")  # before the ledger is read: another process may move both on meanwhile
        try:
            count = catalogue.catch_up(self.db, self.root, self.ledger)
        except sqlite3.OperationalError:  # the cache has no room, or is held by another program: do without it
            self.__dict__["db"] = catalogue.in_memory()
            count = catalogue.catch_up(self.db, self.root, self.ledger)
        self._check(seen, count)
        if time.monotonic() - self._looked > _LOOK_AGAIN:
            self.checked.check_again()
            self.ended |= condemned.take_away(self.db, self.root, looked=True)
            self._looked = time.monotonic()
        self._tell()
        return count

    def _tell(self) -> None:
        """Warns once of each entry that cannot be read, and of records that were disposed of."""
        for entry in self.unread():
            if entry.number not in self._told:
                self._told.add(entry.number)
                warnings.warn(str(entry), UnreadEntry, stacklevel=3)
        gone = disposed.sentence(self.db)
        if gone and gone not in self._told:
            self._told.add(gone)
            warnings.warn(gone, disposed.Disposed, stacklevel=3)

    def unread(self) -> list[Unread]:
        """Events and deposits that cannot be read, by ledger number."""
        found = [*unread_events(self.db, self.ledger), *unread_deposits(self.db)]
        return sorted(found, key=lambda u: u.number)

    def rest_on(self, jobs: Iterable[str | None]) -> None:
        """Called for every answer about some jobs alone. Errors: Trouble where an entry about one cannot be read."""
        refuse(self.unread(), jobs, self.root)

    def rest_on_every_record(self) -> None:
        """Called before it is said that a label, a job or a record is not here. Errors: Trouble where records cannot be
        read."""
        if (hidden := hides_records(self.db)) is not None:
            raise hidden.trouble(self.root)

    def take_away_condemned(self) -> None:
        """Ends redactions that were stopped before the bytes were gone, where this user may write."""
        self.ended |= condemned.take_away(self.db, self.root)

    def entries(self, start: int = 0) -> Iterator[LedgerEntry]:
        """Ledger entries from a number on."""
        return self.ledger.entries(start)

    def commit(self, fields: Callable[[], Mapping[str, Any]], aside: Path, sign: Sign | None = None) -> LedgerEntry:
        """Commits the next ledger entry, and brings the database up to it.

        fields: asked for the entry's fields after each look at the ledger; again where another writer was first. It
        raises where the entry no longer makes sense. aside: folder in which the entry's file is written.

        Errors: Trouble where what is committed would rest on an entry that cannot be read.
        """
        while True:
            seen = self.catch_up()
            wanted = fields()
            if unread := self.unread():
                refuse(unread, decided_for(self.db, wanted), self.root)
                if wanted["kind"] == "deposit" and wanted["records"]:
                    self.rest_on_every_record()
            with suppress(Taken):
                entry = self.ledger.append(seen, wanted, aside, sign)
                break
        with suppress(Trouble, OSError, sqlite3.Error):  # the entry stands; whoever asks next is told what is wrong
            self.catch_up()
        return entry

    def head(self, size: int | None = None) -> LedgerHead:
        """The head now, or as it was at a number of entries."""
        count = self.catch_up()
        size = count if size is None else size
        root = catalogue.root(self.db, size)
        if root is None:
            raise Trouble(
                f"the ledger has no {size} entries",
                code="ledger.no-such-size",
                where=str(self.root / layout.LEDGER),
                found=str(count),
            )
        return LedgerHead(size, root)

    def size_of(self, root: str) -> int | None:
        """Number of entries at which the ledger had a head; None where it never had it."""
        self.catch_up()
        found = self.db.execute("SELECT number FROM entries WHERE root = ?", (root,)).fetchone()
        return None if found is None else int(found[0]) + 1

    def _check(self, seen: dict[str, Any] | None, count: int) -> None:
        """Compares the ledger with the head that this machine saw last, then remembers today's."""
        if seen is not None and not (
            int(seen["size"]) <= count and catalogue.root(self.db, int(seen["size"])) == seen["root"]
        ):
            if (made := promotion(self.ledger, seen)) is not None:
                raise Trouble(
                    "this is the original no more",
                    code="archive.copy-promoted",
                    where=str(self.root),
                    found=str(made),
                    remedy=f"work with {made.path}, and write here no more: what is committed there is not here. "
                    f"Where it was not meant to be promoted, ask who did; nothing here is damaged",
                )
            raise Trouble(
                "the ledger does not continue the head that was seen on this machine before",
                code="ledger.not-continued",
                where=str(self.root / layout.LEDGER),
                found=f"{count} entries",
                expected=f"{seen['size']} entries or more with the head {seen['root'][:16]}... of {seen['size']}",
                remedy=f"run `muniment fixity {self.root}`; restore the missing entries with `muniment repair`, or, "
                "where you put an older copy back on purpose, run `muniment fixity --accept` once",
            )
        if seen is None or count > int(seen["size"]):
            root = catalogue.root(self.db, count)
            memory.remember(self.id, "head", {"size": count, "root": root, "path": str(self.root.absolute())})

    def bag(self, deposit: str) -> Path:
        """Folder of a deposit's bag. Errors: Trouble where there is no such deposit."""
        self.catch_up()
        found = self.db.execute("SELECT path FROM deposits WHERE deposit = ?", (deposit,)).fetchone()
        if found is None:
            raise self._no_deposit(deposit)
        return self.root / str(found[0])

    def holding(self, sha256: str) -> str | None:
        """Deposit that holds a file as received with these bytes, unless its originals were redacted; else None."""
        found = self.db.execute(
            "SELECT o.deposit, d.path FROM originals o JOIN deposits d ON d.deposit = o.deposit WHERE o.sha256 = ?",
            (sha256,),
        ).fetchone()
        held = found is not None and still_holds(self, found["path"], sha256)
        return str(found["deposit"]) if held else None

    def redacted_tables(self, deposit: str) -> set[str]:
        """Tables of a deposit that were redacted and that its records' digests rest on: not people, nor findings."""
        before = f"{self.bag(deposit).relative_to(self.root).as_posix()}/data/tables/"
        found = self.db.execute("SELECT path FROM gone WHERE substr(path, 1, ?) = ?", (len(before), before))
        return {Path(r[0]).stem for r in found} - {"people", "findings"}

    def originals_of(self, deposit: str) -> list[Received]:
        """The originals of a deposit: in its own bag, and in those of earlier ones that hold the same files.

        Errors: Trouble where originals are not those that the ledger commits.
        """
        said = self.texts(self.deposit_entry(deposit))
        named = [o.get("kept_in") for o in said.get("originals", [])] + [said.get("originals_in")]
        return [received(self, d) for d in dict.fromkeys([deposit, *named]) if d]

    def texts(self, entry: LedgerEntry) -> dict[str, Any]:
        """What event.json or deposit.json of an entry says; empty where it was redacted.

        Errors: Trouble where the file is not the one that the ledger commits.
        """
        path = (
            f"{entry['path']}/data/deposit.json" if entry.kind == "deposit" else f"events/{entry.get('id')}/event.json"
        )
        return self.checked.json(path, self.checked.of_entry(entry)) or {}

    def names(self, entry: LedgerEntry) -> dict[str, str]:
        """Names of people by key, as an entry's own table of people holds them; a redacted one is not there.

        Errors: Trouble where the file is not the one that the ledger commits.
        """
        if entry.kind == "deposit":
            rows = self.tables(entry["deposit"]).table("people").to_pylist()
        else:
            folder = f"{entry['path']}/data" if entry.kind == "assessment" else f"events/{entry.get('id')}"
            rows = self.checked.json(f"{folder}/people.json", self.checked.of_entry(entry)) or []
        return {r["person_key"]: r["name"] for r in rows if r.get("name")}

    def tables(self, deposit: str) -> BagTables:
        """Tables of a deposit; of a redacted one, what replaced it. Each file is compared with its digest first."""
        self.catch_up()
        return self.tables_as_known(deposit)

    def tables_as_known(self, deposit: str) -> BagTables:
        """The same without another look at the ledger."""
        entry = self.known_deposit_entry(deposit)
        return self.checked.tables(entry["path"], self.checked.of_entry(entry))

    @property
    def checked(self) -> CheckedFiles:
        """Reads files after a comparison with their digests in the ledger."""
        return CheckedFiles(self.db, self.root, self._digested)

    def digest_all(self) -> None:
        """From now on, whatever is read is digested, though its times be those of when it was: for what leaves the
        archive as evidence. Begins with the ledger and all events. Errors: Trouble where a file is another."""
        if isinstance(self.root, StorePath):
            self.root.forget()
        self.catch_up()
        self._digested = set()
        self.checked.digest_again()

    def deposit_entry(self, deposit: str) -> LedgerEntry:
        """Ledger entry of a deposit. Errors: Trouble where there is no such deposit."""
        self.catch_up()
        return self.known_deposit_entry(deposit)

    def known_deposit_entry(self, deposit: str) -> LedgerEntry:
        """The same without another look at the ledger."""
        found = self.db.execute("SELECT number FROM deposits WHERE deposit = ?", (deposit,)).fetchone()
        entry = None if found is None else self.ledger.read(int(found[0]))
        if entry is None:
            raise self._no_deposit(deposit)
        return entry

    def _no_deposit(self, deposit: str) -> Trouble:
        known = [str(r[0]) for r in self.db.execute("SELECT deposit FROM deposits ORDER BY number DESC")]
        return Trouble(
            f"there is no deposit {deposit!r}",
            code="archive.no-such-deposit",
            where=str(self.root),
            expected=offered(deposit, known),
            remedy=f"`muniment receipt {self.root}` lists them",
        )

    def address(self, record: str) -> str:
        """Address "deposit/position" of a record given by address or record_id; of several readings, the latest.

        Errors: Trouble where there is no such record.
        """
        self.catch_up()
        found = self.db.execute(
            "SELECT deposit, position FROM records WHERE record_id = ? OR (deposit = ? AND position = ?) "
            "ORDER BY row DESC",
            (record, *split_address(record)),
        ).fetchone()
        if found is None:
            self.rest_on_every_record()
            raise Trouble(
                f"there is no record {record!r}",
                code="archive.no-such-record",
                where=str(self.root),
                expected="the id of a record, such as re-0f30...",
                remedy="`muniment find` shows the ids of the records of a link",
            )
        return f"{found[0]}/{found[1]}"

    def record(self, address: str) -> Any:
        """One record by its address "deposit/position", as a batch of one."""
        deposit, position = split_address(address)
        return self.tables(deposit).record(position)


def open_archive(path: Path) -> Archive:
    """Opens an archive, on a disk or an object store. Errors: Trouble where the folder is none, or was made by a later
    version."""
    root = place(path)
    if not isinstance(root, StorePath) and not root.is_dir():
        raise _not_there(root, _near(root))
    settings = root / layout.SETTINGS
    try:
        read = tomllib.loads(settings.read_text(encoding="utf-8"))
        version = int(read["archive"]["format"])
        if not portable(read["archive"]["id"]):  # it names folders of the reader's machine
            raise ValueError
    except FileNotFoundError:
        if isinstance(root, StorePath):
            raise _not_there(root, "") from None
        raise Trouble(
            "this folder is no archive",
            code="archive.none-here",
            where=str(root),
            expected=" or ".join(map(str, _archives_in(root))) or f"a file {layout.SETTINGS} in it",
            remedy="give the path of one, or make a new one with `muniment init`",
        ) from None
    except (ValueError, KeyError, TypeError):
        raise Trouble(
            "the settings of the archive are damaged",
            code="archive.settings-damaged",
            where=str(settings),
            remedy="restore the file from a copy",
        ) from None
    if version > layout.FORMAT:
        raise Trouble(
            "the archive has a later format than this program knows",
            code="archive.later-format",
            where=str(settings),
            found=str(version),
            expected=f"{layout.FORMAT} or earlier",
            remedy="install a later version of muniment",
        )
    return Archive(root, read)


def _not_there(root: Path, near: str) -> Trouble:
    return Trouble(
        "there is no such archive",
        code="archive.not-there",
        where=str(root),
        expected=near,
        remedy="give the path of one, or make a new one with `muniment init`",
    )


def _near(root: Path) -> str:
    """Archives beside a path that are nearly called so."""
    from archive.near_names import near

    named = {path.name: path for path in _archives_in(root.parent)}
    return " or ".join(str(named[name]) for name in near(root.name, named))


def _archives_in(folder: Path) -> list[Path]:
    """Archives that lie in a folder."""
    try:
        return sorted(folder / p.parent.name for p in folder.glob(f"*/{layout.SETTINGS}"))
    except OSError:
        return []


def open_damaged(path: Path) -> Archive:
    """Opens an archive as its first ledger entry names it, whatever its settings say: to look at damage, or repair it.

    Errors: Trouble as open_archive, where there is no such entry.
    """
    root = place(path)
    first = layout.entry_path(root, 0)
    try:
        data = first.read_bytes()
        entry = LedgerEntry(data) if judge(data) == "valid" else None
    except OSError:
        entry = None
    if entry is None or entry.kind != "created" or not portable(str(entry["archive"])):
        return open_archive(root)
    return Archive(root, {"archive": {"id": entry["archive"], "format": layout.FORMAT}})
