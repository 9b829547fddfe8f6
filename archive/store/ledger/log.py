"""The ledger: numbered entries, each created exclusively. Creating the file is the commit."""

from __future__ import annotations

import secrets
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from archive import disk
from archive.errors import Trouble
from archive.store import clock, files, layout, merkle
from archive.store.ledger.entry import VOID_LEAF, LedgerEntry, Sign, build, judge
from archive.version import PROGRAM

_PATIENCE = 20.0
"""Seconds for which a torn last entry must stay as it is before it is voided. Only exclusive creation, the last
resort of file systems without links, ever shows one; its writer asks again after half of that time."""


class Taken(Exception):
    """Another writer took the number: look again at what it committed, then try the next."""


class Ledger:
    """The ledger of one archive."""

    def __init__(self, root: Path, archive_id: str) -> None:
        self.root = root
        self.archive_id = archive_id

    def count(self) -> int:
        """Number that comes next if all is well: one more than the highest in the folder."""
        return layout.entry_count(self.root)

    def data(self, number: int) -> bytes | None:
        """Bytes of one entry's file as they are; None where there is none."""
        try:
            return layout.entry_path(self.root, number).read_bytes()
        except FileNotFoundError:
            return None

    def read(self, number: int) -> LedgerEntry | None:
        """One entry; None where its number was voided. Errors: Trouble where it is missing or damaged."""
        data = self.data(number)
        state = "missing" if data is None else judge(data)
        if state == "valid" and data is not None:
            entry = LedgerEntry(data)
            if (entry.get("number"), entry.get("archive")) != (number, self.archive_id):
                raise self._trouble(number, f"that of number {entry.get('number')} of archive {entry.get('archive')}")
            return entry
        if state == "torn" and (number + 1 >= self.count() or self._voided(number)):
            return None
        raise self._trouble(number, state)

    def _voided(self, number: int) -> bool:
        after = self.data(number + 1)
        return after is not None and judge(after) == "valid" and number in LedgerEntry(after).get("voids", [])

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

    def leaves(self, stop: int | None = None) -> list[bytes]:
        """Leaves of the tree over the entries before `stop` (default: all); a torn last file is not one yet."""
        found: list[bytes] = []
        for number in range(self.count() if stop is None else stop):
            entry = self.read(number)
            if entry is None and number + 1 == self.count():
                break
            found.append(VOID_LEAF if entry is None else entry.leaf)
        return found

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
                self._wait_until_given_up(number - 1)
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
        started = time.monotonic()
        if not self._claim(count, data, aside):
            raise Taken
        if time.monotonic() - started > _PATIENCE / 2:
            time.sleep(_PATIENCE)
            if self._voided(count):
                raise Taken
        return LedgerEntry(data)

    def _claim(self, number: int, data: bytes, aside: Path) -> bool:
        place = layout.entry_path(self.root, number)
        if not place.parent.is_dir():
            disk.make_folder(place.parent)
            disk.sync_folder(place.parent.parent)
        written = aside / f"{number:08d}-{secrets.token_hex(8)}.json"
        files.write_new(written, data)
        if not disk.claim(written, place):
            disk.remove(written)
            return False
        disk.sync_folder(place.parent)
        return True

    def _wait_until_given_up(self, number: int) -> None:
        before = self.data(number)
        time.sleep(_PATIENCE)
        if self.data(number) != before:
            raise Taken


def root_at(leaves: list[bytes], size: int | None = None) -> str:
    """Root over the first leaves (default: all) in hexadecimal digits: the head of a ledger."""
    return merkle.root(leaves[:size]).hex()
