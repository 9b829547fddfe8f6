"""The wire map as a drawing: contacts of both ends and what joins them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from archive import vocabulary
from archive.answers.plots.pen import INK, SOFT, picture, stroke, text
from archive.answers.wording import Wording

_ORDER = ("1", "2", "3", "6", "4", "5", "7", "8", "S")
_NEAR, _FAR = 110, 330


def drawing(rows: Sequence[Mapping[str, Any]], *, title: str, words: Wording) -> tuple[str, float]:
    """SVG text, and the part of the page's width that it takes: less where there is nothing to name.

    rows: the wiremap rows of one record. Faults are drawn dashed and named in words.
    """
    contacts = [c for c in _ORDER if any(c in (r["near"], r["far"]) for r in rows)]
    contacts += sorted({c for r in rows for c in (r["near"], r["far"]) if c} - set(contacts))
    places = {c: 34 + 21 * k + 8 * (k // 2) for k, c in enumerate(contacts)}
    height = max(places.values(), default=34) + 18
    out = [
        text(_NEAR, 12, words("local end"), anchor="middle", colour=SOFT, size=12),
        text(_FAR, 12, words("remote end"), anchor="middle", colour=SOFT, size=12),
    ]
    for pair in vocabulary.PAIRS:
        one, two = pair.split("-")
        if one in places and two in places:
            middle = (places[one] + places[two]) / 2
            out.append(
                text(_NEAR - 18, middle + 4, words("pair {pair}", pair=pair), anchor="end", colour=SOFT, size=12)
            )
    for r in rows:
        y, faulty = places[r["near"]], bool(r["fault"]) or (r["far"] is not None and r["far"] != r["near"])
        dash = "5 3" if faulty else ""
        if r["far"] is None:
            out.append(stroke(f"M{_NEAR + 8} {y}h60", INK, "5 3", 1.2))
        else:
            out.append(stroke(f"M{_NEAR + 8} {y}L{_FAR - 8} {places[r['far']]}", INK, dash, 1.8 if faulty else 1.2))
        note = _note(r, faulty, words)
        if note:
            out.append(text(_FAR + 22, y + 4, f"{r['near']}: {note}", size=12))
    for contact, y in places.items():
        for x in (_NEAR, _FAR):
            out.append(f'<circle cx="{x}" cy="{y}" r="9" fill="#fff" stroke="{INK}"/>')
            out.append(text(x, y + 4.2, contact, anchor="middle", size=12))
    width = 560 if any(_note(r, r["far"] not in (None, r["near"]), words) for r in rows) else 360
    return picture(width, height, title, "".join(out)), width / 780


def _note(r: Mapping[str, Any], faulty: bool, words: Wording) -> str:
    """What is wrong with a contact, in words."""
    fault = words.term(r["fault"]) or (
        words("not connected") if r["far"] is None else words("crossed") if faulty else ""
    )
    other = words("with {contact}", contact=r["other"]) if r["other"] else ""
    distance = words("at {distance}", distance=words.length(r["distance_m"])) if r["distance_m"] is not None else ""
    return ", ".join(x for x in (fault, other, distance) if x)
