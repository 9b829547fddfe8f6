"""Reads and checks a mapping file. schemas/mapping.md says what may stand in it."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping as Dict
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from archive import schemas, vocabulary
from archive.errors import Trouble
from archive.formats.base import dates, units
from archive.formats.mapping import keyed, live, load_fields, target
from archive.formats.mapping.load_fields import known, regex
from archive.formats.mapping.model import (
    KINDS,
    LANGUAGE,
    MARKS,
    OPEN,
    ROWS,
    Mapping,
    SourceFile,
    SourceTable,
    quantity,
)
from archive.formats.mapping.pairs import SCHEMES

HEAD_KEYS = {
    "layout": str,
    "language": int,
    "title": str,
    "version": str,
    "drafted": bool,
    "require": list,
    "note": str,
}
CELL_KEYS = {
    **dict.fromkeys(("decimal", "thousands", "date", "zone", "pairs"), str),
    "empty": list,
    **dict.fromkeys(("negative", "first_is_disturbed"), bool),
    **dict.fromkeys(("pair_names", "ends", "verdicts", "parameters", "directions", "kinds", "origins", "marks"), dict),
}
FILE_KEYS = {
    **dict.fromkeys(("name", "kind", "pattern", "encoding", "delimiter", "quote", "record", "block"), str),
    **dict.fromkeys(("skip", "ignore", "groups", "table", "named"), list),
    "side_by_side": int,
    "transpose": bool,
}
TABLE_KEYS = {
    **dict.fromkeys(("name", "rows", "sheet", "title", "each", "headings_are", "frequency_unit", "given"), str),
    **dict.fromkeys(("fields", "ignore", "columns", "widths"), list),
    "header_rows": int,
    "units_row": bool,
}

_GIVE_ONE = "give a mapping, such as `muniment mapping draft` makes; what is found names the line"


def load(path: Path | str) -> Mapping:
    """The mapping in a file. Errors: Trouble where it is no TOML or says what cannot be."""
    path = Path(path)
    if not path.is_file():
        raise Trouble(
            "there is no such mapping file",
            code="mapping.not-there",
            where=str(path),
            remedy="see `muniment mapping list`",
        )
    return loads(path.read_bytes(), str(path))


def loads(data: bytes, where: str = "mapping") -> Mapping:
    """The mapping in the bytes of a file. where: its name for messages. Errors: as load."""
    try:
        tree = schemas.toml(data.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Trouble(
            "is no TOML",
            code="mapping.not-toml",
            where=where,
            found=str(error),
            remedy="give a mapping; `muniment mapping draft` makes one, and the place is the line of it",
        ) from None
    return of_tree(tree, data, where)


def of_tree(tree: Dict[str, Any], data: bytes, where: str) -> Mapping:
    """The mapping of a tree of tables. data: the bytes of its file. Errors: as load."""
    known(tree, {"mapping": dict, "cells": dict, "file": list}, where)
    head = known(tree.get("mapping", {}), HEAD_KEYS, f"{where}, [mapping]")
    if not head.get("layout"):
        raise Trouble(
            "has no name of its layout",
            code="mapping.no-layout",
            where=f"{where}, [mapping]",
            expected='layout = "a-name"',
        )
    if head.get("language", LANGUAGE) > LANGUAGE:
        raise Trouble(
            "is written in a later language",
            code="mapping.later-language",
            where=where,
            found=f"language {head['language']}",
            expected=f"at most {LANGUAGE}",
            remedy="use a newer version of this program",
        )
    cells = known(tree.get("cells", {}), CELL_KEYS, f"{where}, [cells]")
    _check_cells(cells, f"{where}, [cells]")
    files = tuple(_file(f, i, where) for i, f in enumerate(tree.get("file", []), 1))
    if not files:
        raise Trouble(
            "names no file", code="mapping.no-file", where=where, expected="at least one [[file]] with a [[file.table]]"
        )
    _together(files, where)
    if why := dates.fault(cells["date"]) if cells.get("date") else "":
        raise Trouble(
            "no such pattern of dates",
            code="mapping.date-pattern",
            where=f"{where}, [cells], date",
            found=why,
            expected="such as DD.MM.YYYY hh:mm",
        )
    settings: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in cells.items()}
    return Mapping(
        layout=head["layout"],
        title=head.get("title", ""),
        version=head.get("version", "1"),
        require=tuple(head.get("require", ())),
        drafted=head.get("drafted", False),
        files=files,
        digest=hashlib.sha256(data).hexdigest(),
        text=data,
        path=where,
        **settings,
    )


def _check_cells(cells: dict[str, Any], where: str) -> None:
    if cells.get("decimal", ".") not in (".", ","):
        raise Trouble(
            "no such decimal mark",
            code="mapping.decimal-mark",
            where=where,
            found=cells["decimal"],
            expected='"." or ","',
        )
    if cells.get("pairs", "contacts") not in SCHEMES:
        raise Trouble(
            "no such naming of pairs",
            code="mapping.pair-names",
            where=where,
            found=cells["pairs"],
            expected=", ".join(SCHEMES),
        )
    for name, meanings in (
        ("ends", frozenset(vocabulary.ENDS)),
        ("verdicts", vocabulary.words("reported_verdict") | {"marginal pass", "marginal fail"}),
        ("parameters", frozenset(vocabulary.parameters())),
        ("directions", vocabulary.words("direction")),
        ("kinds", vocabulary.words("point_kind")),
        ("origins", vocabulary.words("origin")),
        ("pair_names", frozenset((*vocabulary.PAIRS, *vocabulary.ORDERED))),
        ("marks", frozenset(MARKS)),
    ):
        for word, meaning in cells.get(name, {}).items():
            if name == "parameters" and isinstance(meaning, str) and " " in meaning:
                stated = quantity(meaning)
                meaning = stated.parameter
                if meaning in meanings and stated.unit:
                    units.for_parameter(stated.unit, meaning, f"{where}, {name}, {word!r}")
            if meaning not in meanings:
                raise Trouble(
                    "no such word",
                    code="mapping.unknown-word",
                    where=f"{where}, {name}, {word!r}",
                    found=str(meaning),
                    expected=", ".join(sorted(meanings)[:12]),
                )
    for mark in cells.get("marks", {}):
        if not mark.strip() or re.search(r"[\w.,<>≤≥+\-\s]", mark):
            raise Trouble(
                "no mark that could stand beside a number",
                code="mapping.number-mark",
                where=f"{where}, marks",
                found=repr(mark),
                expected="such as * or †: no letters, digits, blanks or signs of numbers",
            )
    if cells.get("zone"):
        _zone(cells["zone"], where)


def _zone(zone: str, where: str) -> None:
    if dates.zone_minutes(zone) is None:
        try:
            ZoneInfo(zone)
        except (KeyError, ValueError, OSError):
            raise Trouble(
                "no such time zone",
                code="mapping.time-zone",
                where=where,
                found=zone,
                expected="an IANA name such as Europe/Lisbon, or +01:00",
            ) from None


def _file(tree: Any, number: int, where: str) -> SourceFile:
    at = f"{where}, file {number}"
    f = known(tree, FILE_KEYS, at)
    kind = f.get("kind", "")
    if kind not in KINDS:
        raise Trouble(
            "no such kind of file", code="mapping.file-kind", where=at, found=kind or "none", expected=", ".join(KINDS)
        )
    for pattern in f.get("skip", []):
        regex(pattern, at)
    if f.get("block", "").startswith("/"):
        regex(f["block"].strip("/"), at)
    stated = f.pop("table", [])
    tables = tuple(_table(t, i, at) for i, t in enumerate(stated, 1))
    if not tables:
        raise Trouble("names no table", code="mapping.no-table", where=at, expected="at least one [[file.table]]")
    rowless = next((t for t in tables if kind in ("xml", "json") and t.rows != "labels" and not t.each), None)
    if rowless is not None:
        raise Trouble(
            "a table of rows without their path",
            code="mapping.no-each",
            where=f"{at}, table {rowless.name}",
            found=f"rows = {rowless.rows!r} and no each",
            expected='each = the path of the rows, from the record; each = "." where the record is the row',
        )
    named = tuple(_named(n, i, at) for i, n in enumerate(f.pop("named", []), 1))
    plain: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in f.items()}
    plain["named"] = named
    if "delimiter" in plain:
        plain["delimiter"] = {"tab": "\t", "\\t": "\t"}.get(plain["delimiter"], plain["delimiter"])
    made = SourceFile(tables=tables, **{"name": str(number), **plain})
    live.check(made, set(f), list(zip(tables, map(set, stated), strict=True)), at)
    keyed.check(made, at)
    return made


def _named(tree: Any, number: int, where: str) -> tuple[str, str, str]:
    at = f"{where}, named {number}"
    n = known(tree, dict.fromkeys(("each", "name", "value"), str), at)
    if not all(n.get(k) for k in ("each", "name", "value")):
        raise Trouble(
            "a list of names and values needs its three paths",
            code="mapping.named-list",
            where=at,
            found=", ".join(n) or "none",
            expected='{ each = "Property", name = "@name", value = "@value" }',
        )
    return n["each"], n["name"], n["value"]


def _table(tree: Any, number: int, where: str) -> SourceTable:
    at = f"{where}, table {number}"
    t = known(tree, TABLE_KEYS, at)
    if t.get("title", "").startswith("/"):
        regex(t["title"].strip("/"), at)
    if t.get("rows") not in ROWS:
        raise Trouble(
            "no such kind of rows",
            code="mapping.row-kind",
            where=at,
            found=str(t.get("rows", "none")),
            expected=", ".join(ROWS),
        )
    if t.get("headings_are", "") not in ("", "frequencies", "links"):
        raise Trouble(
            "no such headings",
            code="mapping.heading-kind",
            where=at,
            found=t["headings_are"],
            expected="frequencies or links",
        )
    given = target.parse(f"{t.pop('given')}", at) if t.get("given") else OPEN
    fields = tuple(f for i, one in enumerate(t.pop("fields", []), 1) for f in load_fields.fields_of(one, i, at))
    load_fields.once(fields, at)
    plain: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in t.items()}
    table = SourceTable(fields=fields, given=given, **{"name": str(number), **plain})
    for f in fields:
        load_fields.unit(f, at)
    return table


def _together(files: tuple[SourceFile, ...], where: str) -> None:
    names = [f.name for f in files]
    if len(set(names)) != len(names):
        raise Trouble("two files have one name", code="mapping.file-name-twice", where=where, found=", ".join(names))
    if len(files) > 1 and any(not f.pattern for f in files):
        raise Trouble(
            "a file of several has no pattern",
            code="mapping.no-pattern",
            where=where,
            expected='pattern = "*identities*.csv" in each [[file]]',
        )
    keyed.check_beside(files, where)
    if len(files) == 1 and any(t.find("file") for t in files[0].tables):
        raise Trouble(
            "a field that can feed nothing",
            code="mapping.dead-field",
            where=f"{where}, file {files[0].name}",
            found="row.file in a layout of one file",
            expected="a [[file]] for the files that it names",
        )
