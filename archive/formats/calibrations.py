"""Calibrations of test units from a list (CSV) or from a digital calibration certificate (XML).

What is read of the XML is declared in schemas/calibrations.toml, from memory; its signature is not checked.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from archive import schemas
from archive.errors import Trouble

FIELDS = ("serial", "maker", "model", "calibrated_on", "valid_until", "certificate", "laboratory")
MOST_BYTES = 20_000_000
_DAYS = ("calibrated_on", "valid_until")
_LONGEST = 200


@dataclass(frozen=True)
class CalibrationFile:
    """What a file says. rows: FIELDS of each unit, None where it says nothing; refused: rows that cannot be read, each
    in one line; notes: what was read from memory, or not looked at."""

    rows: list[dict[str, str | None]] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    data: bytes = b""
    """The file as received."""


def read(path: Path, *, valid_until: str | None = None) -> CalibrationFile:
    """The calibrations in a file. valid_until: for rows that state no end themselves.

    Errors: Trouble where it cannot be opened, or is neither a list nor a certificate.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise Trouble(
            "cannot be opened", code="input.cannot-open", where=str(path), found=str(error.strerror)
        ) from None
    if len(data) > MOST_BYTES:
        raise Trouble(
            "too large for a list of calibrations",
            code="calibrations.too-large",
            where=path.name,
            expected=f"at most {MOST_BYTES:,} bytes",
        )
    given = None if valid_until is None else _day(valid_until, "--valid-until")
    made = _xml(path, data) if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<") else _list(path, data)
    rows = [{**row, "valid_until": row["valid_until"] or given} for row in made.rows]
    return CalibrationFile(rows, made.refused, made.notes, data)


def _list(path: Path, data: bytes) -> CalibrationFile:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _no_list(path, f"byte {error.start} is no UTF-8") from None
    head = text.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise _no_list(path, str(error)) from None
    columns = _columns(path, rows[0] if rows else [])
    made = CalibrationFile()
    for number, cells in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in cells):
            continue
        try:
            if len(cells) > len(rows[0]):
                raise _bad_row(f"{len(cells)} cells", f"{len(rows[0])}, as the heading has")
            said = {name: cells[at].strip() or None for name, at in columns.items() if at < len(cells)}
            made.rows.append(_checked({name: said.get(name) for name in FIELDS}))
        except Trouble as trouble:
            made.refused.append(f"{path.name}, row {number}: {trouble}")
    return made


def _columns(path: Path, heading: list[str]) -> dict[str, int]:
    """Where each column stands. Errors: Trouble where one is missing that is needed, or stands twice."""
    words = schemas.load("calibrations.toml")["csv"]["headings"]
    folded = [" ".join(cell.casefold().replace("_", " ").replace("-", " ").split()) for cell in heading]
    found: dict[str, int] = {}
    for name, meant in words.items():
        places = [at for at, cell in enumerate(folded) if cell in meant]
        if len(places) > 1:
            raise _no_list(path, f"two columns of {name.replace('_', ' ')}")
        if places:
            found[name] = places[0]
    if "serial" not in found or not found.keys() & set(_DAYS):
        raise _no_list(path, ", ".join(heading)[:_LONGEST] or "nothing")
    return found


def _checked(row: dict[str, str | None]) -> dict[str, str | None]:
    """A row that says something. Errors: Trouble."""
    if not row["serial"]:
        raise _bad_row("no serial number", "one")
    if any(len(value or "") > _LONGEST or not (value or "x").isprintable() for value in row.values()):
        raise _bad_row("a text that is too long or has control characters", f"at most {_LONGEST} printable characters")
    days = {name: _day(str(row[name]), name.replace("_", " ")) if row[name] else None for name in _DAYS}
    if not any(days.values()):
        raise _bad_row("no day", "the day of calibration, or the day until which it holds")
    if days["calibrated_on"] and days["valid_until"] and days["valid_until"] < days["calibrated_on"]:
        raise _bad_row(f"valid until {days['valid_until']}", f"{days['calibrated_on']} or later")
    return {**row, **days}


def _xml(path: Path, data: bytes) -> CalibrationFile:
    from lxml import etree

    from archive.formats.base.xml_bounds import beyond_bounds
    from archive.formats.open_xml.prolog import SAFE, doctype

    said = schemas.load("calibrations.toml")["xml"]
    if doctype(data[:65536]):
        raise _no_certificate(path, "a document type declaration")
    try:
        root = etree.fromstring(data, etree.XMLParser(**SAFE))
    except etree.XMLSyntaxError as error:
        where = f"{path.name}, line {error.lineno or 1}"
        raise beyond_bounds(error, where) or _no_certificate(path, str(error.msg or error)[:120]) from None
    if root.tag != f"{{{said['namespace']}}}{said['root']}":
        raise _no_certificate(path, str(root.tag)[:_LONGEST])
    shared = {name: _text(root, said[name], said) for name in ("certificate", "calibrated_on", "laboratory")}
    made = CalibrationFile(
        notes=[
            f"{path.name}: read by what is known of its schema from memory; its signature was not checked",
            *([f"{path.name}: a certificate states no end of its validity"]),
        ]
    )
    for number, item in enumerate(_all(root, said["item"], said), 1):
        try:
            own = {name: _text(item, said[name], said) for name in ("maker", "model")}
            row = {"serial": _serial(item, said), "valid_until": None, **shared, **own}
            made.rows.append(_checked({name: row.get(name) for name in FIELDS}))
        except Trouble as trouble:
            made.refused.append(f"{path.name}, item {number}: {trouble}")
    if not made.rows and not made.refused:
        raise _no_certificate(path, "no item")
    return made


def _serial(item: Any, said: dict[str, str]) -> str | None:
    """The number that the manufacturer gave. Errors: Trouble where it gave several: none is guessed at."""
    given = [
        _text(i, said["value"], said)
        for i in _all(item, said["identification"], said)
        if _text(i, said["issuer"], said) == said["issued_by"]
    ]
    numbers = [n for n in given if n]
    if len(numbers) > 1:
        raise _bad_row(f"{len(numbers)} numbers of the manufacturer: {', '.join(numbers)}"[:_LONGEST], "one")
    return numbers[0] if numbers else None


def _all(element: Any, path: str, said: dict[str, str]) -> Iterator[Any]:
    yield from element.iterfind("/".join(f"{{{said['namespace']}}}{name}" for name in path.split("/")))


def _text(element: Any, path: str, said: dict[str, str]) -> str | None:
    found = next(_all(element, path, said), None)
    return None if found is None else " ".join("".join(found.itertext()).split()) or None


def _day(text: str, where: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise Trouble(
            "not a date", code="calibrations.not-a-day", where=where, found=text[:40], expected="such as 2026-05-03"
        ) from None


def _bad_row(found: str, expected: str) -> Trouble:
    return Trouble("this calibration cannot be read", code="calibrations.row", found=found, expected=expected)


def _no_list(path: Path, found: str) -> Trouble:
    return Trouble(
        "this is no list of calibrations",
        code="calibrations.no-list",
        where=path.name,
        found=found,
        expected="CSV in UTF-8 with a heading: serial, and calibrated_on or valid_until (days as 2026-05-03)",
    )


def _no_certificate(path: Path, found: str) -> Trouble:
    said = schemas.load("calibrations.toml")["xml"]
    return Trouble(
        "this is no digital calibration certificate that is known",
        code="calibrations.no-certificate",
        where=path.name,
        found=found,
        expected=f"{said['root']} of the namespace {said['namespace']}",
        remedy="keep it with `muniment attach --kind certificate --serial N --valid-until D`",
    )
