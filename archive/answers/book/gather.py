"""Gathers a job for its book: the schedule and every standing record, from the catalogue and the bags."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from archive.answers.book.book_facts import BookFacts, BookLink, Row
from archive.answers.book.shelves import Shelves
from archive.answers.claim.around import documents, job_facts
from archive.answers.job_terms import breaches
from archive.answers.link import people
from archive.answers.progress import JobLink, progress
from archive.answers.setaside import set_aside
from archive.errors import Trouble
from archive.store import Archive, disposed

_PLACE = ("building", "floor", "space", "panel")


def gather(archive: Archive, job: str, *, cover: str = "") -> BookFacts:
    """Facts of one job. Errors: Trouble where the archive holds nothing of it, or a table was altered."""
    archive.digest_all()
    state = progress(archive, job)
    if not state.links:
        raise Trouble(
            "nothing was deposited for this job",
            code="job.nothing-deposited",
            where=str(archive.root),
            found=job,
            remedy=disposed.remedy(archive.db, job),
        )
    head = archive.head()
    newest = archive.ledger.read(head.size - 1)
    shelves = Shelves(archive)
    records = [x.record for x in state.links if x.record]
    deposits = sorted({r["deposit"] for r in records})
    return BookFacts(
        job=job_facts(archive, job, _site(archive, job)),
        links=sorted((_link(x, shelves) for x in state.links), key=lambda x: x.order),
        counts=state.counts,
        notes=[*state.notes, *filter(None, [disposed.of_job(archive.db, job)])],
        terms=breaches(archive, job, state.links),
        instruments=_instruments(records, shelves, deposits),
        findings=shelves.findings(deposits, {r["record_id"] for r in records}, {x.label for x in state.links}),
        documents=documents(archive, job),
        deposits=_deposits(archive, job),
        set_aside=[s for s in set_aside(archive, job) if not s["settled"]],
        head=head.root,
        entries=head.size,
        state=str(newest.get("at")) if newest is not None else "",
        archive_id=archive.id,
        result=shelves.result,
        records=shelves.records,
        cover=cover,
    )


def _link(x: JobLink, shelves: Shelves) -> BookLink:
    r, place = x.record, x.place
    if r is not None and not any(place.values()):
        place = shelves.place(r["deposit"], r["record_id"])
    where = tuple(str(place.get(k) or "") for k in _PLACE)
    if r is None:
        return BookLink(x, where, x.why)
    at = r["deposit"], r["record_id"]
    verdicts = shelves.verdicts(*at)
    why = (verdicts[0]["reason"] or "") if verdicts else ""
    return BookLink(x, where, why, shelves.margins(*at, r["limit_id"]), shelves.values(*at), shelves.losses(*at))


def _site(archive: Archive, job: str) -> str | None:
    found = archive.db.execute(
        "SELECT site FROM records WHERE job_id = ? AND site IS NOT NULL LIMIT 1", (job,)
    ).fetchone()
    return None if found is None else str(found[0])


def _instruments(records: Sequence[Row], shelves: Shelves, deposits: list[str]) -> list[dict[str, Any]]:
    """Units that the records name, with the number of links that rest on each."""
    counts: dict[str, int] = {}
    for r in records:
        for serial in {r["local_serial"], r["remote_serial"]}:
            if serial:
                counts[serial] = counts.get(serial, 0) + 1
    units: dict[tuple[Any, ...], dict[str, Any]] = {}
    for deposit in deposits:
        for u in shelves.instruments(deposit):
            if u["serial"] in counts:
                key = (u["serial"], u["calibrated_on"], u["calibration_due"])
                units[key] = {**u, "links": counts[u["serial"]]}
    return [units[k] for k in sorted(units, key=str)]


def _deposits(archive: Archive, job: str) -> list[dict[str, Any]]:
    found = []
    rows = archive.db.execute("SELECT deposit, records, root FROM deposits WHERE job_id = ? ORDER BY number", (job,))
    for deposit, records, root in rows.fetchall():
        entry = archive.deposit_entry(deposit)
        name = people(archive, [entry.get("by")], [entry]).get(entry.get("by") or "", "")
        found.append(
            {
                "deposit": deposit,
                "entry": entry.number,
                "when": entry.get("at"),
                "by": name,
                "records": records,
                "root": root,
            }
        )
    return found
