"""Fields of a mapping file: where each cell goes, and how it is written."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Mapping as Dict
from typing import Any

from archive import vocabulary
from archive.errors import Trouble
from archive.formats.base import dates, patterns, units
from archive.formats.mapping import parts, target
from archive.formats.mapping.build.cell_arrays import encoding_fault
from archive.formats.mapping.model import SourceField

FIELD_KEYS = {
    **dict.fromkeys(("from", "to", "unit", "format", "split", "separator", "encoding", "reason"), str),
    "pattern": (str, list),
    "parts": dict,
    "words": dict,
    **dict.fromkeys(("negative", "optional", "once"), bool),
    "confidence": (int, float),
}
PART_KEYS = {k: v for k, v in FIELD_KEYS.items() if k not in ("from", "pattern", "parts")}


def fields_of(tree: Any, number: int, where: str) -> Iterator[SourceField]:
    """The field of an entry of a mapping, or those of the parts of its cell. Errors: Trouble."""
    f = known(tree, FIELD_KEYS, f"{where}, field {number}")
    if "parts" not in f and "pattern" not in f:
        yield _field(f, number, where)
        return
    yield from _parts(f, f"{where}, field {f.get('from', number)!r}")


def _parts(f: dict[str, Any], where: str) -> Iterator[SourceField]:
    """Fields of the parts of a cell that holds several values."""
    stated, named = f.get("pattern", ()), known(f.get("parts", {}), _Any(), where)
    texts = (stated,) if isinstance(stated, str) else tuple(map(str, stated))
    beside = sorted(set(f) - {"from", "pattern", "parts", "optional"})
    if not f.get("from") or not texts or not named or beside:
        raise Trouble(
            "a cell of several values needs its pattern and its parts, and nothing else",
            code="mapping.half-field",
            where=where,
            found=", ".join(beside or sorted(f)),
            expected='{ from = "NEXT", pattern = "{value} @ {frequency}", parts = { value = "row.value", ... } }',
        )
    of_patterns = [*dict.fromkeys(n for t in texts if not parts.fault(t) for n in parts.pattern(t).names)]
    why = next((fault for t in texts if (fault := parts.fault(t))), "")
    odd = [n for n in of_patterns if n not in named and n != parts.PASSED_OVER] + [
        n for n in named if n not in of_patterns
    ]
    if why or odd:
        raise Trouble(
            "a pattern and parts that do not belong together",
            code="mapping.cell-parts",
            where=where,
            found=why or f"the part {odd[0]!r} in one of them alone",
            expected="each part in a pattern and in parts; {_} for what is passed over",
        )
    for name, one in named.items():
        own = {"to": one} if isinstance(one, str) else known(one, PART_KEYS, f"{where}, part {name}")
        source = f"{f['from']} {{{name}}}"
        yield _field(
            {**own, "from": source, "optional": f.get("optional", False)},
            name,
            where,
            {"cell": f["from"], "part": name, "pattern": texts},
        )


class _Any(dict[str, Any]):
    """Keys of any name, for texts and tables."""

    def __contains__(self, key: object) -> bool:
        return True

    def __getitem__(self, key: str) -> Any:
        return (str, dict)


def _field(f: dict[str, Any], number: int | str, where: str, of_part: Dict[str, Any] | None = None) -> SourceField:
    at = f"{where}, field {number}"
    if not f.get("from") or not f.get("to"):
        raise Trouble(
            "a field needs both ends",
            code="mapping.half-field",
            where=at,
            expected='{ from = "name in the source", to = "table.name" }',
        )
    at = f"{where}, field {f['from']!r}"
    if f.get("split", "").startswith("/"):
        regex(f["split"].strip("/"), at)
    to = target.parse(f.pop("to"), at)
    confidence = f.pop("confidence", None)
    _written(f, at)
    return SourceField(
        source=f.pop("from"),
        to=to,
        confidence=float(confidence) if confidence is not None else None,
        **f,
        **(of_part or {}),
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


def once(fields: tuple[SourceField, ...], where: str) -> None:
    """No cell is taken twice, no place is filled twice."""
    seen: dict[str, SourceField] = {}
    for f in fields:
        if f.source in seen or (not f.cell and any(x.cell == f.source for x in fields)):
            raise Trouble(
                "two fields from one cell",
                code="mapping.cell-twice",
                where=f"{where}, {f.source!r}",
                found=f"{seen[f.source].to} and {f.to}" if f.source in seen else f"{f.to} and its parts",
                expected="each column, label or element once",
                remedy="keep one; a cell of several values has a pattern and parts, an identifier has split",
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


def unit(f: SourceField, where: str) -> None:
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


def regex(pattern: object, where: str) -> None:
    if why := patterns.fault(str(pattern)):
        raise Trouble(
            "is no pattern that can be used",
            code="mapping.not-a-pattern",
            where=where,
            found=f"{pattern}: {why}",
            remedy="write it with plain repetitions, such as ^Total or ^Page \\d+",
        )


def known(tree: Any, known: Dict[str, Any], where: str) -> dict[str, Any]:
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
