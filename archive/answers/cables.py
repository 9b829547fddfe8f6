"""Words about cables in an archive: the type that each counts as, on what that rests, and settling many at once."""

from __future__ import annotations

import csv
import io
import warnings
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from archive.answers.cable_proposals import MOST_RECORDS, proposals
from archive.answers.link import people
from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.formats import cable_types
from archive.store import Archive
from archive.store.catalogue.cable_columns import BASES, RULE
from archive.store.checked_files import DamagedFile
from archive.store.events import Settlement, settle_cables
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.records import COUNTED
from archive.store.unread import UnreadEntry
from archive.vocabulary import cables

COLUMNS = (
    "words",
    "links",
    "records",
    "type",
    "basis",
    "settled_by",
    "settled_at",
    "unknown",
    "open",
    "cords",
    "rules",
    "by_the_rules",
    "proposals",
    "settle",
)
"""Columns of the table that is written, and read again: a filled cell of `settle` settles the words of its row."""

TAKE_BACK = "rule"
"""In the place of a type: what was settled for the words is taken back."""

NO_WORDS = ""
"""Words of records that say nothing of their cable."""


def listed(archive: Archive) -> list[dict[str, Any]]:
    """A row per words and type, most links first.

    words: the commonest spelling, spellings that fold alike together; "" of records that say nothing. links: links
    that any record of theirs is of. basis: see cable_columns.BASES; null where nothing is said. unknown, open: parts of
    the type. by_the_rules: what this version's rules make of the words, rules: the phrases that say so by part, cords:
    the type of cords that the words tell apart. settled_otherwise: a type that an archive that was merged settled.
    """
    archive.catch_up()
    rows = archive.db.execute(
        "SELECT cable_found, coalesce(cable_type, 'unknown') AS type, cable_basis, count(*) AS records, "
        "count(DISTINCT coalesce(link, row)) AS links FROM records "
        f"WHERE NOT withdrawn AND NOT replaced AND {COUNTED} "
        "GROUP BY 1, 2, 3 ORDER BY links DESC, 1, 2"
    ).fetchall()
    made: dict[tuple[str, str, str | None], dict[str, Any]] = {}
    for found, type_id, basis, records, links in rows:
        key = (cables.folded(found or NO_WORDS), type_id, basis)
        row = made.setdefault(key, {"words": found or NO_WORDS, "links": 0, "records": 0, "type": type_id})
        row["links"] += links
        row["records"] += records
    settled = _settled(archive)
    for (folded, type_id, basis), row in made.items():
        row |= {"basis": basis, **_parts(type_id), **_by_rules(row["words"]), **settled.get(folded, _NOT_SETTLED)}
    return sorted(made.values(), key=lambda r: (-r["links"], r["words"], r["type"]))


def read_otherwise(row: Mapping[str, Any]) -> bool:
    """Whether this version's rules read a part in the words of a row of `listed` otherwise than the type that counts.

    A part that the words do not speak of was stated beside them.
    """
    counts = cables.said(row["type"])
    return row["basis"] == RULE and any(counts.get(p) != word for p, word in cables.said(row["by_the_rules"]).items())


