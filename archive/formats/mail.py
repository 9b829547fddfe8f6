"""Mails: kept as documents. Their attachments are files of their own (formats.packs)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from archive.formats import packs
from archive.formats.description import Description
from archive.formats.recognition import Entry, Recognition
from archive.tables import Batch

LAYOUT = "mail"
SCORE = 0.9


def recognise(entry: Entry) -> Recognition | None:
    """Whether a file is a mail, by its fields."""
    if not packs.is_mail(entry.head):
        return None
    return Recognition(SCORE, "a mail, kept as a document; its attachments are read", LAYOUT)


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """The mail as a row of documents: a letter, its subject as the title. There is no record in it."""
    document = {
        "document_id": entry.sha256,
        "kind": "letter",
        "title": _subject(entry),
        "file_name": entry.name.rpartition("/")[2],
        "media_type": "message/rfc822",
        "bytes": entry.size,
    }
    source = entry.source(layout=LAYOUT, reader="mail")
    yield Batch.from_rows({"documents": [document], "sources": [source]})


def describe(entry: Entry, *, mapping: Any = None) -> Description:
    """What is in it: no record."""
    out = Description(entry.name, LAYOUT)
    out.notes = ["a mail, kept as a document; its attachments are listed as files of their own"]
    return out


def _subject(entry: Entry) -> str | None:
    """The subject, from the head of the mail; None where it has none."""
    subject = packs.parsed(entry.head).get("Subject")
    return " ".join(str(subject).split()) or None if subject is not None else None
