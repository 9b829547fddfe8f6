"""Documents kept with the records: certificates, drawings, photographs, letters. Each filing is one event."""

from __future__ import annotations

import hashlib
import mimetypes
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from archive import vocabulary
from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.catalogue.apply_event import DOCUMENT
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.names import check_job_name

_RUN = (
    *(".app", ".bat", ".bin", ".cmd", ".com", ".cpl", ".dll", ".elf", ".exe", ".hta", ".jar", ".js", ".jse", ".lnk"),
    *(".msi", ".msp", ".pif", ".ps1", ".py", ".scr", ".sh", ".vbe", ".vbs", ".wsf", ".desktop", ".command"),
)
"""Endings of files that a system runs when they are opened."""
_RUN_HEADS = (b"MZ", b"\x7fELF", b"#!", b"\xca\xfe\xba\xbe", b"\xcf\xfa\xed\xfe", b"L\x00\x00\x00")
"""First bytes of programs: Windows, Linux, scripts, Java and macOS, macOS, shortcuts of Windows."""

MOST_BYTES = 200_000_000
"""Largest size of one document: drawings are large, films do not belong here."""


@dataclass(frozen=True)
class DocumentFacts:
    """What a person says of documents. valid_from, valid_until: ISO 8601 dates; serial: of the unit it is of, or of
    several; each has a row of its own."""

    job: str
    kind: str
    link: str | None = None
    serial: str | tuple[str, ...] | None = None
    title: str | None = None
    valid_from: str | None = None
    valid_until: str | None = None

    def __post_init__(self) -> None:
        """Errors: Trouble for a day that is none."""
        for name, text in (("--valid-from", self.valid_from), ("--valid-until", self.valid_until)):
            try:
                date.fromisoformat(text or "2000-01-01")
            except ValueError:
                raise Trouble(
                    "not a day",
                    code="document.not-a-day",
                    where=name,
                    found=str(text),
                    expected="a day such as 2026-12-31",
                ) from None


@dataclass(frozen=True)
class Filing:
    """What came of filing documents: the entry, rows of the table documents, and files that were filed before.

    repeated: path of a file -> name under which the same bytes are filed for the job and link.
    """

    entry: LedgerEntry | None
    rows: list[dict[str, Any]]
    repeated: dict[str, str]


def attach(
    archive: Archive,
    files: Sequence[Path],
    facts: DocumentFacts,
    *,
    by: str | None,
    reason: str | None = None,
    sign: Sign | None = None,
) -> Filing:
    """Files documents for a job, or for one of its links.

    A document whose bytes are filed for the same job, link and unit already is left out; where nothing is left, there
    is no entry. Errors: Trouble for a file that cannot be read or is too large, and for a kind that is none.
    """
    check_job_name(facts.job, "--job")
    if facts.kind not in vocabulary.words("document_kind"):
        raise Trouble(
            "no such kind",
            code="document.unknown-kind",
            found=facts.kind,
            expected=", ".join(sorted(vocabulary.words("document_kind"))),
        )
    filed = of_job(archive, facts.job)
    there = {(d["document_id"], d["link_label"], d["serial"]): str(d["file_name"]) for d in filed}
    serials: tuple[str | None, ...] = facts.serial if isinstance(facts.serial, tuple) else (facts.serial,)
    made = Filing(None, [], {})
    attached: dict[str, bytes] = {}
    for path in files:
        row, data = _row(path, facts)
        for serial in serials or (None,):
            key = (row["document_id"], facts.link, serial)
            if key in there:
                made.repeated[str(path)] = there[key]
                continue
            there[key] = path.name
            attached[row["path"]] = data
            made.rows.append({**row, "serial": serial})
    if not made.rows:
        return made
    said = {"job": facts.job, "documents": list(dict.fromkeys(r["document_id"] for r in made.rows))}
    texts = {"reason": reason, "documents": made.rows}
    return replace(made, entry=record(archive, "attach", by=by, texts=texts, facts=said, attached=attached, sign=sign))


def programs(files: Sequence[Path]) -> list[Path]:
    """Those of the files that a system would run, by their ending or their first bytes."""
    found = []
    for path in files:
        with suppress(OSError):
            with path.open("rb") as file:
                head = file.read(4)
            if path.suffix.lower() in _RUN or head.startswith(_RUN_HEADS):
                found.append(path)
    return found


def _row(path: Path, facts: DocumentFacts) -> tuple[dict[str, Any], bytes]:
    """A row of the table documents, and the bytes."""
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
    ending = path.suffix.lower() if path.suffix[1:].isalnum() and len(path.suffix) < 9 else ""
    return {
        "document_id": digest,
        "kind": facts.kind,
        "title": facts.title,
        "file_name": path.name,
        "media_type": mimetypes.guess_type(path.name)[0] or "application/octet-stream",
        "bytes": len(data),
        "job_id": facts.job,
        "link_label": facts.link,
        "serial": None,
        "valid_from": facts.valid_from,
        "valid_until": facts.valid_until,
        "path": f"{digest}{ending}",  # under its digest, since a name may be anything; the row has the name
    }, data


def of_job(archive: Archive, job: str | None) -> list[dict[str, Any]]:
    """Documents of a job, oldest filing first: columns of the table documents, path inside the archive or None,
    number and time of the ledger entry that files it."""
    archive.catch_up()
    archive.rest_on([job])
    columns = ("document_id", *DOCUMENT, "path", "number")
    found = archive.db.execute(
        f"SELECT {', '.join(columns)} FROM documents WHERE job_id = ? ORDER BY number, document_id", (job,)
    )
    rows = []
    for row in found.fetchall():
        d = dict(zip(columns, row, strict=True))
        d["entry"] = d.pop("number")
        entry = archive.ledger.read(d["entry"])
        d["filed_at"] = None if entry is None else entry.get("at_first", entry.get("at"))
        d["path"] = f"events/{entry['id']}/{d['path']}" if entry is not None and d["path"] else None
        rows.append(d)
    return rows
