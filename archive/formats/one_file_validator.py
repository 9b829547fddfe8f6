"""check-link-record.pyz: a validator in one file that needs Python's standard library alone and nothing of ours.

Its sources stand in schemas/check-link-record; the tables and words it checks against are definitions.json there,
made from tables.toml and vocabulary.toml. `muniment schema` packs them, byte for byte the same each time.
"""

from __future__ import annotations

import io
import json
import zipfile

from archive import schemas
from archive.formats.open_xml.xsd import FILE_NAME
from archive.tables import Column, Table, namespace, tables, version

NAME = "check-link-record.pyz"
DEFINITIONS = "check-link-record/definitions.json"

_NAMED = {
    "job_id": "jobs",
    "place_id": "places",
    "instrument_id": "instruments",
    "operator_key": "people",
    "source_id": "sources",
    "record_id": "records",
    "axis_id": "axes",
}
"""Table that a key column names, by the end of the column's name."""

_TIME = (1980, 1, 1, 0, 0, 0)


def definitions() -> str:
    """The tables and words as JSON text."""
    listed = tables().values()
    words = {c.vocabulary: sorted(c.words) for t in listed for c in t.columns if c.vocabulary}
    made = {
        "namespace": namespace(),
        "version": version(),
        "words": dict(sorted(words.items())),
        "tables": {t.name: _table(t) for t in listed},
    }
    return json.dumps(made, indent=1, ensure_ascii=True) + "\n"


def _table(table: Table) -> dict[str, object]:
    columns = [
        {"name": c.name, "kind": c.kind, "words": c.vocabulary, "null": c.nullable, "of": _of(table, c)}
        for c in table.columns
    ]
    return {"level": table.level, "row": table.row, "key": table.key, "content": table.content, "columns": columns}


def _of(table: Table, column: Column) -> str:
    """Table whose key the column names, "" where it names none."""
    around = table.level == "record" and table.name != "records" and column.name == "record_id"
    if column.kind != "key" or column.name == table.key or around:
        return ""
    return next(name for end, name in _NAMED.items() if column.name.endswith(end))


def packed() -> bytes:
    """The validator as the bytes of a zip that Python runs: not compressed, so they depend on nothing else."""
    folder = (schemas.root() / DEFINITIONS).parent
    members = {p.name: p.read_bytes() for p in folder.iterdir() if p.suffix in (".py", ".json")}
    members["link-record.xsd"] = (schemas.root() / FILE_NAME).read_bytes()
    out = io.BytesIO()
    out.write(b"#!/usr/bin/env python3\n")
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, content in sorted(members.items()):
            archive.writestr(zipfile.ZipInfo(name, _TIME), content)
    return out.getvalue()
