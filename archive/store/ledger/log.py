"""The ledger: numbered entries, each created exclusively. Creating the file is the commit."""

from __future__ import annotations

import math
import random
import secrets
import time
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from archive import disk
from archive.errors import Trouble
from archive.objects import StorePath
from archive.store import clock, files, layout
from archive.store.ledger.entry import LedgerEntry, Sign, build, judge
from archive.version import PROGRAM

_PATIENCE = 2.0
"""Seconds in which a torn last entry may still become whole. Only exclusive creation, the last resort of file systems
without links, shows one while it is being written."""


_LIST_AGAIN = 1.0
"""Seconds for which the ledger on an object store is not listed again. A writer need not: it is refused then."""
_TURN = 0.2
"""Seconds that a writer on a store waits at most after another one took the number that it wanted."""


class Taken(Exception):
    """Another writer took the number: look again at what it committed, then try the next."""


class Ledger:
    """The ledger of one archive. deciding: number of a torn entry that a person is about to void."""

    def __init__(self, root: Path, archive_id: str) -> None:
        self.root = root
        self.archive_id = archive_id
        self.deciding: int | None = None
        self.known = 0
        """A number of entries that were seen before."""
        self.made: set[str] = set()
        """Ids of what was committed here."""
        self._listed = -math.inf
        self._far = isinstance(root, StorePath)

    def count(self) -> int:
        """Number that comes next if all is well: one more than the highest in the folder."""
        if not self._far or time.monotonic() - self._listed > _LIST_AGAIN:
            self.known = layout.entry_count(self.root, self.known)
            self._listed = time.monotonic()
        return self.known

    def look_again(self) -> None:
        """The next count lists the ledger, however short ago that was."""
        self._listed = -math.inf

    def fetch(self, start: int) -> None:
        """Entries from a number on will be read: a store is asked for them beside each other."""
        if isinstance(self.root, StorePath):
            wanted = (layout.entry_path(self.root, number) for number in range(start, self.count()))
            self.root.fetch(path.relative_to(self.root).as_posix() for path in wanted)

    def data(self, number: int) -> bytes | None:
        """Bytes of one entry's file as they are; None where there is none."""
        try:
            return layout.entry_path(self.root, number).read_bytes()
        except FileNotFoundError:
            return None

    def read(self, number: int) -> LedgerEntry | None:
        """One entry; None where a later entry voids its number, or where a person is about to (`deciding`).

        A torn entry is never taken for one that is not there. Errors: Trouble where it is missing, torn or damaged.
        """
        data = self.data(number)
        state = "missing" if data is None else judge(data)
        if state == "torn" and (number == self.deciding or self._voided(number)):
            return None
        if state == "torn" and number + 1 >= self.count():
            data = self.settled(number)
            state = judge(data)
        if state == "valid" and data is not None:
            entry = LedgerEntry(data)
            if (entry.get("number"), entry.get("archive")) != (number, self.archive_id):
                raise self._trouble(number, f"that of number {entry.get('number')} of archive {entry.get('archive')}")
            return entry
        raise self._torn(number) if state == "torn" else self._trouble(number, state)

    def _voided(self, number: int) -> bool:
        after = self.data(number + 1)
        return after is not None and judge(after) == "valid" and number in LedgerEntry(after).get("voids", [])

    def settled(self, number: int) -> bytes:
        """A torn last entry, once its writer has ended it or it was finished from what its writer meant to write."""
        until = time.monotonic() + _PATIENCE
        while judge(data := self.data(number) or b"") == "torn" and time.monotonic() < until:
            time.sleep(0.05)
        if judge(data) == "torn":
            self._finish(number, data)
        return self.data(number) or b""

    def _finish(self, number: int, torn: bytes) -> None:
        """Finishes an entry whose writer stopped in the middle: the whole of it lies in aside/, synced before.

        Does nothing where there is no such file, or where this user may not write.
        """
        aside = self.root / layout.ASIDE
        for path in sorted(aside.glob(f"*/{number:08d}-*.json")):
            with suppress(OSError, Trouble):
                meant = path.read_bytes()
                if judge(meant) == "valid" and meant.startswith(torn) and self._continues(number, LedgerEntry(meant)):
                    files.put(layout.entry_path(self.root, number), meant, aside)
                    return

    def _continues(self, number: int, entry: LedgerEntry) -> bool:
        before = self.read(number - 1) if number else None
        previous = None if before is None else before.sha256
        told = (entry.get("number"), entry.get("archive"), entry.get("previous"))
        return told == (number, self.archive_id, previous)

    def _torn(self, number: int) -> Trouble:
        return Trouble(
            f"ledger entry {number} ends too early, and what it said is not known",
            code="ledger.entry-torn",
            where=str(layout.entry_path(self.root, number)),
            remedy=f"run `muniment repair {self.root} --from COPY`; where no copy has it, somebody must decide: "
            f"`muniment void {self.root} {number} --reason TEXT`",
        )

    def _trouble(self, number: int, state: str) -> Trouble:
        return Trouble(
            f"ledger entry {number} is {state}",
            code="ledger.entry-damaged",
            where=str(layout.entry_path(self.root, number)),
            remedy=f"run `muniment fixity {self.root}`, then `muniment repair {self.root} --from COPY`",
        )

    def entries(self, start: int = 0) -> Iterator[LedgerEntry]:
        """Valid entries from a number on. Errors: Trouble where one is missing or damaged."""
        for number in range(start, self.count()):
            entry = self.read(number)
            if entry is not None:
                yield entry

    def append(self, expected: int, fields: Mapping[str, Any], aside: Path, sign: Sign | None = None) -> LedgerEntry:
        """Commits the next entry. Its file is written in the folder `aside` and then claims its number.

        expected: the number of entries that the caller has looked at. Errors: Taken where there are more by now.
        """
        count = self.count()
        previous: LedgerEntry | None = None
        voids: list[int] = []
        number = count
        while number and previous is None:
            previous = self.read(number - 1)
            if previous is None:
                voids.append(number - 1)
                number -= 1
        if number > expected:
            raise Taken
        if number < expected:
            raise Trouble(
                f"the ledger has {number} entries where {expected} were read a moment ago",
                code="ledger.shorter-than-read",
                where=str(self.root / layout.LEDGER),
                remedy=f"run `muniment fixity {self.root}`",
            )
        head = {
            "number": count,
            "archive": self.archive_id,
            "previous": None if previous is None else previous.sha256,
            **({"voids": sorted(voids)} if voids else {}),
            "kind": fields["kind"],
            "at": clock.text(clock.now()),
            "program": PROGRAM,
        }
        data = build({**head, **fields}, sign)
        if not self._claim(count, data, aside):
            self._let_others_go_first()
            raise Taken
        self.made.update(str(fields[name]) for name in ("id", "deposit") if name in fields)
        return LedgerEntry(data)

    def _let_others_go_first(self) -> None:
        """On a store who lost asks twice where who won asks once, and would lose again: it waits for a random time."""
        self.look_again()
        if self._far:
            time.sleep(random.uniform(0, _TURN))

    def _claim(self, number: int, data: bytes, aside: Path) -> bool:
        place = layout.entry_path(self.root, number)
        if not self._far and not place.parent.is_dir():
            disk.make_folder(place.parent)
            disk.sync_folder(place.parent.parent)
        written = aside / f"{number:08d}-{secrets.token_hex(8)}.json"
        files.write_new(written, data)
        if not disk.claim(written, place):
            disk.remove(written)
            return False
        disk.sync_folder(place.parent)
        if self._far:
            self.known = number + 1
        return True
