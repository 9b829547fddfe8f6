"""The metadata of link record CSV, in the W3C vocabulary CSV on the Web, made from the table definitions."""

from __future__ import annotations

import json
import re
from typing import Any

from archive import schemas
from archive.tables import Column, Table, namespace, tables, version

_CELLS = (
    "An empty cell is null, in every column. \\E is the empty text, \\[] the empty list. In columns of text a "
    "backslash is \\\\, and \\u{hex} is the character of that number: so stand control characters, line ends, "
    "non-characters, and =, +, - and @ at the beginning of a cell, which a spreadsheet would take for a formula. "
    "Lists have one blank between their items; - is a missing point; in an item of a list of texts every blank is "
    "\\u{hex}. README.md of the schema says the rest."
)

_DATATYPES: dict[str, Any] = {
    "text": "string",
    "key": "string",
    "real": "double",
    "int": "long",
    "bool": {"base": "boolean", "format": "true|false"},
    "instant": {"base": "dateTime", "format": "yyyy-MM-ddTHH:mm:ss.SSSX"},
    "reals": "double",
    "ints": "long",
    "texts": "string",
}


def metadata() -> dict[str, Any]:
    """The metadata document as an object."""
    status = schemas.load("tables.toml")["schema"]["status"]
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "dc:title": f"Link record CSV, version {version()}" + ("" if status == "released" else f" ({status})"),
        "dc:identifier": namespace(),
        "dc:description": _CELLS,
        "dialect": {
            "encoding": "utf-8",
            "delimiter": ",",
            "quoteChar": '"',
            "doubleQuote": True,
            "header": True,
            "lineTerminators": ["\n", "\r\n"],
            "trim": False,
        },
        "tables": [_table(t) for t in tables().values()],
    }


def text() -> str:
    """The metadata document as text."""
    return json.dumps(metadata(), ensure_ascii=False, indent=1) + "\n"


def _table(table: Table) -> dict[str, Any]:
    out: dict[str, Any] = {
        "url": f"{table.name}.csv",
        "dc:title": table.name,
        "dc:description": table.meaning,
        "tableSchema": {"columns": [_column(c) for c in table.columns]},
    }
    keys = []
    if table.name in ("records", "axes"):
        out["tableSchema"]["primaryKey"] = table.key
    if table.level == "record" and table.name != "records":
        keys.append(_refers("record_id", "records"))
    if table.name == "sweeps":
        keys.append(_refers("axis_id", "axes"))
    if keys:
        out["tableSchema"]["foreignKeys"] = keys
    return out


def _refers(column: str, table: str) -> dict[str, Any]:
    return {"columnReference": column, "reference": {"resource": f"{table}.csv", "columnReference": column}}


def _column(column: Column) -> dict[str, Any]:
    unit = f" Unit: {column.unit}." if column.unit else ""
    out: dict[str, Any] = {
        "name": column.name,
        "titles": column.name,
        "dc:description": f"{column.meaning[:1].upper()}{column.meaning[1:]}.{unit} Origin: {column.origin}.",
        "datatype": _DATATYPES.get(column.kind),
    }
    if column.kind == "word":
        words = "|".join(re.escape(w).replace("\\-", "-").replace("\\ ", " ") for w in sorted(column.words))
        out["datatype"] = {"base": "string", "format": f"^({words})$"}
    if column.kind in ("reals", "ints", "texts"):
        out["separator"] = " "
        if column.kind != "texts":
            out["null"] = ["-", "\\[]"]
    elif not column.nullable:
        out["required"] = True
    return out
