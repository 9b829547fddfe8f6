"""Original exports and filed documents, as files to keep. Each is compared with its digest before it leaves."""

from __future__ import annotations

from starlette.responses import Response

from archive.answers.originals import of_record, of_source
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.downloads import download


def original(asked: PageRequest) -> Response:
    """The export that a record came from, byte for byte."""
    archive = asked.look.archive
    address = archive.address(asked.needed("record"))
    deposit, _, position = address.rpartition("/")
    batch = archive.record(address)
    facts = batch["records"].to_pylist()[0]
    source = next((s for s in batch["sources"].to_pylist() if s["source_id"] == facts["source_id"]), None)
    found = None
    for files in archive.originals_of(deposit):
        found = found or (
            of_record(files, facts["record_id"])
            if source is None
            else of_source(files, source["source_id"], source["path"])
        )
    if found is None:
        raise Trouble(
            "its original is not there any more",
            code="room.no-original",
            where=f"{deposit}, record {position}",
            remedy="see whether it was redacted, and run `muniment fixity`",
        )
    name, data = found
    return download(data, name)


def document(asked: PageRequest) -> Response:
    """A filed document."""
    name, data = filed(asked)
    return download(data, name)


def filed(asked: PageRequest) -> tuple[str, bytes]:
    """File name and bytes of the document that the address names. Errors: Trouble where it is not there."""
    archive, wanted = asked.look.archive, asked.needed("id")
    row = archive.db.execute(
        "SELECT file_name, path, number FROM documents WHERE document_id = ? ORDER BY number LIMIT 1", (wanted,)
    ).fetchone()
    if row is None or not row["path"]:
        raise Trouble("no such document is filed", code="room.no-document", found=wanted)
    entry = archive.ledger.read(row["number"])
    assert entry is not None
    path = f"events/{entry['id']}/{row['path']}"
    current = archive.checked.current(path, archive.checked.of_entry(entry)[path])
    if current is None:
        raise Trouble("it was redacted", code="room.no-document", found=wanted)
    return str(row["file_name"]), archive.checked.read(*current)
