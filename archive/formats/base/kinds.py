"""What kind of file this is, by its content."""

from __future__ import annotations

import re

from archive.errors import Trouble
from archive.formats import containers
from archive.formats.base import text as texts
from archive.formats.recognition import Entry

_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def is_workbook(entry: Entry) -> bool:
    """Whether a file is a workbook, by its content."""
    if entry.head.startswith(_OLE):
        return True
    return entry.head.startswith(b"PK\x03\x04") and containers.is_workbook(entry.path)


def kind_of(entry: Entry) -> str:
    """workbook, xml, json or text. Errors: Trouble for what is none of them."""
    if not entry.size:
        raise Trouble("is empty", code="file.empty", where=entry.name, remedy="export it again")
    if is_workbook(entry):
        return "workbook"
    head = entry.head
    start = _start(head)
    if start.startswith("<"):
        return "xml"
    if re.match(r"[\[{]\s*(?:[\"{\[\]}\d-]|true|false|null|$)", start):
        return "json"
    if b"\0" in head[:4096] and texts.detect(head).basis not in ("byte order mark", "NUL pattern"):
        stripped = head[:4096].replace(b"\0", b"")
        if len(stripped) < 0.5 * len(head[:4096]):
            raise Trouble(
                "is no text, workbook, XML or JSON",
                code="file.unknown-kind",
                where=entry.name,
                found="mostly NUL bytes",
            )
    some = _characters(head[:4096])
    control = sum(1 for c in some if c < 9 or (13 < c < 27 and c != 12))
    if control > 0.02 * len(some):
        raise Trouble(
            "is no text, workbook, XML or JSON",
            code="file.unknown-kind",
            where=entry.name,
            found="binary bytes",
            remedy="export the results in one of these forms",
        )
    return "text"


def _characters(head: bytes) -> list[int]:
    """The characters of a text whose encoding says itself, the bytes of any other; NULs left out."""
    found = texts.detect(head)
    wide = found.name.startswith(("utf-16", "utf-32"))
    some = map(ord, head[found.mark :].decode(found.name, "ignore")) if wide else iter(head)
    return [c for c in some if c]


def _start(head: bytes) -> str:
    encoding = texts.detect(head)
    return head[encoding.mark : encoding.mark + 400].decode(encoding.name, "replace").lstrip()
