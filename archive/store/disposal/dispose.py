"""The two steps of a disposal. Somebody proposes it, somebody else approves it: by that entry the bytes go.

What goes: all that the bags of the job's deposits hold but mappings and limit lines; its documents and corrections,
where they are of no other job. What stays: the bags' manifests (digest of every file that was), the ledger, facts of
the job, holds, closed cases, and what gradings over several jobs said of its records. Stopped after its entry, the next
command of anybody who may write takes the bytes away.
"""

from __future__ import annotations

import sqlite3
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.store import files
from archive.store.archive import Archive
from archive.store.catalogue.apply_event import DISPOSAL, DISPOSAL_PROPOSED
from archive.store.checked_files import damaged
from archive.store.counting import blocks
from archive.store.disposal.due import DisposableJob, one_job
from archive.store.events.write import record, told
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign

_STAYS = ("mappings/", "limits/")
"""In data/ of a bag: what readers and graders went by, which is of no job."""
_OF_THE_JOB = ("attach", "amend")
"""Events whose files go with the job that they are of, and of no other."""

Watch = Callable[[list[str]], Iterable[str]]


@dataclass(frozen=True)
class Disposal:
    """A disposal as the ledger holds it: who proposed it and who approved it (None: the name was redacted), the reason
    given for each."""

    proposal: LedgerEntry
    entry: LedgerEntry
    proposed_by: str | None
    approved_by: str | None
    proposed_reason: str | None
    approved_reason: str | None

    @property
    def job(self) -> str:
        """The job whose records went."""
        return str(self.entry["job"])


