"""A QR code (ISO/IEC 18004) as a picture."""

from __future__ import annotations

import io

import segno

from archive.answers.documents.model import Figure
from archive.answers.wording import Wording
from archive.store.keys.stamp import message


def qr_code(text: str) -> str:
    """The code of a text as SVG, with the quiet zone of four modules around it; error correction of level M or more."""
    out = io.BytesIO()
    segno.make_qr(text, error="m").save(out, kind="svg", border=4, light="white", xmldecl=False, svgns=True, scale=3)
    return out.getvalue().decode()


def head_to_scan(archive_id: str, size: int, root: str, words: Wording) -> Figure:
    """The head of a ledger: the line that a time stamp is of, "ARCHIVE SIZE ROOT"."""
    line = message(archive_id, size, root).decode().strip()
    return Figure(
        qr_code(line),
        words("The head to scan: the archive, the number of entries, the head. Keep it elsewhere."),
        words("QR code of this line: {line}", line=line),
        wide=0.25,
    )