def with_proposals(archive: Archive, rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows of `listed`, those of which class, gauge or conductor is not known with what their figures fit."""
    made = []
    for row in rows:
        asked = {"class", "gauge", "conductor"} & {*row["unknown"], *row["open"]}
        addresses = _addresses(archive, row) if asked else []
        made.append({**row, "proposals": proposals(archive, addresses, row["type"])})
    return made


def _addresses(archive: Archive, row: dict[str, Any]) -> list[str]:
    """Some records of one row of `listed`, those with whole curves first."""
    found = archive.db.execute(
        "SELECT deposit || '/' || position FROM records WHERE cable_found IS ? AND coalesce(cable_type, 'unknown') = ? "
        f"AND NOT withdrawn AND NOT replaced AND {COUNTED} AND medium IS NOT 'fiber' "
        "ORDER BY evidence != 'full-sweep', row LIMIT ?",
        (row["words"] or None, row["type"], MOST_RECORDS),
    )
    return [str(r[0]) for r in found]


def write_table(rows: Iterable[dict[str, Any]], out: Path) -> None:
    """Writes the rows of `listed` as CSV with an empty column `settle`."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow([_cell(row.get(c)) for c in COLUMNS])
    write_bytes(out, text.getvalue().encode())


def read_table(path: Path) -> list[Settlement]:
    """Settlements of the rows of a table whose column `settle` is filled.

    Errors: Trouble where the table is no CSV in UTF-8, lacks a column, or a type is none.
    """
    try:
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError:
        raise Trouble("is no UTF-8", code="cables.not-a-table", where=str(path)) from None
    lines = io.StringIO(text, newline="")
    head = text.split("\n", 1)[0]
    rows = csv.DictReader(lines, delimiter=max(",;\t", key=head.count))
    missing = {"words", "settle"} - set(rows.fieldnames or [])
    if missing:
        raise Trouble(
            "the table lacks columns",
            code="cables.not-a-table",
            where=f"{path}: line 1",
            found=", ".join(rows.fieldnames or []) or "nothing",
            expected="words, settle",
            remedy="start from the table that --out writes",
        )
    made = []
    for row in rows:
        said = (row["settle"] or "").strip()
        if not said:
            continue
        where = f"{path}: line {rows.line_num}"
        if not cables.folded(row["words"] or ""):
            raise Trouble(
                "there are no words to settle",
                code="cables.row-without-words",
                where=where,
                remedy="state the cable of a job with `muniment job ARCHIVE JOB --set cable=TYPE`",
            )
        made.append(Settlement(row["words"], None if said == TAKE_BACK else _type(said, where)))
    return made


def settle(
    archive: Archive, path: Path, *, by: str | None, reason: str | None, sign: Sign | None = None
) -> tuple[LedgerEntry | None, list[Settlement]]:
    """Settles the filled rows of a table in one event. Errors: as read_table; Trouble where no row is filled."""
    wanted = read_table(path)
    if not wanted:
        raise Trouble(
            "nothing to settle", code="cables.nothing-filled", where=str(path), expected="types in the column settle"
        )
    return settle_cables(archive, wanted, by=by, reason=reason, sign=sign)


_NOT_SETTLED: dict[str, Any] = {"settled_by": None, "settled_at": None, "entry": None, "settled_otherwise": None}


def _settled(archive: Archive) -> dict[str, dict[str, Any]]:
    """Who settled words last, when, by which entry; by folded words."""
    rows = archive.db.execute(
        "SELECT c.words, c.number, c.type, c.holds, e.by, e.at FROM cables c JOIN entries e ON e.number = c.number "
        "ORDER BY c.number"
    ).fetchall()
    entries = [e for n in sorted({r["number"] for r in rows}) if (e := archive.ledger.read(n)) is not None]
    names: dict[str, str] = {}
    try:
        names = people(archive, {r["by"] for r in rows}, entries)
    except DamagedFile as lost:  # what was settled stands in another file, and is known
        warnings.warn(f"{lost.path} is missing or damaged: who settled cable types is not named", UnreadEntry, 3)
    made: dict[str, dict[str, Any]] = {}
    for r in rows:
        row = made.setdefault(r["words"], dict(_NOT_SETTLED))
        if not r["holds"]:
            row["settled_otherwise"] = r["type"]
        elif r["type"] is None:
            row.update(_NOT_SETTLED)
        else:
            row.update(settled_by=names.get(r["by"] or ""), settled_at=r["at"], entry=r["number"])
    return made


def _parts(type_id: str) -> dict[str, Any]:
    states = {part: cables.state(type_id, part) for part in cables.PARTS}
    fiber = cables.known(type_id).get("class", "").startswith("o")
    wanted = ("class",) if fiber else cables.PARTS
    return {
        "unknown": [p for p in wanted if states[p] == cables.UNKNOWN],
        "open": [p for p in wanted if states[p] in (cables.OPEN, cables.CONTRADICTED)],
    }


def _by_rules(words: str) -> dict[str, Any]:
    said = cable_types.explained(words)
    return {
        "by_the_rules": said.type if words else None,
        "rules": {part: list(phrases) for part, phrases in said.rules.items()},
        "cords": said.cord or None,
        "link_classes": list(said.link_classes),
    }


def _type(text: str, where: str) -> str:
    """A type as an id, or in words that say one. Errors: Trouble where they say none."""
    found = text if cables.valid(text) else cable_types.neutral(text)
    if found == cables.UNKNOWN and text != cables.UNKNOWN:
        raise Trouble(
            "no such cable type",
            code="cables.not-a-type",
            where=where,
            found=text,
            expected=f"such as cat6a/f-utp/awg23/solid, or {TAKE_BACK!r} to take a settlement back",
        )
    return found


def _cell(value: Any) -> str:
    if isinstance(value, dict):
        return "; ".join(f"{part}: {', '.join(phrases)}" for part, phrases in value.items())
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "; ".join(f"{p['type']} ({p['why']})" for p in value)
    return ", ".join(value) if isinstance(value, list) else "" if value is None else str(value)


__all__ = [
    "BASES",
    "COLUMNS",
    "NO_WORDS",
    "TAKE_BACK",
    "listed",
    "read_otherwise",
    "read_table",
    "settle",
    "with_proposals",
    "write_table",
]
