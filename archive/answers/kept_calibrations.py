"""Calibrations that an archive keeps, laid beside records when they are checked: those of lists and of digital
certificates, and certificates that were filed with the days of one unit.

One of which both days are not known covers no day, and is left out.
"""

from __future__ import annotations

from typing import Any

import pyarrow as pa

from archive.store import Archive
from archive.tables import Batch

_ASKED = (
    "SELECT serial, calibrated_on, valid_until FROM calibrations UNION "
    "SELECT serial, valid_from, valid_until FROM documents WHERE kind = 'certificate'"
)


class KeptCalibrations:
    """What an archive keeps, as it stands when this is made."""

    def __init__(self, archive: Archive) -> None:
        archive.catch_up()
        found = archive.db.execute(f"SELECT * FROM ({_ASKED}) ORDER BY 1, 2, 3").fetchall()
        self._days: dict[str, list[tuple[str, str]]] = {}
        for serial, begins, ends in found:
            if serial and begins and ends:
                self._days.setdefault(serial, []).append((begins, ends))

    def beside(self, batch: Batch) -> Batch:
        """The batch with the calibrations of its units as certificates, for the rules alone: they are not part of what
        was handed in, and are not to be archived with it."""
        serials = [s for s in dict.fromkeys(batch["instruments"]["serial"].to_pylist()) if s in self._days]
        if not serials:
            return batch
        made = [_document(s, *days) for s in serials for days in self._days[s]]
        return batch.replace(
            documents=pa.concat_tables([batch["documents"], Batch.from_rows({"documents": made})["documents"]])
        )

    def covers(self, serial: str | None, day: str) -> bool:
        """Whether a unit was calibrated on a day (ISO 8601)."""
        return any(begins <= day <= ends for begins, ends in self._days.get(serial or "", ()))


def _document(serial: str, begins: str, ends: str) -> dict[str, Any]:
    key = f"kept-{serial}-{begins}-{ends}"
    return {"document_id": key, "kind": "certificate", "serial": serial, "valid_from": begins, "valid_until": ends}
