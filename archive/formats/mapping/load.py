"""Reads and checks a mapping file. schemas/mapping.md says what may stand in it."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping as Dict
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from archive import schemas, vocabulary
from archive.errors import Trouble
from archive.formats.base import dates, patterns, units
from archive.formats.mapping import keyed, live, target
from archive.formats.mapping.build.cell_arrays import encoding_fault
from archive.formats.mapping.model import (
    KINDS,
    LANGUAGE,
    OPEN,
    ROWS,
    Mapping,
    SourceField,
    SourceFile,
    SourceTable,
    quantity,
)
from archive.formats.mapping.pairs import SCHEMES

_HEAD = {"layout": str, "language": int, "title": str, "version": str, "drafted": bool, "require": list, "note": str}
_CELLS = {
    **dict.fromkeys(("decimal", "thousands", "date", "zone", "pairs"), str),
    "empty": list,
    **dict.fromkeys(("negative", "first_is_disturbed"), bool),
    **dict.fromkeys(("pair_names", "ends", "verdicts", "parameters", "directions", "kinds", "origins"), dict),
}
_FILE = {
    **dict.fromkeys(("name", "kind", "pattern", "encoding", "delimiter", "quote", "record", "block"), str),
    **dict.fromkeys(("skip", "ignore", "groups", "table", "named"), list),
    "side_by_side": int,
    "transpose": bool,
}
_TABLE = {
    **dict.fromkeys(("name", "rows", "sheet", "title", "each", "headings_are", "frequency_unit", "given"), str),
    **dict.fromkeys(("fields", "ignore", "columns", "widths"), list),
    "header_rows": int,
    "units_row": bool,
}
_FIELD = {
    **dict.fromkeys(("from", "to", "unit", "format", "split", "separator", "encoding", "reason"), str),
    "words": dict,
    **dict.fromkeys(("negative", "optional", "once"), bool),
    "confidence": (int, float),
}


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
            "is no TOML", code="mapping.not-toml", where=where, found=str(error), remedy="fix the line it names"
        ) from None
    return _mapping(tree, data, where)


def _mapping(tree: Dict[str, Any], data: bytes, where: str) -> Mapping:
    _known(tree, {"mapping": dict, "cells": dict, "file": list}, where)
    head = _known(tree.get("mapping", {}), _HEAD, f"{where}, [mapping]")
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
    cells = _known(tree.get("cells", {}), _CELLS, f"{where}, [cells]")
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
    for name, known in (
        ("ends", frozenset(vocabulary.ENDS)),
        ("verdicts", vocabulary.words("reported_verdict") | {"marginal pass", "marginal fail"}),
        ("parameters", frozenset(vocabulary.parameters())),
        ("directions", vocabulary.words("direction")),
        ("kinds", vocabulary.words("point_kind")),
        ("origins", vocabulary.words("origin")),
        ("pair_names", frozenset((*vocabulary.PAIRS, *vocabulary.ORDERED))),
    ):
        for word, meaning in cells.get(name, {}).items():
            if name == "parameters" and isinstance(meaning, str) and " " in meaning:
                stated = quantity(meaning)
                meaning = stated.parameter
                if meaning in known and stated.unit:
                    units.for_parameter(stated.unit, meaning, f"{where}, {name}, {word!r}")
            if meaning not in known:
                raise Trouble(
                    "no such word",
                    code="mapping.unknown-word",
                    where=f"{where}, {name}, {word!r}",
                    found=str(meaning),
                    expected=", ".join(sorted(known)[:12]),
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
    f = _known(tree, _FILE, at)
    kind = f.get("kind", "")
    if kind not in KINDS:
        raise Trouble(
            "no such kind of file", code="mapping.file-kind", where=at, found=kind or "none", expected=", ".join(KINDS)
        )
    for pattern in f.get("skip", []):
        _regex(pattern, at)
    if f.get("block", "").startswith("/"):
        _regex(f["block"].strip("/"), at)
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
    n = _known(tree, dict.fromkeys(("each", "name", "value"), str), at)
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
    t = _known(tree, _TABLE, at)
    if t.get("title", "").startswith("/"):
        _regex(t["title"].strip("/"), at)
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
    fields = tuple(_field(f, i, at) for i, f in enumerate(t.pop("fields", []), 1))
    _once(fields, at)
    plain: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in t.items()}
    table = SourceTable(fields=fields, given=given, **{"name": str(number), **plain})
    for f in fields:
        _unit(f, table, at)
    return table


def _field(tree: Any, number: int, where: str) -> SourceField:
    at = f"{where}, field {number}"
    f = _known(tree, _FIELD, at)
    if not f.get("from") or not f.get("to"):
        raise Trouble(
            "a field needs both ends",
            code="mapping.half-field",
            where=at,
            expected='{ from = "name in the source", to = "table.name" }',
        )
    at = f"{where}, field {f['from']!r}"
    if f.get("split", "").startswith("/"):
        _regex(f["split"].strip("/"), at)
    to = target.parse(f.pop("to"), at)
    confidence = f.pop("confidence", None)
    _written(f, at)
    return SourceField(
        source=f.pop("from"), to=to, confidence=float(confidence) if confidence is not None else None, **f
    )


def _written(f: dict[str, Any], where: str) -> None:
    """The pattern of dates and the encoding of arrays can be. Errors: Trouble."""
    if why := dates.fault(f["format"]) if f.get("format") else "":
        raise Trouble(
            "no such pattern of dates",
            code="mapping.date-pattern",
            where=where,
            found=why,
            expected='"ISO", "words", "seconds since 1970", or letters such as DD.MM.YYYY hh:mm:ss',
            remedy="see the letters in schemas/mapping.md",
        )
    if why := encoding_fault(f["encoding"]) if f.get("encoding") else "":
        raise Trouble(
            "no such encoding of numbers",
            code="mapping.number-encoding",
            where=where,
            found=why,
            expected='"pairs", or words such as base64-float32-le, base64-zlib-int16/100-be, hex-float64-le',
        )


def _once(fields: tuple[SourceField, ...], where: str) -> None:
    """No cell is taken twice, no place is filled twice."""
    seen: dict[str, SourceField] = {}
    for f in fields:
        if f.source in seen:
            raise Trouble(
                "two fields from one cell",
                code="mapping.cell-twice",
                where=f"{where}, {f.source!r}",
                found=f"{seen[f.source].to} and {f.to}",
                expected="each column, label or element once",
                remedy='keep one; an identifier is cut with split = "{floor}{space}-{panel}{port}"',
            )
        seen[f.source] = f
    places: dict[str, SourceField] = {}
    for f in fields:
        name = str(f.to)
        if f.to.table not in ("row", "axes") and f.to.name != "far" and name in places:
            raise Trouble(
                "two cells for one place",
                code="mapping.target-twice",
                where=f"{where}, {name}",
                found=f"{places[name].source!r} and {f.source!r}",
                expected="one",
                remedy="leave one out: it is kept as an extra",
            )
        places[name] = f


def _unit(f: SourceField, table: SourceTable, where: str) -> None:
    """The unit of a field can be one of its target. Errors: Trouble."""
    at = f"{where}, field {f.source!r}"
    if not f.unit or (f.to.table == "row" and f.to.name in ("value", "limit", "margin", "values", "unit")):
        if f.unit and units.find(f.unit) is None:
            raise Trouble("no such unit", code="mapping.unknown-unit", where=at, found=f.unit)
        return
    ours = unit_of(f)
    if not ours:
        raise Trouble(
            "a unit where none can be",
            code="mapping.unit-not-wanted",
            where=at,
            found=f.unit,
            expected=f"no unit for {f.to}",
        )
    units.for_unit(f.unit, ours, str(f.to), at)


_FREQUENCIES = ("frequency", "frequencies", "start", "stop", "step")


def unit_of(f: SourceField) -> str:
    """Unit in which the tables hold what a field fills, or ""."""
    t = f.to
    if t.table == "axes" or t.column == "frequency" or (t.table == "row" and t.name in _FREQUENCIES):
        return "MHz"
    if t.column == "wavelength" or (t.table == "row" and t.name == "wavelength"):
        return "nm"
    if t.parameter and t.column in ("", "value", "limit", "margin", "uncertainty"):
        return vocabulary.parameter(t.parameter).unit
    if t.table == "records" and t.name == "velocity_percent":
        return "%"
    return "m" if t.table == "row" and t.name == "distance" else ""


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


def _regex(pattern: object, where: str) -> None:
    if why := patterns.fault(str(pattern)):
        raise Trouble(
            "is no pattern that can be used",
            code="mapping.not-a-pattern",
            where=where,
            found=f"{pattern}: {why}",
            remedy="write it with plain repetitions, such as ^Total or ^Page \\d+",
        )


def _known(tree: Any, known: Dict[str, Any], where: str) -> dict[str, Any]:
    """The tree where it holds nothing but known keys of the right type. Errors: Trouble."""
    if not isinstance(tree, dict):
        raise Trouble("is not a table of keys", code="mapping.not-keys", where=where, found=repr(tree)[:80])
    for key, value in tree.items():
        if key not in known:
            raise Trouble("no such key", code="mapping.unknown-key", where=where, found=key, expected=", ".join(known))
        if not isinstance(value, known[key]) or (isinstance(value, bool) and known[key] is not bool):
            raise Trouble(
                "a key of the wrong type", code="mapping.key-type", where=f"{where}, {key}", found=repr(value)[:80]
            )
    return dict(tree)
