"""Corrections of metadata: a new event that names the old value and the new one. Nothing archived is rewritten."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from archive import vocabulary
from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign

FIELDS = {
    "link_label": "identifier of the link",
    "job_id": "job",
    "site": "site",
    "cable_type": "brand-neutral cable type",
    "configuration": "channel, permanent-link ...",
    "tested_local": "ISO 8601 local date or date-time, where the instrument's clock was wrong",
    "local_serial": "serial number of the unit at the local end",
    "remote_serial": "serial number of the unit at the remote end",
}
"""What may be corrected. What was measured may not: it is withdrawn, and tested again."""


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
    listed = [{"record": c.record, "field": c.field, "old": c.old, "new": c.new} for c in made]
    texts = {"reason": reason, "changes": listed}
    return record(archive, "amend", by=by, texts=texts, facts={"changes": len(made)}, sign=sign), made


def _with_old(archive: Archive, changes: list[Correction]) -> list[Correction]:
    made = []
    for c in changes:
        deposit, _, position = c.record.rpartition("/")
        found = archive.db.execute(
            f"SELECT {c.field} FROM records WHERE deposit = ? AND position = ?", (deposit, int(position))
        ).fetchone()
        if found[0] != c.new:
            made.append(Correction(c.record, c.field, c.new, found[0]))
    return made


def _check(change: Correction) -> None:
    if change.field not in FIELDS:
        raise Trouble(
            f"{change.field} cannot be corrected",
            code="amend.not-a-field",
            expected=f"one of {', '.join(FIELDS)}",
            remedy="what was measured is withdrawn and tested again",
        )
    if change.field == "configuration" and change.new is not None:
        _one_of(change, vocabulary.words("configuration"))
    if change.field == "tested_local" and change.new is not None:
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
