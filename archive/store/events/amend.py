"""Corrections of metadata: a new event that names the old value and the new one. Nothing archived is rewritten."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from archive import vocabulary
from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.events.write import PEOPLE, json_bytes, person, record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.names import check_job_name
from archive.store.records import split_address
from archive.vocabulary import cables

FIELDS = {
    "link_label": "identifier of the link",
    "job_id": "job",
    "site": "site",
    "building": "building of the local end",
    "floor": "floor of the local end",
    "space": "room or telecommunications space of the local end",
    "panel": "panel or cabinet position of the local end",
    "port": "port or outlet of the local end",
    "cable_type": "brand-neutral cable type",
    "configuration": "channel, permanent-link ...",
    "limit_found": "words of the limit it was tested to; the verdict stays until it is graded again",
    "tested_local": "ISO 8601 local date or date-time, where the instrument's clock was wrong",
    "tested_at": "the same in UTC, where a zone is known",
    "local_serial": "serial number of the unit at the local end",
    "remote_serial": "serial number of the unit at the remote end",
    "maker": "maker of the unit at the local end",
    "operator": "who tested",
    "organisation": "whom the tester worked for",
}
"""What may be corrected. What was measured may not: it is withdrawn, and tested again."""

_PERSON = ("operator", "organisation")
_OUTSIDE = (*_PERSON, "maker")
"""Fields that the catalogue's records have no column for: their former value stands in the bag."""


@dataclass(frozen=True)
class Correction:
    """One corrected field of one record, given by its address "deposit/position"."""

    record: str
    field: str
    new: str | None
    old: str | None = None


def amend(
    archive: Archive, changes: Iterable[Correction], *, by: str | None, reason: str | None, sign: Sign | None = None
) -> tuple[LedgerEntry | None, list[Correction]]:
    """Commits corrections as one event; changes that change nothing are left out.

    Gives the entry (None where nothing was left) and the changes with their old values. Errors: Trouble for a field
    that may not be corrected, a value that cannot stand there, or a record that is not there.
    """
    wanted = [Correction(archive.address(c.record), c.field, c.new) for c in changes]
    for change in wanted:
        _check(change)
    made = _with_old(archive, wanted)
    if not made:
        return None, []
    named: dict[tuple[str, str | None], tuple[str | None, list[dict[str, Any]]]] = {
        (c.field, c.new): person(c.new, c.field) for c in made if c.field in _PERSON and c.new
    }
    listed = [
        {"record": c.record, "field": c.field, "old": c.old, "new": named.get((c.field, c.new), (c.new,))[0]}
        for c in made
    ]
    people = [row for _, rows in named.values() for row in rows]
    attached = {PEOPLE: json_bytes(people)} if people else None
    texts, facts = {"reason": reason, "changes": listed}, {"changes": len(made), "jobs": _jobs(archive, made)}
    return record(archive, "amend", by=by, texts=texts, facts=facts, attached=attached, sign=sign), made


def _with_old(archive: Archive, changes: list[Correction]) -> list[Correction]:
    made = []
    for c in changes:
        deposit, _, position = c.record.rpartition("/")
        if c.field in _OUTSIDE:
            made.append(Correction(c.record, c.field, c.new))
            continue
        found = archive.db.execute(
            f"SELECT {c.field} FROM records WHERE deposit = ? AND position = ?", (deposit, int(position))
        ).fetchone()
        if found[0] != c.new:
            made.append(Correction(c.record, c.field, c.new, found[0]))
    return made


def _jobs(archive: Archive, changes: list[Correction]) -> list[str | None]:
    """Jobs of the records, as they are and as they become: were the text lost, it is known whom it concerned."""
    places = [split_address(c.record) for c in changes]
    now = "SELECT job_id FROM records WHERE deposit = ? AND position = ?"
    found = {archive.db.execute(now, place).fetchone()[0] for place in places}
    found |= {c.new for c in changes if c.field == "job_id"}
    return sorted(found, key=lambda job: (job is None, job or ""))


def _check(change: Correction) -> None:
    if change.field not in FIELDS:
        raise Trouble(
            f"{change.field} cannot be corrected",
            code="amend.not-a-field",
            expected=f"one of {', '.join(FIELDS)}",
            remedy="what was measured is withdrawn and tested again",
        )
    if change.field == "job_id":
        check_job_name(change.new, "job_id")
    if change.field == "configuration" and change.new is not None:
        _one_of(change, vocabulary.words("configuration"))
    if change.field == "cable_type" and change.new is not None and not cables.valid(change.new):
        raise Trouble(
            "no such cable type",
            code="amend.unknown-word",
            found=change.new,
            expected="such as cat6a/f-utp/awg23/solid, or unknown/f-utp where the category is not known",
        )
    if change.field in ("tested_local", "tested_at") and change.new is not None:
        try:
            datetime.fromisoformat(change.new)
        except ValueError:
            raise Trouble(
                "no ISO 8601 date or time",
                code="amend.not-a-date",
                found=change.new,
                expected="such as 2019-03-04T10:15",
            ) from None


def _one_of(change: Correction, words: Iterable[Any]) -> None:
    if change.new not in words:
        raise Trouble(
            f"no such {change.field}",
            code="amend.unknown-word",
            found=str(change.new),
            expected=", ".join(sorted(words)),
        )
