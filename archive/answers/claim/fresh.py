"""The fresh test that came with a complaint: read, checked and graded, and deposited nowhere."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from archive import formats, grading, validation
from archive.answers.claim.claim_facts import DEPOSIT, NEWEST, Original, Row, StatedVerdict, TestedRecord
from archive.answers.claim.one_record import one_record
from archive.answers.intake import Choices, ingest, originals
from archive.errors import Trouble
from archive.limits.any_kind import all_ids
from archive.store import Archive
from archive.store.deposits import DepositFacts
from archive.store.names import plain
from archive.tables import Batch
from archive.tables.canonical import record_digests


def fresh(path: Path, label: str, standing: TestedRecord | None) -> TestedRecord:
    """The one record of the file, or the one of the link where it holds several.

    It is graded against the limits that the standing record was judged by, so that the two can be laid side by side;
    where none stands, against the limit that it names. Errors: Trouble where it cannot be read or told.
    """
    one = _one(path, label)
    wanted = [s.verdict["limit_id"] for s in standing.stated if s.kind in (DEPOSIT, NEWEST)] if standing else []
    against = [i for i in dict.fromkeys(wanted) if i and i in all_ids()]
    graded = grading.grade(one, against=against or None)
    graded = graded.replace(findings=validation.check(graded))
    stated = [
        StatedVerdict(DEPOSIT, "", "", v, [g for g in graded["grades"].to_pylist() if g["limit_id"] == v["limit_id"]])
        for v in graded["verdicts"].to_pylist()
    ]
    return TestedRecord(
        graded,
        record_digests(graded)[0],
        original=Original(path.name, "", path.stat().st_size if path.is_file() else 0),
        relation="fresh test",
        stated=stated,
        curves=grading.derived(graded),
    )


def files(path: Path) -> dict[str, bytes]:
    """The fresh test as received, and what its reader takes in with it, by portable name."""
    found: dict[str, bytes] = {}
    for file, name in originals([path]):
        kept = plain(name.replace("/", "_"))
        while kept in found:
            kept = f"_{kept}"
        found[kept] = file.read_bytes()
    return found


def deposit(
    archive: Archive, path: Path, job: Row, *, by: str | None, reason: str | None, sign: Any = None
) -> str | None:
    """Deposits the fresh test into the job of the link; the deposit, or None where all of it was there already."""
    facts = DepositFacts(job=job.get("job_id"), site=job.get("site"), zone=job.get("zone"), by=by, reason=reason)
    entry = ingest(archive, [path], facts, Choices(sign=sign)).entry
    return None if entry is None else str(entry["deposit"])


def _one(path: Path, label: str) -> Batch:
    batches = [b for b in formats.read(path) if len(b)]
    if not batches:
        raise Trouble(
            "no record can be read from the fresh test",
            code="claim.no-fresh-record",
            where=str(path),
            remedy="look at it with `muniment survey`, and convert it with a mapping",
        )
    listed: list[tuple[Batch, Any, Any]] = [
        (b, r, name)
        for b in batches
        for r, name in zip(b["records"]["record_id"].to_pylist(), b["records"]["link_label"].to_pylist(), strict=True)
    ]
    mine = listed if len(listed) == 1 else [x for x in listed if x[2] == label]
    if len(mine) != 1:
        raise Trouble(
            "the fresh test holds several records",
            code="claim.several-fresh-records",
            where=str(path),
            found=f"{len(listed)} records, {len(mine)} of {label}",
            expected=f"one record, or exactly one of {label}",
        )
    batch, record, _ = mine[0]
    return one_record(batch, record)
