"""Which records a person means: the filters that commands share, as a WHERE clause over the catalogue's records."""

from __future__ import annotations

import re
import sqlite3
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from archive.errors import Trouble
from archive.store.records import COUNTED

_WHERE = {
    "link": "r.link_label = ?N",
    "job": "r.job_id = ?N",
    "site": "r.site = ?N COLLATE NOCASE",
    "since": "r.tested_local >= ?N",
    "until": "r.tested_local < ?N || '~'",
    "cable_type": "(r.cable_type = ?N OR substr(r.cable_type, 1, length(?N) + 1) = ?N || '/')",
    "limit": "(r.limit_id = ?N OR r.limit_found = ?N OR instr('/' || r.limit_id || '/', '/' || ?N || '/'))",
    "verdict": "coalesce(r.verdict, 'not graded') = ?N",
    "serial": "?N IN (r.local_serial, r.remote_serial)",
    "deposit": "r.deposit = ?N",
}


VERDICTS = ("pass", "fail", "not graded")
_BEGUN = re.compile(r"\d{4}(-\d\d)?")
"""A year or a month: so many days begin so."""


@dataclass(frozen=True)
class Filters:
    """What to choose by; None chooses all. since, until: ISO 8601 local dates, both included."""

    link: str | None = None
    job: str | None = None
    site: str | None = None
    since: str | None = None
    until: str | None = None
    cable_type: str | None = None
    limit: str | None = None
    verdict: str | None = None
    serial: str | None = None
    deposit: str | None = None

    def __post_init__(self) -> None:
        """Errors: Trouble for a day or a verdict that is none: records would be left out, or none, in silence."""
        for name in ("since", "until"):
            _check_day(name, getattr(self, name))
        if self.verdict is not None and self.verdict not in VERDICTS:
            raise Trouble(
                "no such verdict", code="filters.not-a-verdict", found=self.verdict, expected=", ".join(VERDICTS)
            )

    def __bool__(self) -> bool:
        """Whether anything is asked for."""
        return any(getattr(self, f.name) is not None for f in fields(self))

    def where(self) -> tuple[str, list[Any]]:
        """The clause over `records r`, and its values."""
        clauses, values = [], []
        for f in fields(self):
            value = getattr(self, f.name)
            if value is not None:
                values.append(value)
                clauses.append(_WHERE[f.name].replace("?N", f"?{len(values)}"))
        return " AND ".join(clauses) or "1", values


def _check_day(name: str, text: str | None) -> None:
    whole = None if text is None else text + "2000-01-01"[len(text) :] if _BEGUN.fullmatch(text) else text
    try:
        if whole is not None:
            datetime.fromisoformat(whole)
    except ValueError:
        raise Trouble(
            "not a day",
            code="filters.not-a-day",
            where=name,
            found=str(text),
            expected="a day such as 2019-05-03, a month or a year",
        ) from None


_COUNTED = f" AND NOT r.withdrawn AND NOT r.replaced AND r.{COUNTED}"


def addresses(db: sqlite3.Connection, chosen: Filters, *, counted: bool = False) -> list[str]:
    """Addresses "deposit/position" of the records that are chosen, in the order in which they came.

    counted: without those that were there already, were withdrawn, or were read again.
    """
    where, values = chosen.where()
    where += _COUNTED if counted else ""
    found = db.execute(f"SELECT r.deposit || '/' || r.position FROM records r WHERE {where} ORDER BY r.row", values)
    return [str(r[0]) for r in found]
