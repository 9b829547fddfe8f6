"""Issuing a folder: its seal, the ledger entry that names the seal, and the proof that travels with it.

A folder is issued even where nothing can be written in the archive; then nothing vouches for it but a signature, where
a key is set, and it says so.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from archive.answers.sealing.seal_note import SealNote, WhyNot, seal_line
from archive.answers.wording import ENGLISH
from archive.errors import Trouble
from archive.objects import StorePath
from archive.objects.refusals import NotAllowed, StoreTrouble
from archive.store import Archive, clock, layout
from archive.store import open as open_archive
from archive.store.events import record
from archive.store.keys import known_keys
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.seals import SEAL, SEAL_PROOF, digests, prove_seal, sealed
from archive.store.second_copy import is_second_copy
from archive.version import PROGRAM


class NotEntered(Exception):
    """The ledger refused the entry after all: the pages, which say that there is one, must be made again."""


@dataclass(frozen=True)
class Content:
    """What is issued. what: "claim file" or "hand-over book"; said: fields of the seal; records: addresses that it
    shows; rests_on: numbers of ledger entries that parts of it are compared with; sizes: numbers of ledger entries
    at earlier heads that a reader may hold, such as those on receipts."""

    what: str
    said: Mapping[str, Any]
    records: Iterable[str] = ()
    rests_on: Iterable[int] = ()
    sizes: Iterable[int] = ()


@dataclass
class Issuer:
    """Issues folders of one archive. note: what the pages say of it, known before they are made.

    by: who issues, None where nobody stated a name; key: id of the key of `sign`.
    """

    archive: Archive
    by: str | None = None
    reason: str | None = None
    sign: Sign | None = None
    key: str = ""
    note: SealNote = field(default_factory=SealNote)
    entry: LedgerEntry | None = None

    def seal(self, folder: Path, content: Content) -> None:
        """Writes seal.json, and seal-proof.json, into a folder that is complete; nothing where nothing vouches for it.

        Errors: NotEntered where the ledger entry that the note promises cannot be written.
        """
        if not self.note.sealed:
            return
        listed = digests(folder)
        seal = sealed(
            {
                "what": content.what,
                "archive": self.archive.id,
                **content.said,
                "by": self.by,
                "made": clock.text(clock.now()),
                "reason": self.reason,
                "program": PROGRAM,
                "entered": self.note.entered,
            },
            listed,
            self.sign,
        )
        if self.note.entered:
            self.entry = self._enter(content, seal.sha256)
        (folder / SEAL).write_bytes(seal.data)
        (folder / SEAL_PROOF).write_bytes(self._proof(content))

    def told(self) -> str:
        """What became of the seal, for whoever had the folder made."""
        if self.entry is not None:
            head = self.archive.head()
            return f"sealed by ledger entry {self.entry.number}; the head is now {head.root}: keep it elsewhere"
        return seal_line(self.note, ENGLISH)

    def _enter(self, content: Content, seal: str) -> LedgerEntry:
        facts = {"what": content.what, "seal": seal, "records": sorted(content.records)}
        texts = {"reason": self.reason, "issued": dict(content.said), **facts}
        try:
            return record(self.archive, _EVENTS[content.what], by=self.by, texts=texts, facts=facts, sign=self.sign)
        except NotAllowed:
            self.note = replace(self.note, entered=False, why_not="no right")
            raise NotEntered from None
        except StoreTrouble:  # it may stand: nobody is to be told that it does not
            raise
        except (OSError, Trouble):
            self.note = replace(self.note, entered=False, why_not="damage")
            raise NotEntered from None

    def _proof(self, content: Content) -> bytes:
        numbers = list(content.rests_on)
        if self.entry is not None:
            numbers.append(self.entry.number)
        if self.key:
            numbers.append(int(str(known_keys(self.archive.entries())[self.key]["added"])))
        return prove_seal(self.archive, numbers, content.sizes)


_EVENTS = {"claim file": "claim issued", "hand-over book": "book issued"}


def issuer(
    root: Path,
    *,
    by: str | None,
    reason: str | None,
    sign: Callable[[Archive], Sign | None] = lambda archive: None,
    enter: bool = True,
) -> Issuer:
    """Who issues folders of an archive, which is never refused. sign: gives what signs this user's entries, if anything
    does; enter: name the folders in the ledger, where this user may write there."""
    archive = open_archive(root)
    try:
        signs = sign(archive)
        key = str(signs(b"")["key"]) if signs is not None else ""
    except (Trouble, OSError):
        return Issuer(archive, by, reason, None, "", SealNote(why_not="no key"))
    why: WhyNot = _obstacle(root) if enter else "forbidden"
    return Issuer(archive, by, reason, signs, key, SealNote(not why, key, why))


def _obstacle(root: Path) -> WhyNot:
    """Why this user cannot add an entry to the ledger; "" where nothing is in the way."""
    if is_second_copy(root):
        return "second copy"
    if isinstance(root, StorePath):
        return ""  # a store says it only when it is asked to write
    ledger = root / layout.LEDGER
    places = [root / layout.ASIDE, root / layout.EVENTS, ledger]
    with suppress(OSError):
        places += [p for p in sorted(ledger.iterdir()) if p.is_dir()][-1:]
    return "" if all(p.is_dir() and os.access(p, os.W_OK | os.X_OK) for p in places) else "no right"
