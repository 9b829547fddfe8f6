"""Optical loss as a picture, and the events of a trace as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from archive.answers.claim.claim_facts import TestedRecord
from archive.answers.documents import DocumentSection, Figure, TableBlock
from archive.answers.plots.axes import CIRCLE, Axes
from archive.answers.plots.model import NARROW, Box
from archive.answers.plots.pen import INK, LETTERS, haloed, picture
from archive.answers.plots.scale import even
from archive.answers.wording import Wording, plain

_LEFT, _WIDE, _ALL, _ROW, _TALL_ROW = 180, 330, 680, 22, 40


def loss(tested: TestedRecord, words: Wording) -> DocumentSection | None:
    """One line per fibre, wavelength and direction: the loss as a point, its limit as a bar across."""
    rows = [r for r in tested.rows("readings") if r["quantity"] == "optical_loss" and r["value"] is not None]
    rows = [r for r in rows if r["origin"] == "measured"]
    if not rows:
        return None
    verdict = tested.verdict()
    limit_id = verdict["limit_id"] if verdict else None
    ours = [(r, _limit(r, [g for g in tested.rows("grades") if limit_id and g["limit_id"] == limit_id])) for r in rows]
    stated = [*tested.rows("reported"), *_own_limits(tested)]
    known = any(limit is not None for _, limit in ours)
    marked = ours if known else [(r, _limit(r, stated)) for r in rows]
    caption = words("Optical loss of each fibre, wavelength and direction.") + " "
    if known:
        caption += words("Across stands the limit, {limit}.", limit=limit_id)
    elif any(limit is not None for _, limit in marked):
        caption += words("Across stands the limit that the export states; this program holds none for it.")
    else:
        caption += words("No limit is known; the losses stand here as measured.")
    svg, narrow = (_picture(marked, words, caption, width) for width in (_ALL, NARROW))
    return DocumentSection(words("Optical loss"), [Figure(svg, caption, caption, narrow=narrow)], level=2)


def _own_limits(tested: TestedRecord) -> list[dict[str, Any]]:
    """Limits of losses that the export has among its readings, as rows of `reported`."""
    rows = [r for r in tested.rows("readings") if r["quantity"] == "optical_loss" and r["origin"] == "limit"]
    return [{**r, "parameter": "optical_loss", "pairing": r["subject"], "limit": r["value"]} for r in rows]


def _limit(r: Mapping[str, Any], graded: Sequence[Mapping[str, Any]]) -> float | None:
    for g in graded:
        same = g["parameter"] == "optical_loss" and g["limit"] is not None
        if same and all(
            g[k] is None or g[k] == r[j]
            for k, j in (("pairing", "subject"), ("direction", "direction"), ("wavelength_nm", "wavelength_nm"))
        ):
            return float(g["limit"])
    return None


def _picture(marked: Sequence[tuple[Mapping[str, Any], float | None]], words: Wording, title: str, width: int) -> str:
    """The picture for a page; narrower, the name of each row stands above it."""
    above = width < _ALL
    left, wide, row = (14, width - 28, _TALL_ROW) if above else (_LEFT, _WIDE, _ROW)
    values = [v for r, limit in marked for v in (r["value"], limit) if v is not None]
    ticks = even(min(0.0, *values), max(*values, 0.1) * (1.0 if above else 1.15), 4 if above else 6)
    box = Box(left, 14, wide, row * len(marked))
    axes = Axes(box, (ticks[0], ticks[-1]), (len(marked) - 0.5, -0.5))
    names = [", ".join(t for t in (plain(r["subject"]), _wave(r), words.way(r["direction"])) if t) for r, _ in marked]
    axes.grid([(t, words.free(t)) for t in ticks], [] if above else list(enumerate(names)), "x", size=LETTERS)
    axes.edges()
    for k, (r, limit) in enumerate(marked):
        axes.line([max(0.0, ticks[0]), r["value"]], [k, k], (INK, ""), 1.2)
        axes.markers([r["value"]], [k], CIRCLE, INK, INK)
        message = f"{words.number(r['value'], 2)} dB"
        if limit is not None:
            axes.line([limit, limit], [k - 0.36, k + 0.36], (INK, ""), 2.0)
            margin = words.margin(limit - r["value"], "")
            message += ", " + words("margin {margin} {unit}", margin=margin, unit="dB")
        at, down = float(axes.x(max(r["value"], limit or 0.0))), float(axes.y(k))
        if above:
            axes.parts.append(haloed(left + 2, down - 8, f"{names[k]}: {message}", size=LETTERS))
        else:
            axes.parts.append(haloed(at + 8, down + 3.6, message, size=LETTERS))
    axes.words(wide / 2, box.tall + 34, words.headed("optical_loss"), anchor="middle", size=LETTERS)
    return picture(width, int(axes.bottom) + 42, title, "".join(axes.parts))


def _wave(r: Mapping[str, Any]) -> str:
    return f"{r['wavelength_nm']:g} nm" if r["wavelength_nm"] else ""


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
