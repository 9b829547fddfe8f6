"""Gathers a job for its book: the schedule and every standing record, from the catalogue and the bags."""

from __future__ import annotations

from typing import Any

from archive.answers.book.book_facts import BookFacts, BookLink
from archive.answers.book.shelves import Shelves
from archive.answers.claim.around import documents, job_facts
from archive.answers.link import people
from archive.answers.progress import LinkState, progress
from archive.answers.setaside import set_aside
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.search import SHOWN
from archive.store.catalogue.standing_columns import link_states

_PLACE = ("building", "floor", "space", "panel", "port")


def gather(archive: Archive, job: str, *, cover: str = "") -> BookFacts:
    """Facts of one job. Errors: Trouble where the archive holds nothing of it, or a table was altered."""
    state = progress(archive, job)
    undecided = _undecided(archive, job)
    if not state.links and not undecided:
        raise Trouble(
            "nothing was deposited for this job", code="job.nothing-deposited", where=str(archive.root), found=job
        )
    head = archive.head()
    newest = archive.ledger.read(head.size - 1)
    shelves = Shelves(archive)
    links = [_link(x, shelves, undecided) for x in state.links]
    there = {x.label for x in links}
    links += [BookLink(label, why=why, scheduled=False) for label, why in undecided.items() if label not in there]
    records = [x.record for x in state.links if x.record]
    deposits = sorted({r["deposit"] for r in records})
    return BookFacts(
        job=job_facts(archive, job, _site(archive, job)),
        links=sorted(links, key=lambda x: x.order),
        progress=state.plain(),
        instruments=_instruments(state.links, shelves, deposits),
        findings=shelves.findings(deposits, {r["record_id"] for r in records}, {x.label for x in links}),
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


def _undecided(archive: Archive, job: str) -> dict[str, str]:
    """Links of the job that were tested and of which no record stands, with the reason."""
    rows = archive.db.execute(
        f"SELECT {SHOWN} FROM records WHERE job_id = ? AND kind NOT IN ('same_file', 'same_content') AND link_key IN "
        "(SELECT link_key FROM records WHERE job_id = ? GROUP BY link_key HAVING max(accepted) = 0)",
        (job, job),
    ).fetchall()
    by_label: dict[str, list[Any]] = {}
    for r in rows:
        by_label.setdefault(str(r["link_label"]), []).append(r)
    found = {}
    for label, members in sorted(by_label.items()):
        state = link_states(archive.db, members)
        found[label] = "; ".join(sorted({state[r["row"]].why for r in members if r["row"] in state}))
    return found


def _link(x: LinkState, shelves: Shelves, undecided: dict[str, str]) -> BookLink:
    r = x.record
    place = dict(x.place)
    if r is not None and not any(place.values()):
        place = shelves.place(r["deposit"], r["record_id"])
    where: dict[str, Any] = {k: str(place.get(k) or "") for k in _PLACE}
    if r is None:
        why = undecided.get(x.label, "not tested")
        return BookLink(x.label, **where, limit=x.required_limit or "", why=why, scheduled=x.scheduled)
    verdicts = shelves.verdicts(r["deposit"], r["record_id"])
    return BookLink(
        x.label,
        **where,
        address=r["address"],
        digest=r["digest"],
        why=(verdicts[0]["reason"] or "") if verdicts else "",
        tested=r["tested_local"] or r["tested_at"] or "",
        limit=r["limit_id"] or r["limit_found"] or "",
        reported=r["reported_verdict"] or "",
        verdict=r["verdict"] or "not graded",
        marginal=bool(r["marginal"]),
        provisional=bool(r["provisional"]),
        scheduled=x.scheduled,
        margins=shelves.margins(r["deposit"], r["record_id"], r["limit_id"]),
        values=shelves.values(r["deposit"], r["record_id"]),
    )


def _site(archive: Archive, job: str) -> str | None:
    found = archive.db.execute(
        "SELECT site FROM records WHERE job_id = ? AND site IS NOT NULL LIMIT 1", (job,)
    ).fetchone()
    return None if found is None else str(found[0])


def _instruments(links: list[LinkState], shelves: Shelves, deposits: list[str]) -> list[dict[str, Any]]:
    """Units that standing records name, with the number of links that rest on each."""
    counts: dict[str, int] = {}
    for x in links:
        for serial in {x.record["local_serial"], x.record["remote_serial"]} if x.record else set():
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
        found.append({"deposit": deposit, "when": entry.get("at"), "by": name, "records": records, "root": root})
    return found
