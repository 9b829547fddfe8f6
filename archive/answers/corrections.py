"""Corrections from a table, and of a clock that was wrong: what `muniment amend` takes beside --set."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters, addresses
from archive.store.events.amend import FIELDS, Correction

_DELIMITERS = (",", ";", "\t", "|")
_SHIFT = re.compile(r"([+-]\d+)\s*(y|mo|d|h|min)")
_STEP = {"d": timedelta(days=1), "h": timedelta(hours=1), "min": timedelta(minutes=1)}


def from_table(archive: Archive, path: Path, *, job: str | None = None, site: str | None = None) -> list[Correction]:
    """Corrections from a table with a heading line, joined by commas, semicolons, tabs or bars.

    Columns `record` or `link` (with `job` and `site` where they are given), `field`, `value`: one value of a record,
    or of all records of a link. Columns `old`, `new`, and `field` or else link_label: a renaming of labels, or of what
    the field holds, such as rooms. job, site: hold where the table has no such column.
    Errors: Trouble that names the line.
    """
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    delimiter = max(_DELIMITERS, key=lines[0].count) if lines else ","
    rows = csv.DictReader(lines, delimiter=delimiter)
    heads = {h.strip().lower() for h in rows.fieldnames or []}
    renames = {"old", "new"} <= heads
    if not renames and not ({"field", "value"} <= heads and heads & {"record", "link"}):
        raise Trouble(
            "the table lacks columns",
            code="amend.table-columns",
            where=f"{path}: line 1",
            found=", ".join(rows.fieldnames or []) or "nothing",
            expected="record (or link, with job), field, value; or old, new",
        )
    archive.catch_up()
    made: list[Correction] = []
    for raw in rows:
        row = {
            k.strip().lower(): (v or "").strip() for k, v in raw.items() if k is not None and not isinstance(v, list)
        }
        where = f"{path}: line {rows.line_num}"
        field = row.get("field") or ("link_label" if renames else "")
        if field not in FIELDS:
            raise Trouble(
                "no such field", code="amend.field-in-table", where=where, found=field, expected=", ".join(FIELDS)
            )
        chosen = Filters(job=row.get("job") or job, site=row.get("site") or site)
        found = list(_renamed(archive, field, row, chosen) if renames else _named(archive, row, chosen))
        if not found:
            raise Trouble(
                "no record fits this line",
                code="amend.line-fits-nothing",
                where=where,
                found=row.get("record") or row.get("link") or row.get("old") or "nothing",
                remedy="see what the archive holds with `muniment find`",
            )
        new = row["new"] if renames else row["value"]
        made.extend(Correction(address, field, new or None) for address in found)
    return made


def shifted(archive: Archive, records: Iterable[str], shift: str) -> list[Correction]:
    """The times of some records (by address), moved by what a clock was wrong: "+1y", "-1h", "+2d 30min".

    A record without a time is left out; a date without a time of day moves by whole days, months and years alone.
    Errors: Trouble for a shift that is none, or one that a date without a time of day cannot move by.
    """
    parts = [(int(n), unit) for n, unit in _SHIFT.findall(shift.replace(" ", ""))]
    if not parts or _SHIFT.sub("", shift.replace(" ", "")):
        raise Trouble(
            "not a shift of a clock",
            code="amend.not-a-shift",
            where="--shift",
            found=shift,
            expected="such as +1y or -1h",
        )
    archive.catch_up()
    made = []
    for address in records:
        deposit, _, position = address.rpartition("/")
        row = archive.db.execute(
            "SELECT tested_local, tested_at FROM records WHERE deposit = ? AND position = ?", (deposit, int(position))
        ).fetchone()
        for field in ("tested_local", "tested_at"):
            if row[field]:
                made.append(Correction(address, field, _moved(row[field], parts, address)))
    return made


def _named(archive: Archive, row: dict[str, str], chosen: Filters) -> Iterator[str]:
    if row.get("record"):
        found = archive.db.execute(
            "SELECT deposit || '/' || position FROM records WHERE record_id = ?1 OR deposit || '/' || position = ?1 "
            "ORDER BY row DESC LIMIT 1",
            (row["record"],),
        ).fetchone()
        if found is not None:
            yield str(found[0])
    elif row.get("link"):
        yield from addresses(archive.db, Filters(link=row["link"], job=chosen.job, site=chosen.site))


def _renamed(archive: Archive, field: str, row: dict[str, str], chosen: Filters) -> Iterator[str]:
    held = archive.db.execute("SELECT 1 FROM pragma_table_info('records') WHERE name = ?", (field,)).fetchone()
    if held is None or not row["old"]:
        return
    clauses, values = [f"{field} = ?"], [row["old"]]
    if chosen.job is not None:
        clauses, values = [*clauses, "job_id = ?"], [*values, chosen.job]
    if chosen.site is not None:
        clauses, values = [*clauses, "site = ? COLLATE NOCASE"], [*values, chosen.site]
    for (address,) in archive.db.execute(
        f"SELECT deposit || '/' || position FROM records WHERE {' AND '.join(clauses)} ORDER BY row", values
    ):
        yield str(address)


def _moved(text: str, parts: list[tuple[int, str]], where: str) -> str:
    """A time as precise as it was, moved."""
    if len(text) < len("2019-03-04"):
        raise Trouble("a date that is not whole cannot be moved", code="amend.not-a-shift", where=where, found=text)
    whole = len(text) == len("2019-03-04")
    zone = "Z" if text.endswith("Z") else ""
    at = datetime.fromisoformat(text.removesuffix("Z"))
    for number, unit in parts:
        if whole and unit in ("h", "min"):
            raise Trouble(
                "a date without a time of day cannot be moved by hours",
                code="amend.not-a-shift",
                where=where,
                found=text,
            )
        if unit in ("y", "mo"):
            months = at.year * 12 + at.month - 1 + number * (12 if unit == "y" else 1)
            first = date(months // 12, months % 12 + 1, 1)
            last = (date(first.year + first.month // 12, first.month % 12 + 1, 1) - timedelta(days=1)).day
            at = at.replace(year=first.year, month=first.month, day=min(at.day, last))
        else:
            at += number * _STEP[unit]
    return at.date().isoformat() if whole else at.isoformat(timespec=_precision(text)) + zone


def _precision(text: str) -> str:
    return "milliseconds" if "." in text else "seconds" if text.count(":") == 2 else "minutes"
