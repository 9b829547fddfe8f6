"""Documents kept with the records: certificates, drawings, photographs, letters. Each filing is one event."""

from __future__ import annotations

import hashlib
import mimetypes
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from archive import vocabulary
from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.catalogue.apply_event import DOCUMENT
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign

MOST_BYTES = 200_000_000
"""Size of one document at the most: drawings are large, films do not belong here."""


def attach(
    archive: Archive,
    files: Sequence[Path],
    *,
    job: str,
    kind: str,
    link: str | None = None,
    serial: str | None = None,
    title: str | None = None,
    valid_from: str | None = None,
    valid_until: str | None = None,
    by: str | None = None,
    reason: str | None = None,
    sign: Sign | None = None,
) -> tuple[LedgerEntry | None, list[dict[str, Any]]]:
    """Files documents for a job, or for one of its links. Gives the entry and the rows of documents.

    A document that is filed for the same job and link already is left out; where nothing is left, there is no entry.
    Errors: Trouble for a file that cannot be read or is too large, and for a kind that is none.
    """
    if kind not in vocabulary.words("document_kind"):
        raise Trouble(
            "no such kind",
            code="document.unknown-kind",
            found=kind,
            expected=", ".join(sorted(vocabulary.words("document_kind"))),
        )
    there = {(d["document_id"], d["link_label"]) for d in of_job(archive, job)}
    rows: list[dict[str, Any]] = []
    attached: dict[str, bytes] = {}
    for path in files:
        if not path.is_file():
            raise Trouble("there is no such file", code="document.not-there", where=str(path), remedy="check the path")
        if path.stat().st_size > MOST_BYTES:
            raise Trouble(
                "too large",
                code="document.too-large",
                where=str(path),
                found=f"{path.stat().st_size:,} bytes",
                expected="at most 200 MB",
            )
        data = path.read_bytes()
        digest = hashlib.sha256(data).hexdigest()
        if (digest, link) in there:
            continue
        there.add((digest, link))
        # Under its digest, since a name may be anything; the name is told in the row.
        stored = f"{digest}{path.suffix.lower() if path.suffix[1:].isalnum() and len(path.suffix) < 9 else ''}"
        attached[stored] = data
        rows.append(
            {
                "document_id": digest,
                "kind": kind,
                "title": title,
                "file_name": path.name,
                "media_type": mimetypes.guess_type(path.name)[0] or "application/octet-stream",
                "bytes": len(data),
                "job_id": job,
                "link_label": link,
                "serial": serial,
                "valid_from": valid_from,
                "valid_until": valid_until,
                "path": stored,
            }
        )
    if not rows:
        return None, []
    facts = {"job": job, "documents": [r["document_id"] for r in rows]}
    texts = {"reason": reason, "documents": rows}
    return record(archive, "attach", by=by, texts=texts, facts=facts, attached=attached, sign=sign), rows


def of_job(archive: Archive, job: str | None) -> list[dict[str, Any]]:
    """Documents of a job, oldest filing first: columns of the table documents, and path inside the archive or None."""
    archive.catch_up()
    columns = ("document_id", *DOCUMENT, "path", "number")
    found = archive.db.execute(
        f"SELECT {', '.join(columns)} FROM documents WHERE job_id = ? ORDER BY number, document_id", (job,)
    )
    rows = []
    for row in found.fetchall():
        d = dict(zip(columns, row, strict=True))
        entry = archive.ledger.read(d.pop("number")) if d["path"] else None
        d["path"] = f"events/{entry['id']}/{d['path']}" if entry is not None else None
        rows.append(d)
    return rows
