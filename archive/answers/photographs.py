"""Filed photographs, shown small with file name, own title, day and digest."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import quoteattr

from archive.answers.documents import DocumentSection, Figure
from archive.answers.wording import Wording, plain

MOST_BYTES = 4_000_000
"""Of one photograph: a larger one is listed and enclosed, and not shown."""
_SIZE = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}


@dataclass(frozen=True)
class Photograph:
    """One filed photograph. row: of the table documents; data: its bytes, PNG or JPEG."""

    row: dict[str, Any]
    data: bytes


def photograph(row: dict[str, Any], data: bytes) -> Photograph | None:
    """A filed document as a photograph to show; None where it is none, or too large."""
    shown = row.get("kind") == "photograph" and len(data) <= MOST_BYTES and _pixels(data) is not None
    return Photograph(row, data) if shown else None


def photographs(shown: Sequence[Photograph], words: Wording) -> DocumentSection | None:
    """A section with every photograph, or none."""
    if not shown:
        return None
    return DocumentSection(words("Photographs"), [_figure(p, words) for p in shown])


def _figure(p: Photograph, words: Wording) -> Figure:
    size = _pixels(p.data)
    assert size is not None
    (width, height), media = size, next(m for head, m in _SIZE.items() if p.data.startswith(head))
    data = base64.b64encode(p.data).decode()
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}">'
        f'<image width="{width}" height="{height}" href={quoteattr(f"data:{media};base64,{data}")}/></svg>'
    )
    row = p.row
    caption = words(
        "{title} File {name}, filed {day}, SHA-256 {digest}.",
        title=f"{plain(row['title'])}." if row.get("title") else words("Without a title."),
        name=plain(row["file_name"]),
        day=words.day(plain(row.get("filed_at"))[:10]) or words("on an unknown day"),
        digest=plain(row["document_id"]),
    )
    wide = 0.33 * min(1.0, width / max(height, 1))
    return Figure(svg, caption, words("Photograph {name}", name=plain(row["file_name"])), wide=max(wide, 0.2))


def _pixels(data: bytes) -> tuple[int, int] | None:
    """Width and height; None where it is neither PNG (ISO/IEC 15948, 11.2.2) nor JPEG (ISO/IEC 10918-1, B.2.2)."""
    if data.startswith(b"\x89PNG\r\n\x1a\n") and len(data) >= 24:
        return int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")
    at = 2
    while data.startswith(b"\xff\xd8\xff") and at + 9 < len(data) and data[at] == 0xFF:
        if 0xC0 <= data[at + 1] <= 0xCF and data[at + 1] not in (0xC4, 0xC8, 0xCC):
            return int.from_bytes(data[at + 7 : at + 9], "big"), int.from_bytes(data[at + 5 : at + 7], "big")
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return None
