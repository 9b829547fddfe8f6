"""Acceptance: the record on which a job was handed over, as a day or as named records; and the identity of links."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign


def accept_job(
    archive: Archive, job: str, on: date, *, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Accepts a job as it stood on a day. Errors: Trouble where nothing of the job was tested by that day."""
    archive.catch_up()
    found = archive.db.execute(
        "SELECT min(coalesce(tested_local, tested_at)), count(*) FROM records WHERE job_id = ? AND unit IS NOT NULL",
        (job,),
    ).fetchone()
    if not found[1]:
        raise Trouble("no test of this job is in the archive", code="accept.no-test", found=job)
    if found[0] is None or found[0][:10] > on.isoformat():
        raise Trouble(
            "no test of this job was made by that day",
            code="accept.before-any-test",
            where=job,
            found=on.isoformat(),
            expected=f"{(found[0] or 'a dated test')[:10]} or later",
        )
    facts = {"job": job, "on": on.isoformat()}
    return record(archive, "accept", by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)


def accept_records(
    archive: Archive, records: Sequence[str], *, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Names records (by id or address) as those accepted in their jobs.

    Errors: Trouble where one is not there, does not count as a test, or is of no job.
    """
    addresses = [archive.address(r) for r in records]
    for address in addresses:
        deposit, _, position = address.rpartition("/")
        job, unit = archive.db.execute(
            "SELECT job_id, unit FROM records WHERE deposit = ? AND position = ?", (deposit, int(position))
        ).fetchone()
        if unit is None or job is None:
            raise Trouble(
                "this record cannot be accepted",
                code="accept.not-a-test",
                where=address,
                found="it is of no job" if job is None else "it was withdrawn, is in conflict, or was here already",
                remedy="see `muniment history`",
            )
    facts = {"records": addresses}
    return record(archive, "accept", by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)


def decide_identity(
    archive: Archive,
    pairs: Sequence[tuple[str, str]],
    *,
    same: bool,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
) -> LedgerEntry:
    """Says of pairs of records (by id or address) that they are of the same link, or of different ones.

    Errors: Trouble where a record is not there, or two are of different labels or sites.
    """
    addresses = [(archive.address(a), archive.address(b)) for a, b in pairs]
    for pair in addresses:
        keys = {
            archive.db.execute(
                "SELECT link_key FROM records WHERE deposit || '/' || position = ?", (address,)
            ).fetchone()[0]
            for address in pair
        }
        if len(keys) > 1 or None in keys:
            raise Trouble(
                "these records are not of one label at one site",
                code="identity.other-label",
                where=", ".join(pair),
                remedy="rename the one whose label is wrong with `muniment amend`",
            )
    facts = {"pairs": [list(p) for p in addresses], "same": same}
    return record(archive, "identity", by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)
