"""A QR code (ISO/IEC 18004) as a picture."""

from __future__ import annotations

import io

import segno


def qr_code(text: str) -> str:
    """The code of a text as SVG, with the quiet zone of four modules around it; error correction of level M or more."""
    out = io.BytesIO()
    segno.make_qr(text, error="m").save(out, kind="svg", border=4, light="white", xmldecl=False, svgns=True, scale=3)
    return out.getvalue().decode()
