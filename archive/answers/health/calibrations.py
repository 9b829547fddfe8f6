"""The latest calibration of each unit, from lists, digital certificates, and certificates that were filed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from archive.store import Archive


@dataclass(frozen=True)
class CalibratedUnit:
    """A unit. calibrated_on, valid_until: of the calibration that holds longest; used: day of the last test by it that
    is in the archive; state: valid, ends soon, ended, or not stated."""

    serial: str
    calibrated_on: str | None
    valid_until: str | None
    used: str | None
    state: str

    @property
    def look(self) -> bool:
        """Whether it is to be calibrated."""
        return self.state in ("ends soon", "ended")

    @property
    def words(self) -> str:
        """The state in words."""
        if self.valid_until is None:
            return "no end stated"
        verb = {"valid": "valid until", "ends soon": "ends soon, on", "ended": "ended on"}[self.state]
        return f"{verb} {self.valid_until}"

    def plain(self) -> dict[str, Any]:
        """As JSON."""
        return dict(vars(self))


def units(archive: Archive, on: date, within: int) -> list[CalibratedUnit]:
    """Every unit of which a calibration is kept, by serial number. within: days that are soon."""
    archive.catch_up()
    rows = archive.db.execute(
        "SELECT serial, calibrated_on, valid_until FROM calibrations WHERE serial IS NOT NULL UNION ALL "
        "SELECT serial, valid_from, valid_until FROM documents WHERE kind = 'certificate' AND serial IS NOT NULL"
    ).fetchall()
    best: dict[str, tuple[str, str]] = {}
    for serial, begun, until in rows:
        held = (str(until or ""), str(begun or ""))
        best[serial] = max(best.get(serial, held), held)
    used = last_used(archive)
    made = []
    for serial, (until, begun) in sorted(best.items()):
        made.append(CalibratedUnit(serial, begun or None, until or None, used.get(serial), _state(until, on, within)))
    return made


def last_used(archive: Archive) -> dict[str, str]:
    """Day of the last test by each unit, at either end."""
    found: dict[str, str] = {}
    for column in ("local_serial", "remote_serial"):
        asked = (
            f"SELECT {column}, max(substr(coalesce(tested_local, tested_at, ''), 1, 10)) FROM records "
            f"WHERE {column} IS NOT NULL AND NOT withdrawn GROUP BY {column}"
        )
        for serial, day in archive.db.execute(asked).fetchall():
            found[serial] = max(found.get(serial, ""), day)
    return found


def _state(until: str, on: date, within: int) -> str:
    if not until:
        return "not stated"
    if until < on.isoformat():
        return "ended"
    return "ends soon" if until <= (on + timedelta(days=within)).isoformat() else "valid"
