"""The rows of a link record document, one element at a time, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lxml import etree

from archive.errors import Trouble
from archive.formats.open_xml.prolog import SAFE, refuse_doctype
from archive.tables import namespace, tables

CHUNK = 1 << 18
"""Bytes handed to the parser at once."""

_FIRST = 4096
"""Bytes at once until the root element is there: what may stand before it is looked at in small steps."""


def qualified(name: str) -> str:
    """An element name with the namespace of this version."""
    return f"{{{namespace()}}}{name}"


TOP = {t.row: t.name for t in tables().values() if t.level != "record" or t.name == "records"}
"""Elements that stand under the root, with the table each is a row of."""


class Stream:
    """Pulls elements that stand directly under the root out of a file, and clears each one after it was used.

    count: elements seen so far; before_chunk: seen before the last bytes were handed to the parser; root: the root
    element, once it is there; complete: it has ended.
    """

    def __init__(self, path: Path, where: str, schema: Any = None) -> None:
        self.path, self.where, self.schema = path, where, schema
        self.count = 0
        self.before_chunk = 0
        self.complete = False
        self.checked = False
        self.root: Any = None

    def __iter__(self) -> Iterator[Any]:
        """Elements under the root, in order. Errors: etree.XMLSyntaxError; Trouble for a document type declaration."""
        parser: Any = etree.XMLPullParser(events=("start", "end"), schema=self.schema, **SAFE)
        depth = 0
        with self.path.open("rb") as file:
            refuse_doctype(file.read(65536), self.where)
            file.seek(0)
            while chunk := file.read(CHUNK if self.checked else _FIRST):
                self.before_chunk = self.count
                parser.feed(chunk)
                for event, element in parser.read_events():
                    if event == "start":
                        if not self.checked:
                            self._check(element)
                        depth += 1
                        continue
                    depth -= 1
                    if depth == 1:
                        self.count += 1
                        yield element
                        element.clear()
                        while element.getprevious() is not None:
                            del element.getparent()[0]
                    elif depth == 0:
                        self.complete = True
            parser.close()

    def _check(self, root: Any) -> None:
        self.checked = True
        self.root = root
        info = root.getroottree().docinfo
        if info.internalDTD is not None or info.externalDTD is not None:
            refuse_doctype(b"<!DOCTYPE", self.where)


def ended(stream: Stream) -> None:
    """Errors: Trouble where the document stopped before its root element ended (a parser with a schema is silent)."""
    if not stream.complete:
        raise Trouble(
            "the document ends in the middle",
            code="xml.cut-off",
            where=stream.where,
            found=f"the end of the file after {stream.count} complete elements",
            expected="</link-records>",
            remedy="export or copy the file again; it was cut off",
        )
