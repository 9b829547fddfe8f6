"""Gathers everything the archive knows of one link. Reads bags, and checks the digests of what it prints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from archive import grading
from archive.answers.claim.applications import applications
from archive.answers.claim.archived_curves import compared
from archive.answers.claim.around import around, documents, job_facts, neighbours
from archive.answers.claim.claim_facts import (
    ASSESSMENT,
    DEPOSIT,
    ClaimFacts,
    Row,
    StatedVerdict,
    TestedRecord,
    letters,
)
from archive.answers.claim.editions import again, newest
from archive.answers.claim.enclosed import enclosed
from archive.answers.claim.fresh import fresh
from archive.answers.claim.home_job import warranted_job
from archive.answers.claim.proven_records import proven_record
from archive.answers.history import KINDS, history, link_cautions
from archive.answers.leading_margins import rows_with_leading, verdicts_with_leading
from archive.answers.link import ArchivedLink, open_link, people
from archive.answers.progress import link_of_job
from archive.errors import Trouble
from archive.store import Archive, clock, disposed
from archive.store.assessments import Assessed, of_records
from archive.store.catalogue.standing_columns import acceptances
from archive.store.roles import family, fits
from archive.tables import Batch
from archive.tables.canonical import record_digests


def gather(archive: Archive, label: str, **chosen: Any) -> tuple[ClaimFacts, dict[str, bytes]]:
    """Facts of one link, and the files that its claim file encloses, by their path in the bag. Arguments and errors:
    see link_facts."""
    return enclosed(archive, link_facts(archive, label, **chosen))


def link_facts(
    archive: Archive,
    label: str,
    *,
    job: str | None = None,
    site: str | None = None,
    retest: Path | None = None,
    reason: str = "",
    on: date | None = None,
) -> ClaimFacts:
    """Facts of one link, without what its claim file encloses of files as received and of documents.

    on: the day that spans are counted from, by default today in UTC. What a claim states is for the caller to add to
    the facts. Errors: Trouble where the link cannot be told,
    the fresh test cannot be read, or a record's bytes are not what the ledger says they are.
    """
    made = clock.now()
    archive.digest_all()
    day = (on or made.date()).isoformat()
    link = open_link(archive, label, job=job, site=site, role="accepted")
    if job is None and (covered := warranted_job(archive, link, day)) not in (None, link.home["job_id"]):
        link = open_link(archive, label, job=covered, site=site, role="accepted")
    head = archive.head()
    last = archive.ledger.read(head.size - 1)
    state = str(last.get("at")) if last is not None else ""
    stands = link.standing
    runs = of_records(archive, (r["address"] for r in link.rows), grades=True)
    tests = [_tested(archive, link, r, runs) for r in link.rows]
    standing = next((t for t in tests if t.standing), None)
    proven = proven_record(archive, stands["address"], state) if stands is not None else None
    verdict = standing.verdict() if standing else None
    former = archive.db.execute(
        "SELECT DISTINCT a.old FROM amendments a JOIN records r ON r.row = a.row "
        "WHERE a.field = 'link_label' AND a.old IS NOT NULL AND r.link = ? ORDER BY a.number",
        (link.key,),
    )
    new = fresh(retest, link.label, standing) if retest is not None else None
    of_job = link.home["job_id"]
    in_job = link_of_job(archive, of_job, link.key) if of_job and link.key else None
    facts = ClaimFacts(
        link=link.label,
        job=job_facts(archive, link.home["job_id"], link.home["site"]),
        place=_place(standing or tests[0]),
        tests=tests,
        standing=standing,
        why=link.why,
        reasons=link.reasons,
        history=[e for e in history(archive, link) if e["deposit"] is None],
        neighbours=neighbours(archive, link),
        documents=documents(archive, link.home["job_id"], link.label),
        proof=proven.proof if proven else {},
        head=head.root,
        entries=head.size,
        state=state,
        archive_id=archive.id,
        on=day,
        around=around(archive, link),
        steps=proven.steps if proven else (),
        signatures=_signatures(archive, link),
        cautions=[*_compared(archive, link), *link_cautions(archive, link), *_disposed(archive)],
        retest=new,
        compared=compared(archive, link, new),
        reason=reason,
        newest_edition=newest(verdict["limit_id"]).named if verdict else "",
        former_labels=[str(r[0]) for r in former],
        counted=None if in_job is None else in_job.result,
        role=link.role,
        made=clock.text(made),
        proven=proven.since if proven else None,
        required_kept=_required_kept(archive, stands),
        applications=applications(standing.batch) if standing else (),
    )
    return replace(facts, disputed=[proven_record(archive, t.address, state) for _, t in letters(facts)])


def _tested(archive: Archive, link: ArchivedLink, r: dict[str, Any], runs: list[Assessed]) -> TestedRecord:
    batch = archive.record(r["address"])
    digest = record_digests(batch)[0]
    if digest != r["digest"]:
        raise Trouble(
            "the record in its bag is not the one the ledger proves",
            code="archive.record-altered",
            where=r["address"],
            found=digest,
            expected=str(r["digest"]),
            remedy=f"run `muniment fixity {archive.root} --depth deep`",
        )
    stands = link.standing
    standing = stands is not None and r["row"] == stands["row"]
    state = link.states[r["row"]].why_accepted if standing and link.role == "accepted" else link.states[r["row"]].why
    entry = archive.deposit_entry(r["deposit"])
    stated = _said(archive, batch, entry, [a for a in runs if a.address == r["address"]])
    return TestedRecord(
        batch=batch,
        digest=digest,
        address=r["address"],
        deposit=r["deposit"],
        job=r["job_id"] or "",
        deposited_at=str(entry.get("at")),
        deposited_by=people(archive, [entry.get("by")], [entry]).get(entry.get("by") or "", ""),
        entry=entry.number,
        relation="test" if r["kind"] in ("new", "retests") else KINDS.get(r["kind"], r["kind"]),
        state=state,
        standing=standing,
        accepted=_accepted_in(link, r),
        stated=[*stated, *again(batch, stated)] if standing else stated,
        cable=(r["cable_type"], r["cable_basis"]),
        curves=grading.derived(batch) if standing or state.startswith("in conflict") else None,
    )


def _accepted_in(link: ArchivedLink, r: dict[str, Any]) -> str:
    """Why a record is the accepted one of its job; empty where it is not."""
    state = link.states[r["row"]]
    return state.why_accepted if state.accepted_unit == r["row"] else ""


def _said(archive: Archive, batch: Batch, entry: Any, runs: list[Assessed]) -> list[StatedVerdict]:
    """What was archived with a record, and what later grading runs said."""
    grades: list[Row] = batch["grades"].to_pylist()
    at = str(entry.get("at"))

    def of(limit: str | None, rows: list[Row]) -> list[Row]:
        return [g for g in rows if g["limit_id"] == limit]

    verdicts: list[Row] = verdicts_with_leading(batch["verdicts"], lambda: batch["grades"]).to_pylist()
    found = [StatedVerdict(DEPOSIT, at, "", v, of(v["limit_id"], grades)) for v in verdicts]
    for run in runs:
        key = run.entry.get("by")
        who = people(archive, [key], [run.entry]).get(key or "", "")
        rows: list[Row] = list(run.grades)
        found += [
            StatedVerdict(ASSESSMENT, str(run.entry.get("at")), who, v, of(v["limit_id"], rows))
            for v in rows_with_leading(run.verdicts, rows)
        ]
    return found


def _place(tested: TestedRecord) -> Mapping[str, Any]:
    places = {p["place_id"]: p for p in tested.rows("places")}
    found = places.get(tested.record["local_place_id"]) or places.get(tested.record["remote_place_id"])
    return found or {}


def _disposed(archive: Archive) -> list[str]:
    """That records of other jobs, which may have been of the link, were disposed of."""
    found = disposed.sentence(archive.db)
    return [found] if found else []


def _compared(archive: Archive, link: ArchivedLink) -> list[str]:
    """A ledger for which nothing outside vouches may have been rewritten as a whole."""
    numbers = [archive.deposit_entry(r["deposit"]).number for r in link.rows]
    if any(e.get("event") == "stamp" and int(e["size"]) > max(numbers, default=0) for e in archive.entries()):
        return []
    return [
        "it was checked against nothing but itself, for no time stamp covers this link; a head held elsewhere, such as "
        "that on a receipt, shows whether it was rewritten as a whole"
    ]


def _required_kept(archive: Archive, stands: dict[str, Any] | None) -> bool | None:
    """Whether a record was tested to the limit that its job requires; None where that cannot be said."""
    if stands is None or stands["limit_id"] is None:
        return None
    required = acceptances(archive.db, [stands["job_id"]]).get(stands["job_id"])
    return None if required is None or required.family is None else fits(family(stands), required.family)


def _signatures(archive: Archive, link: ArchivedLink) -> list[str]:
    found = []
    for deposit in sorted({r["deposit"] for r in link.rows}):
        signature = archive.deposit_entry(deposit).get("signature")
        if signature:
            found.append(f"Deposit {deposit} is signed with key {signature.get('key', 'unknown')}.")
    for entry in archive.entries():
        if entry.get("event") == "stamp":
            found.append(f"Head {str(entry['root'])[:16]}... over {entry['size']} entries carries a time stamp.")
    return found
