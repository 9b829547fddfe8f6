"""Events and deposits of which a file is missing or damaged: what they corrected, stated or hold is not known.

Such an entry costs the answers about the jobs that it speaks of, and no others. An answer about one of these jobs is
refused; every other answer is given and names the entry (UnreadEntry), for nobody knows what a correction or a bag says
that cannot be read.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from archive.errors import Caveat, Trouble
from archive.store import files
from archive.store.records import DECIDED, NEVER_REDACTED, split_address

if TYPE_CHECKING:
    from archive.store.ledger import Ledger, LedgerEntry

TABLE = (
    "CREATE TABLE event_texts(number INTEGER PRIMARY KEY, path TEXT UNIQUE NOT NULL, sha256 TEXT NOT NULL, "
    "applied INTEGER NOT NULL, sound INTEGER NOT NULL)"
)
"""Texts of events that the catalogue rests on. applied: it holds what the text says; sound: the file is, as far as was
looked, the one that the ledger commits."""

RESTED_ON = {
    "amend": "corrections",
    "job": "stated facts",
    "attach": "documents",
    "cables": "settled cable types",
    "case": "a step of a case",
    "calibrations": "calibrations of units",
}
"""Kinds of events whose text the catalogue is built from, and what it holds. The others say all in their entry."""


class UnreadEntry(Caveat):
    """An answer was given though an event or a deposit cannot be read; the answer may lack what it says."""


@dataclass(frozen=True)
class Unread:
    """One such entry. holds: what is lost, in words; jobs: those that it speaks of; None where nobody can know.

    deposit: its id where it is one; applied: the catalogue holds what it said while it was sound.
    """

    number: int
    holds: str
    path: str
    jobs: frozenset[str | None] | None
    deposit: str | None = None
    applied: bool = False

    def __str__(self) -> str:
        about = ""
        if self.jobs:
            named = sorted(str(job or "not stated") for job in self.jobs)
            about = f" of job {', '.join(named[:5])}{' ...' if len(named) > 5 else ''}"
        return (
            f"ledger entry {self.number} ({self.holds}{about}) cannot be read, "
            f"{self.path} is missing or damaged: what it says may be missing here"
        )

    @property
    def may_be_given_up(self) -> bool:
        """Whether a redaction may take the file out: no proof rests on it."""
        return self.deposit is None or ("/data/" in self.path and not self.path.endswith(NEVER_REDACTED))

    def trouble(self, root: Path) -> Trouble:
        """What to say where an answer would rest on it."""
        given_up = (
            f"`muniment redact {root} --file {self.path} --reason TEXT` gives it up"
            if self.may_be_given_up
            else f"`muniment withdraw {root} --deposit {self.deposit} --reason TEXT` gives its records up, and their "
            "originals can be deposited again"
        )
        return Trouble(
            "the file is missing or is not the one that the ledger commits, and the answer would rest on it",
            code="archive.file-damaged",
            where=str(root / self.path),
            found=f"{self.holds}, ledger entry {self.number}",
            remedy=f"run `muniment fixity {root}`, then `muniment repair {root} --from COPY`; where no copy holds "
            f"it, {given_up}",
        )


def put(db: sqlite3.Connection, number: int, path: str, sha256: str, *, sound: bool) -> None:
    """Notes the text of an event that is applied now, or cannot be because it is not sound."""
    db.execute("INSERT OR REPLACE INTO event_texts VALUES(?, ?, ?, ?, ?)", (number, path, sha256, sound, sound))


def lost(db: sqlite3.Connection, path: str) -> bool:
    """Notes that a file is not sound any more; False where it is not the text of an event."""
    return db.execute("UPDATE event_texts SET sound = 0 WHERE path = ?", (path,)).rowcount > 0


def look_again(db: sqlite3.Connection, root: Path) -> bool:
    """Notes which texts are sound again; True where one of them was never applied: the catalogue must be rebuilt,
    and it stays noted until that is done."""
    rebuild = False
    for path, sha256, applied in db.execute("SELECT path, sha256, applied FROM event_texts WHERE NOT sound").fetchall():
        with suppress(OSError):
            if files.sha256((root / path).read_bytes()) == sha256:
                db.execute("UPDATE event_texts SET sound = applied WHERE path = ?", (path,))
                rebuild = rebuild or not applied
    return rebuild


def unread_events(db: sqlite3.Connection, ledger: Ledger) -> Iterator[Unread]:
    """All of them, by ledger number."""
    for number, path in db.execute("SELECT number, path FROM event_texts WHERE NOT sound ORDER BY number").fetchall():
        entry = ledger.read(int(number))
        if entry is not None:
            yield Unread(int(number), RESTED_ON[entry["event"]], path, _jobs(entry))


def _jobs(entry: LedgerEntry) -> frozenset[str | None] | None:
    """Jobs that an event speaks of. Corrections of earlier versions do not name theirs in the entry; settled cable
    types and calibrations are of no job, and no count of a job rests on a case."""
    if entry["event"] in ("cables", "calibrations", "case"):
        return frozenset()
    if entry["event"] == "amend":
        return frozenset(entry["jobs"]) if "jobs" in entry.fields else None
    return frozenset([entry["job"]])


def refuse(unread: Iterable[Unread], jobs: Iterable[str | None], root: Path) -> None:
    """Errors: Trouble where an answer about these jobs would rest on an entry that cannot be read."""
    asked = frozenset(jobs)
    for entry in unread:
        if entry.jobs is None or entry.jobs & asked:
            raise entry.trouble(root)


def decided_for(db: sqlite3.Connection, fields: Mapping[str, Any]) -> set[str | None]:
    """Jobs whose records a new ledger entry was decided by; none for one that states, withdraws, holds or removes,
    which rests on nothing that stands in an event. fields: of the entry."""
    if fields["kind"] == "deposit":
        named = [pair[1] for kind in DECIDED for pair in fields["decisions"].get(kind, []) if pair[1]]
    elif fields.get("event") in ("amend", "accept", "identity"):
        named = [*fields.get("records", ()), *(address for pair in fields.get("pairs", ()) for address in pair)]
    else:
        return set()
    where = "SELECT job_id FROM records WHERE deposit = ? AND position = ?"
    found = {row[0] for a in named if (row := db.execute(where, split_address(a)).fetchone()) is not None}
    return found.union([fields["job"]] if "job" in fields else [], fields.get("jobs", ()))
