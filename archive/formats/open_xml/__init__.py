"""Link record XML: reader and writer of the open form."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from archive.formats.open_xml.prolog import doctype, looks_like_xml, root, text_of
from archive.formats.open_xml.read_xml import read as stream
from archive.formats.recognition import Entry, Recognition
from archive.tables import Batch, namespace


def recognise(entry: Entry) -> Recognition | None:
    """Link record XML of any version, by the namespace or the name of its root element."""
    if not looks_like_xml(entry.head):
        return None
    base = namespace().rsplit(":", 1)[0]
    if doctype(entry.head):
        if base in text_of(entry.head):
            return Recognition(1.0, "link record XML behind a document type declaration", "link-record-xml")
        return None
    found = root(entry.head)
    if found is not None and (found.namespace.startswith(f"{base}:") or found.name == "link-records"):
        return Recognition(1.0, f"root element {found.name} in {found.namespace or 'no namespace'}", "link-record-xml")
    return None


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """Batches of one document; see read_xml.read."""
    return stream(entry)
