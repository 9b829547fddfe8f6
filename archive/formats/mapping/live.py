"""Whether what a mapping says can have any effect: fields that can feed a table, keys that are looked at.

A field or a key that does nothing reads like one that does, and its cells would be lost to whoever believes it.
"""

from __future__ import annotations

from archive.errors import Trouble
from archive.formats.mapping.model import SourceField, SourceFile, SourceTable

_OF_RECORDS = frozenset(("records", "jobs", "places", "instruments", "people", "readings", "reported"))
_AXIS = frozenset(("frequencies", "start", "step", "stop", "axis", "count"))
_MEASURED = frozenset(("value", "limit", "margin", "values", "uncertainty", "verdict", "marginal"))
_OF_CONTACT = frozenset(("far", "fault", "distance"))
_DEAD_ROW = {
    "points": frozenset(("values", "uncertainty", "verdict", "marginal", "kind", "unit", "key", *_AXIS)),
    "curves": frozenset(("value", "uncertainty", "verdict", "marginal", "kind", "unit", "key", "frequency")),
    "readings": frozenset(("values", "key")),
    "links": frozenset(("values", "key")),
    "labels": frozenset(),
}
"""What a column of the row can say that tables of that kind of rows take nothing from. Labels speak of the tables
below them."""

_TREES = ("xml", "json")
_KEYS_OF_FILE = {
    "record": _TREES,
    "named": _TREES,
    **dict.fromkeys(("delimiter", "quote", "encoding"), ("delimited", "report")),
    **dict.fromkeys(
        ("block", "skip", "groups", "side_by_side", "transpose"),
        ("delimited", "report", "workbook"),
    ),
}
_KEYS_OF_TABLE = {
    "each": _TREES,
    "sheet": ("workbook",),
    "widths": ("delimited", "report"),
    **dict.fromkeys(
        ("title", "header_rows", "units_row", "columns", "headings_are"), ("delimited", "report", "workbook")
    ),
}
"""Keys that only some kinds of files have a use for."""


def check(file: SourceFile, stated: set[str], tables: list[tuple[SourceTable, set[str]]], where: str) -> None:
    """Nothing of a file is said in vain. stated: keys that stand there, of the file and of each of its tables.

    Errors: Trouble.
    """
    _keys(stated, file.kind, _KEYS_OF_FILE, where)
    said = {f.to.name for t in file.tables if t.rows == "labels" for f in t.fields if f.to.table == "row"}
    for table, keys in tables:
        at = f"{where}, table {table.name}"
        _keys(keys, file.kind, _KEYS_OF_TABLE, at)
        for f in table.fields:
            if why := dead(f, table, said):
                raise Trouble(
                    "a field that can feed nothing",
                    code="mapping.dead-field",
                    where=f"{at}, field {f.source!r}",
                    found=f"{f.to} in a table of {table.rows}",
                    expected=why,
                    remedy="leave the field out, and its cells are kept by their own name, or ignore the column",
                )


def _keys(stated: set[str], kind: str, known: dict[str, tuple[str, ...]], where: str) -> None:
    for key in sorted(stated & known.keys()):
        if kind not in known[key]:
            raise Trouble(
                "a key that does nothing there",
                code="mapping.dead-key",
                where=where,
                found=f"{key} in a file of kind {kind}",
                expected=f"{key} in files of kind {', '.join(known[key])}",
                remedy="leave it out",
            )


def dead(f: SourceField, table: SourceTable, said: set[str]) -> str:
    """What a field would need to feed anything; "" where it can. said: what labels say of the rows of all tables."""
    t, here = f.to, {x.to.name for x in table.fields if x.to.table == "row"} | said
    if table.rows == "cross":
        return "a table of labels that names the cells as 'row | column'"
    if t.table == "axes" or table.rows == "axes":
        fits = t.table == "axes" or (t.table == "row" and t.name in ("frequency", "key"))
        return "" if fits else "axes.frequencies_mhz, row.frequency or row.key: a table of axes has nothing else"
    if t.table in _OF_RECORDS or t.table == "wiremap":
        return ""
    if t.table == "sweeps":
        if table.rows != "points":
            return ""
        if t.frequency:
            return "a column of values, whose frequency row.frequency says"
        return "" if "frequency" in here else "row.frequency in the same table"
    return "" if table.rows == "labels" else _dead_row(t.name, table, here)


def _dead_row(name: str, table: SourceTable, here: set[str]) -> str:
    if name in _DEAD_ROW[table.rows]:
        return f"something that a table of {table.rows} has a use for"
    if name in _OF_CONTACT:
        return "" if "contact" in here else "row.contact in the same table"
    if name in _AXIS:
        listed = table.rows == "curves" or any(f.to.table == "sweeps" and not f.to.frequency for f in table.fields)
        return "" if listed else "curves in the cells of the same table"
    if name in _MEASURED:
        if not table.given.parameter and "parameter" not in here:
            return "row.parameter in the same table, or given = the parameter of all its rows"
        if table.rows == "points" and "frequency" not in here:
            return "row.frequency in the same table"
    return ""