def propose(
    archive: Archive, job: str, on: date, *, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Names a job's records for disposal; nothing goes yet. on: today.

    Errors: Trouble where something forbids it, nobody is named, or it was proposed before.
    """
    _require_name(by)
    found = one_job(archive, job, on)
    _require_free(found)
    if found.proposal is not None:
        raise Trouble(
            "it is proposed already",
            code="disposal.proposed",
            found=f"ledger entry {found.proposal}",
            remedy="somebody else may approve it",
        )
    facts = {"job": job, "deposits": list(found.deposits), "count": found.records}
    return record(archive, DISPOSAL_PROPOSED, by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)


def approve(
    archive: Archive,
    job: str,
    on: date,
    *,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
    watch: Watch = iter,
) -> LedgerEntry:
    """Approves what somebody else proposed, and takes the bytes away. Each file is compared with its digest before.

    Errors: Trouble where nobody proposed it as it stands now, the same person did, something forbids it, or a file is
    damaged; where somebody disposes of it, or places a hold, at the same time.
    """
    _require_name(by)
    found = one_job(archive, job, on)
    _require_free(found)
    proposal = _proposal(archive, found)
    _require_another(archive, proposal, str(by), job)
    gone = [_tombstone(archive, path, digest) for path, digest in _pairs(archive, found, watch)]
    facts = {"job": job, "proposal": proposal["id"], "deposits": list(found.deposits), "count": found.records}

    def as_it_stands() -> dict[str, Any]:
        _require_same(archive, found, on)
        return {**facts, "gone": gone}

    made = record(
        archive,
        DISPOSAL,
        by=by,
        texts={"reason": reason, **facts, "retain_until": found.until, "warranty_end": found.warranty_end},
        facts=as_it_stands,
        sign=sign,
    )
    blocks.forget(archive.id)
    archive.take_away_condemned()
    with suppress(sqlite3.Error):  # another program reads it just now; what is left in it is in no answer
        archive.db.execute("VACUUM")  # what was indexed of the records is overwritten, too
    for name in found.deposits:
        _remove_empty(archive.bag(name) / "data")
    archive.ended.clear()
    return made


def disposals(archive: Archive) -> list[Disposal]:
    """Every disposal, by ledger number."""
    archive.catch_up()
    made = []
    rows = archive.db.execute(
        "SELECT d.number, p.number FROM disposals d JOIN disposal_proposals p ON p.id = d.proposal ORDER BY d.number"
    )
    for number, proposed in rows.fetchall():
        entry, proposal = archive.ledger.read(int(number)), archive.ledger.read(int(proposed))
        if entry is not None and proposal is not None:
            who = [archive.names(e).get(e.get("by") or "") for e in (proposal, entry)]
            why = [archive.texts(e).get("reason") for e in (proposal, entry)]
            made.append(Disposal(proposal, entry, who[0], who[1], why[0], why[1]))
    return made


def _pairs(archive: Archive, found: DisposableJob, watch: Watch) -> Iterator[tuple[str, str]]:
    """Path and digest of each file that goes, as it stands today."""
    for name in watch(list(found.deposits)):
        entry = archive.deposit_entry(name)
        for path, digest in archive.checked.of_entry(entry).items():
            inside = path.removeprefix(f"{entry['path']}/data/")
            if inside != path and not inside.startswith(_STAYS):
                yield from _current(archive, path, digest)
    for entry in archive.entries():
        if entry.get("event") in _OF_THE_JOB and _jobs(entry) == {found.job}:
            for path, said in entry.files.items():
                yield from _current(archive, path, said["sha256"])


def _current(archive: Archive, path: str, digest: str) -> Iterator[tuple[str, str]]:
    current = archive.checked.current(path, digest)
    if current is not None:
        yield current


def _jobs(entry: LedgerEntry) -> set[str | None]:
    return {entry.get("job")} if "job" in entry.fields else set(entry.get("jobs", ()))


def _tombstone(archive: Archive, path: str, digest: str) -> dict[str, Any]:
    place = archive.root / path
    if not place.is_file():
        raise damaged(archive.root, path, digest, "missing")
    found = told(files.fingerprint(place))
    if found["sha256"] != digest:
        raise damaged(archive.root, path, digest)
    return {"path": path, **found, "replacement": None}


def _proposal(archive: Archive, found: DisposableJob) -> LedgerEntry:
    entry = None if found.proposal is None else archive.ledger.read(found.proposal)
    if entry is None:
        raise Trouble(
            "nobody has proposed this disposal as the job stands now",
            code="disposal.not-proposed",
            where=found.job,
            expected="two people: one proposes it, another one approves it",
            remedy="propose it first, with --propose",
        )
    return entry


def _require_another(archive: Archive, proposal: LedgerEntry, by: str, job: str) -> None:
    first = archive.names(proposal).get(proposal.get("by") or "")
    if first is None or _folded(first) == _folded(by):
        raise Trouble(
            "a disposal takes two people, and this is the one who proposed it"
            if first is not None
            else "the name of who proposed this disposal was redacted",
            code="disposal.same-person",
            where=job,
            found=by if first is not None else f"ledger entry {proposal.number}",
            expected="another person",
        )


def _require_name(by: str | None) -> None:
    if not by:
        raise Trouble("who does this?", code="disposal.no-name", expected="--by NAME, or `muniment me NAME` once")


def _require_free(found: DisposableJob) -> None:
    if found.hindrances:
        raise Trouble(
            "these records are not to be disposed of",
            code="disposal.forbidden",
            where=found.job,
            found="; ".join(h.text for h in found.hindrances),
            expected="a day of retention that is over, and no hold, warranty, or open case",
        )


def _require_same(archive: Archive, found: DisposableJob, on: date) -> None:
    """Asked right before the entry is written, and again where another writer was first."""
    now = one_job(archive, found.job, on)
    _require_free(now)
    if (now.deposits, now.proposal, now.records) != (found.deposits, found.proposal, found.records):
        raise Trouble(
            "the job has changed meanwhile",
            code="disposal.changed",
            where=found.job,
            remedy="look at it again, and propose it anew",
        )


def _folded(name: str) -> str:
    """A name without what tells no two people apart: case, blanks, dots."""
    return "".join(c for c in unicodedata.normalize("NFKC", name).casefold() if c.isalnum())


def _remove_empty(folder: Path) -> None:
    """Removes folders with nothing in them; data/ itself stays, as a bag has one (RFC 8493)."""
    for inside in sorted((p for p in folder.rglob("*") if p.is_dir()), key=lambda p: -len(p.parts)):
        if not any(inside.iterdir()):
            inside.rmdir()
