"""Two curves of one thing in one record: what tells them apart was not read, or two tests were joined."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.mapping.build.table_parts import TableParts, arrow_columns
from archive.formats.mapping.row_frame import Problem, Problems, codes, one_code
from archive.tables import schema
from archive.tables.arrow import Ints

_WORDS = ("parameter", "end", "pairing", "direction", "disturber", "origin")
_SCHEMA = pa.schema([schema("sweeps").field(name) for name in (*_WORDS, "wavelength_nm", "axis_id", "values")])
_REMEDY = (
    "let the mapping say what tells them apart (row.end, row.direction, row.origin, a key of the record), or ignore one"
)


def refuse(parts: TableParts, problems: Problems) -> None:
    """Sets aside the records of which two curves of one thing differ. Curves that are equal say nothing twice."""
    listed = parts.parts.get("sweeps", [])
    if not listed:
        return
    record = np.concatenate([r for r, _ in listed])
    words: dict[str, Ints] = {}
    for name in (*_WORDS, "wavelength_nm"):
        words[name] = _coded(listed, name)
    code = one_code(record, *(words[name] for name in words))
    order = np.argsort(code, kind="stable")
    again = np.flatnonzero(np.diff(code[order]) == 0)
    if not len(again):
        return
    rows = [(n, i) for n, (r, _) in enumerate(listed) for i in range(len(r))]
    for first, second in zip(order[again].tolist(), order[again + 1].tolist(), strict=True):
        one, other = (_row(listed, *rows[i]) for i in (first, second))
        if one != other:
            found = f"{_said(one)}, twice and not the same"
            expected = "one curve of each parameter, pair, end and origin"
            problems.add(int(record[first]), Problem("", "two curves of one thing", found, expected, _REMEDY))


def _coded(listed: list[tuple[Ints, dict[str, object]]], name: str) -> Ints:
    """Codes of one column over all parts: int64, -1 for null."""
    want = pa.schema([_SCHEMA.field(name)])
    column = pa.chunked_array([arrow_columns(want, len(r), c)[0] for r, c in listed], type=want.field(0).type)
    return codes(pc.cast(column, pa.string()).combine_chunks())


def _row(listed: list[tuple[Ints, dict[str, object]]], part: int, row: int) -> dict[str, object]:
    record, columns = listed[part]
    made = arrow_columns(_SCHEMA, len(record), columns)
    return {f.name: column[row].as_py() for f, column in zip(_SCHEMA, made, strict=True)}


def _said(row: dict[str, object]) -> str:
    name = vocabulary.parameter(str(row["parameter"])).name
    origin = "" if row["origin"] in ("measured", "derived") else row["origin"]
    return " ".join(str(x) for x in (name, row["end"], row["pairing"], row["direction"], origin) if x)
