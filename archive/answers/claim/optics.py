"""Optical loss as a picture, and the events of a trace as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from archive.answers.claim.claim_facts import TestedRecord
from archive.answers.documents import DocumentSection, Figure, TableBlock
from archive.answers.plots.pen import FONT, GRID, INK, SOFT, escape, figure, stroke, text
from archive.answers.plots.scale import even
from archive.answers.wording import Wording, plain

_LEFT, _WIDE, _ROW = 190, 470, 22


def loss(tested: TestedRecord, words: Wording) -> DocumentSection | None:
    """One line per fibre, wavelength and direction: the loss as a point, its limit as a bar across."""
    rows = [r for r in tested.rows("readings") if r["quantity"] == "optical_loss" and r["value"] is not None]
    rows = [r for r in rows if r["origin"] == "measured"]
    if not rows:
        return None
    said = [*tested.rows("grades"), *tested.rows("reported")]
    marked = [(r, _limit(r, said)) for r in rows]
    known = any(limit is not None for _, limit in marked)
    caption = words("Optical loss of each fibre, wavelength and direction.") + " "
    if not known:
        caption += words("No limit is known; the losses stand here as measured.")
    elif all(g["limit"] is None for g in tested.rows("grades") if g["parameter"] == "optical_loss"):
        caption += words("Across stands the limit that the export reports; this program holds none for it.")
    else:
        caption += words("Across stands the limit.")
    return DocumentSection(words("Optical loss"), [Figure(_picture(marked, words, caption), caption, caption)], level=2)


def _limit(r: Mapping[str, Any], said: Sequence[Mapping[str, Any]]) -> float | None:
    for g in said:
        same = g["parameter"] == "optical_loss" and g["limit"] is not None
        if same and all(
            g[k] is None or g[k] == r[j]
            for k, j in (("pairing", "subject"), ("direction", "direction"), ("wavelength_nm", "wavelength_nm"))
        ):
            return float(g["limit"])
    return None


def _picture(marked: Sequence[tuple[Mapping[str, Any], float | None]], words: Wording, title: str) -> str:
    top, foot = 14, 34
    height = top + _ROW * len(marked) + foot
    values = [v for r, limit in marked for v in (r["value"], limit) if v is not None]
    ticks = even(min(0.0, *values), max(*values, 0.1) * 1.15, 6)
    span = ticks[-1] - ticks[0]

    def x(value: float) -> float:
        return float(_LEFT + (value - ticks[0]) / span * _WIDE)

    out = []
    bottom = top + _ROW * len(marked)
    for t in ticks:
        out.append(stroke(f"M{figure(x(t))} {top}V{bottom}", GRID, "", 0.6))
        out.append(text(x(t), bottom + 11, words.free(t), anchor="middle", colour=SOFT))
    for k, (r, limit) in enumerate(marked):
        y = top + _ROW * k + _ROW / 2
        wave = f"{r['wavelength_nm']:g} nm" if r["wavelength_nm"] else ""
        label = ", ".join(t for t in (plain(r["subject"]), wave, words.way(r["direction"])) if t)
        out.append(text(_LEFT - 8, y + 3, label, anchor="end"))
        out.append(stroke(f"M{figure(x(max(0.0, ticks[0])))} {figure(y)}H{figure(x(r['value']))}", INK, "", 1.2))
        out.append(f'<circle cx="{figure(x(r["value"]))}" cy="{figure(y)}" r="3.4" fill="{INK}"/>')
        told = f"{words.number(r['value'], 2)} dB"
        if limit is not None:
            out.append(stroke(f"M{figure(x(limit))} {figure(y - 8)}v16", INK, "", 2.0))
            margin = words.margin(limit - r["value"], "")
            told += ", " + words("margin {margin} {unit}", margin=margin, unit="dB")
        out.append(text(x(max(r["value"], limit or 0.0)) + 8, y + 3, told, halo=True))
    out.append(text(_LEFT + _WIDE / 2, bottom + 25, words.headed("optical_loss"), anchor="middle", colour=SOFT))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 780 {height}" width="780" height="{height}" role="img" '
        f'font-family="{FONT}"><title>{escape(title)}</title>{"".join(out)}</svg>'
    )


def events(tested: TestedRecord, words: Wording) -> DocumentSection | None:
    """The events of the traces, numbered as in the picture."""
    rows = tested.rows("trace_events")
    if not rows:
        return None
    head = [
        words(h) for h in ("number", "fibre", "kind", "nm", "km", "loss, dB", "reflectance, dB", "before it, dB/km")
    ]
    cells = [
        [
            plain(e["number"]),
            plain(e["fiber"]),
            words.term(e["kind"]),
            words.free(e["wavelength_nm"]),
            words.number(e["distance_km"], 4),
            words.number(e["loss_db"], 2),
            words.number(e["reflectance_db"], 1),
            words.number(e["slope_db_km"], 3),
        ]
        for e in rows
    ]
    return DocumentSection(words("Events of the traces"), [TableBlock(head, cells, align="rllrrrrr")], level=2)
