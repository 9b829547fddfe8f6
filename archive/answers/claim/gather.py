"""Gathers everything the archive knows of one link. Reads bags, and checks the digests of what it prints."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow as pa

from archive import formats, grading, limits, validation
from archive.answers.claim.facts import ClaimFacts, Row, Tested
from archive.answers.history import KINDS, history
from archive.answers.link import Link, open_link, people
from archive.answers.originals import of_record, of_source
from archive.errors import Trouble
from archive.store import Archive
from archive.store.proofs import prove
from archive.tables import Batch
from archive.tables.canonical import record_digests

_NEIGHBOURS = 4


def gather(
    archive: Archive,
    label: str,
    *,
    job: str | None = None,
    site: str | None = None,
    retest: Path | None = None,
    reason: str = "",
) -> tuple[ClaimFacts, dict[str, bytes]]:
    """Facts of one link, and the originals of its records by the path they get in the claim file's bag.

    Errors: Trouble where the link cannot be told, the fresh test cannot be read, or a record's bytes are not what the
    ledger says they are.
    """
    link = open_link(archive, label, job=job, site=site)
    head = archive.head()
    newest = archive.ledger.read(head.size - 1)
    state = str(newest.get("at")) if newest is not None else ""
    originals: dict[str, bytes] = {}
    stands = link.standing
    tests = [
        _tested(archive, link, r, standing=stands is not None and r["row"] == stands["row"], originals=originals)
        for r in link.rows
    ]
    standing = next((t for t in tests if t.standing), None)
    facts = ClaimFacts(
        link=link.label,
        job=job_facts(archive, link.rows[0]["job_id"], link.rows[0]["site"]),
        place=_place(standing or tests[0]),
        tests=tests,
        standing=standing,
        why=link.why,
        history=[e for e in history(archive, link) if e["deposit"] is None],
        neighbours=neighbours(archive, link),
        documents=documents(archive, link.rows[0]["job_id"], link.label),
        proof=_proof(archive, stands, state),
        head=head.root,
        entries=head.size,
        state=state,
        archive_id=archive.id,
        signatures=_signatures(archive, link),
        retest=_fresh(retest, standing) if retest is not None else None,
        reason=reason,
        people=people(archive, {t.record["operator_key"] for t in tests}),
    )
    return facts, originals


def today(limit_id: str | None) -> str | None:
    """The same category or class and configuration in the newest edition of the family; None where that is itself."""
    parts = (limit_id or "").split("/")
    if len(parts) != 3:
        return None
    family = {"tsb": "tia", "en": "iso"}
    body = parts[0].split("-")[0]
    body = family.get(body, body)
    same = [
        i
        for i in limits.ids()
        if i.split("/")[1:] == parts[1:]
        and limits.get(i).lines  # an edition that only names a limit says nothing of a link
        and family.get(i.split("-")[0], i.split("-")[0]) == body
        and not i.startswith("en-")
    ]
    return same[-1] if same and same[-1] != limit_id else None


def job_facts(archive: Archive, job: str | None, site: str | None) -> dict[str, Any]:
    """Facts of a job as they hold now."""
    rows = archive.db.execute("SELECT field, value FROM jobs WHERE job_id = ?", (job,))
    return {"job_id": job, "site": site, **{r[0]: r[1] for r in rows}}


def documents(archive: Archive, job: str | None, link: str | None = None) -> list[dict[str, Any]]:
    """Documents filed for a job, or for one of its links, from deposits and events."""
    from archive.store.documents import of_job

    return [d for d in of_job(archive, job) if link is None or d["link_label"] in (None, link)]


def neighbours(archive: Archive, link: Link) -> list[dict[str, Any]]:
    """Standing records of the links before and after in the order of labels, in the same job and site."""
    r = link.rows[0]
    found: list[Any] = []
    for sign, order in (("<", "DESC"), (">", "ASC")):
        found += archive.db.execute(
            "SELECT link_label AS link, tested_local, coalesce(limit_id, limit_found) AS lim, verdict, length_m, "
            f"margin, parameter FROM records WHERE standing = 1 AND job_id IS ? AND site IS ? AND link_label {sign} ? "
            f"ORDER BY link_label {order} LIMIT {_NEIGHBOURS}",
            (r["job_id"], r["site"], link.label),
        ).fetchall()
    return [
        {**dict(n), "limit": n["lim"], "margin_db": n["margin"]} for n in sorted(found, key=lambda n: str(n["link"]))
    ]


def _tested(archive: Archive, link: Link, r: dict[str, Any], *, standing: bool, originals: dict[str, bytes]) -> Tested:
    batch = archive.record(r["address"])
    digest = record_digests(batch)[0]
    if digest != r["digest"]:
        raise Trouble(
            "the record in its bag is not the one the ledger proves",
            where=r["address"],
            found=digest,
            expected=str(r["digest"]),
            remedy=f"run `muniment fixity {archive.root} --depth deep`",
        )
    if standing:
        batch = with_today(batch)
    entry = archive.deposit_entry(r["deposit"])
    names = people(archive, {entry.get("by")})
    return Tested(
        batch=batch,
        digest=digest,
        deposit=r["deposit"],
        deposited_at=str(entry.get("at")),
        deposited_by=names.get(entry.get("by") or "", ""),
        original=_original(archive, r, batch, originals),
        relation={"new": "test", "retests": "test"}.get(r["kind"], KINDS.get(r["kind"], r["kind"])),
        standing=standing,
    )


def with_today(batch: Batch) -> Batch:
    """The batch with what today's edition of its limit says, beside what was said when it was deposited."""
    named = [v for v in batch["verdicts"]["limit_id"].to_pylist() if v]
    newer = today(named[0]) if named else None
    if newer is None or newer in named:
        return batch
    again = grading.grade(batch, against=[newer])
    return batch.replace(
        grades=pa.concat_tables([batch["grades"], again["grades"]]),
        verdicts=pa.concat_tables([batch["verdicts"], again["verdicts"]]),
    )


