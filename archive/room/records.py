"""One record of an archive as the room's pages take it: its tables, and what grading says of it now."""

from __future__ import annotations

from typing import Any

from archive import grading, limits
from archive.answers import records
from archive.answers.wording import Wording
from archive.grading.document import documents
from archive.limits import fiber
from archive.room.app import PageRequest
from archive.tables import Batch


def record_batch(asked: PageRequest, record: str) -> Batch:
    """One record as it counts now. record: its id or address. Errors: Trouble where there is none."""
    deposit, _, position = asked.look.archive.address(record).rpartition("/")
    return next(records.read(asked.look.archive, [(deposit, int(position))]))


def graded(batch: Batch, against: str | None, words: Wording) -> dict[str, Any]:
    """Verdicts of a batch by today's limit library, against the limit that it names or another."""
    if against is not None and against not in fiber.limit_ids():
        limits.get(against)  # a wrong one is refused before anything is graded
    verdicts = list(documents(grading.grade(batch, [against] if against else None)))
    for point in (p for v in verdicts for p in v["parameters"]):
        point["digits"] = 2 if point.get("wavelength_nm") else None  # losses are told to hundredths
        nm, way = point.get("wavelength_nm"), point.get("direction")
        parts = (point["pairing"], f"{nm:g} nm" if nm else "", words.way(way))
        point["of"] = ", ".join(part for part in parts if part)
    for v in verdicts:
        first: dict[str, Any] = {}
        for point in v["parameters"]:  # the smallest margin of a parameter comes first
            first.setdefault(point["parameter"], point)
        v["tightest"] = list(first.values())
    return {"verdicts": verdicts, "against": against}


def limits_for(medium: str | None) -> list[str]:
    """Limits that a record of a medium can be graded against, by name."""
    return sorted(fiber.limit_ids() if medium == "fiber" else limits.ids())
