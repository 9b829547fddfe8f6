"""The wire map as a drawing: contacts of both ends and what joins them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

_INK, _SOFT = "#1a1a1a", "#5c5c5c"
_ORDER = ("1", "2", "3", "6", "4", "5", "7", "8", "S")


def drawing(rows: Sequence[Mapping[str, Any]], *, title: str, near: str, far: str, open_word: str) -> str:
    """SVG text. rows: the wiremap rows of one record. Faults are drawn dashed and named in words."""
    contacts = [c for c in _ORDER if any(c in (r["near"], r["far"]) for r in rows)]
    contacts += sorted({r["near"] for r in rows} - set(contacts))
    places = {c: 34 + 17 * k + 8 * (k // 2) for k, c in enumerate(contacts)}
    height = max(places.values(), default=34) + 18
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 680 {height}" width="680" height="{height}" role="img" '
        f'font-family="DejaVu Sans, Verdana, sans-serif" font-size="9"><title>{escape(title)}</title>',
        f'<text x="180" y="14" text-anchor="middle" fill="{_SOFT}">{escape(near)}</text>',
        f'<text x="420" y="14" text-anchor="middle" fill="{_SOFT}">{escape(far)}</text>',
    ]
    for contact, y in places.items():
        for x in (180, 420):
            out.append(f'<circle cx="{x}" cy="{y}" r="7.5" fill="#fff" stroke="{_INK}"/>')
            out.append(f'<text x="{x}" y="{y + 3.2}" text-anchor="middle" fill="{_INK}">{escape(contact)}</text>')
    for r in rows:
        y = places[r["near"]]
        wrong = bool(r["fault"]) or (r["far"] is not None and r["far"] != r["near"])
        dash = ' stroke-dasharray="5 3"' if wrong else ""
        if r["far"] is not None and r["far"] in places:
            out.append(f'<path d="M188 {y}L412 {places[r["far"]]}" stroke="{_INK}" stroke-width="1.2"{dash}/>')
        else:
            out.append(f'<path d="M188 {y}h60" stroke="{_INK}" stroke-width="1.2" stroke-dasharray="5 3"/>')
        words = [r["fault"] or (open_word if r["far"] is None else "")]
        if r["other"]:
            words.append(str(r["other"]))
        if r["distance_m"] is not None:
            words.append(f"{r['distance_m']:g} m")
        note = ", ".join(w for w in words if w)
        if note:
            out.append(f'<text x="440" y="{y + 3}" fill="{_INK}">{escape(r["near"] + ": " + note)}</text>')
    out.append("</svg>")
    return "".join(out)