def _original(archive: Archive, r: dict[str, Any], batch: Batch, originals: dict[str, bytes]) -> str:
    source = next(iter(batch["sources"].to_pylist()), None)
    bag = archive.bag(r["deposit"])
    found = of_source(bag, source["source_id"], source["path"]) if source else None
    found = found or of_record(bag, r["record_id"])
    if found is None:
        return "not kept any more"
    name, data = found
    path = f"originals/{r['deposit']}/{name.replace('..', '_')}"
    originals[path] = data
    return path


def _place(tested: Tested) -> Row:
    places = {p["place_id"]: p for p in tested.rows("places")}
    found = places.get(tested.record["local_place_id"]) or places.get(tested.record["remote_place_id"])
    return found or {}


def _proof(archive: Archive, stands: dict[str, Any] | None, state: str) -> dict[str, Any]:
    if stands is None:
        return {}
    # The proof speaks of the archive's state, not of the hour at which it is printed: same inputs, same bytes.
    return {**prove(archive, stands["address"]), "made": state}


def _signatures(archive: Archive, link: Link) -> list[str]:
    found = []
    for deposit in sorted({r["deposit"] for r in link.rows}):
        signature = archive.deposit_entry(deposit).get("signature")
        if signature:
            found.append(f"Deposit {deposit} is signed with key {signature.get('key', 'unknown')}.")
    for entry in archive.entries():
        if entry.get("event") == "stamp":
            found.append(f"Head {str(entry['root'])[:16]}... over {entry['size']} entries carries a time stamp.")
    return found


def _fresh(path: Path, standing: Tested | None) -> Tested:
    """The fresh test that came with the complaint: read, checked and graded, and deposited nowhere."""
    batches = [b for b in formats.read(path) if len(b)]
    if not batches:
        raise Trouble("no record can be read from the fresh test", where=str(path), remedy="look at it with `survey`")
    batch, records = batches[0], batches[0]["records"]
    ids = records["record_id"].to_pylist()
    if sum(len(b) for b in batches) > 1:
        label = standing.record["link_label"] if standing else None
        ids = [r for r, name in zip(ids, records["link_label"].to_pylist(), strict=True) if name == label]
        if len(ids) != 1:
            raise Trouble(
                "the fresh test holds several records",
                where=str(path),
                found=f"{len(records)} records",
                expected="one record, or exactly one of this link",
            )
    one = batch.select(ids)
    against = [v["limit_id"] for v in standing.rows("verdicts") if v["limit_id"]] if standing else None
    one = grading.grade(one, against=against or None)
    one = one.replace(findings=validation.check(one))
    return Tested(one, record_digests(one)[0], "", "", "", path.name, "fresh test", standing=False)
