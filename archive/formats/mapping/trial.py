"""What a mapping makes of the first records of a file: each field alone, its cells beside what became of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from archive.formats.base import numbers, words
from archive.formats.mapping import together
from archive.formats.mapping.build import Builder
from archive.formats.mapping.build.cell_arrays import axis_values
from archive.formats.mapping.build.keys import keys_of
from archive.formats.mapping.chunks import chunks_of
from archive.formats.mapping.match import not_there
from archive.formats.mapping.model import Mapping, SourceField, SourceFile, SourceTable
from archive.formats.mapping.record_chunk import RecordChunk
from archive.formats.mapping.row_frame import Problems, RowFrame, named
from archive.formats.mapping.rows.columns import cell_text
from archive.formats.mapping.trial_results import SHARED, results
from archive.formats.recognition import Entry

_MEASURED = frozenset(("value", "limit", "margin", "values", "uncertainty", "verdict", "marginal", "far", "fault"))
_OF_A_POINT = frozenset(("pairing", "end", "wavelength", "marginal"))
"""What a cell says of a reported value that stands in another."""
_FEW = 3
"""Cells of one column, and results of one field, that are shown."""


@dataclass
class Trial:
    """records: of each its link, place and rows (table, from, found, to, value); set_aside: rows of the table; tables:
    of each table of the mapping how many rows it took, and why where none."""

    records: list[dict[str, Any]] = field(default_factory=list)
    set_aside: list[dict[str, Any]] = field(default_factory=list)
    tables: list[dict[str, Any]] = field(default_factory=list)


def tried(entry: Entry, mapping: Mapping, most: int) -> Trial:
    """The first records of a file by a mapping. most: how many are shown. Errors: Trouble."""
    out, taken = Trial(), dict.fromkeys(_tables(mapping), 0)
    builder = Builder(mapping, {"source_id": "", "path": entry.name}, entry.set_aside)
    for chunk in _chunks(entry, mapping):
        for frame in chunk.frames:
            key = _key(frame.table)
            taken[key] = taken.get(key, 0) + frame.rows
        shown = [_record(chunk, i, mapping, entry) for i in range(min(len(chunk.places), most - len(out.records)))]
        whole = builder.batch(chunk)
        out.set_aside += whole["set_aside"].drop_columns(["text"]).to_pylist()
        _beside(shown, whole)
        out.records += shown
        if len(out.records) >= most:
            break
    out.tables = [
        {
            "table": t.name,
            "rows": t.rows,
            "taken": taken[key],
            "why": "" if taken[key] else _why(entry, mapping, file, t),
        }
        for key, (file, t) in _tables(mapping).items()
        if t.rows != "cross"  # whose cells are labels
    ]
    return out


def _chunks(entry: Entry, mapping: Mapping) -> Iterator[RecordChunk]:
    if not mapping.alone:
        yield from together.chunks(entry, mapping, together.beside(entry, mapping))
        return
    for chunk in chunks_of(entry, mapping.files[0], mapping):
        chunk.frames = [named(f, entry.path) for f in chunk.frames]
        yield chunk


def _tables(mapping: Mapping) -> dict[tuple[str, ...], tuple[SourceFile, SourceTable]]:
    return {_key(t): (file, t) for file in mapping.files for t in file.tables}


def _key(table: SourceTable) -> tuple[str, ...]:
    """What tells a table of a mapping, whatever fields were added to it from elsewhere."""
    return (table.name, table.rows, table.each, *[*table.cells][:1])


def _why(entry: Entry, mapping: Mapping, file: SourceFile, table: SourceTable) -> str:
    """Why a table took no rows."""
    if file is not mapping.files[0]:
        there = [e for f, e in together.beside(entry, mapping) if f is file]
        if not there:
            return f"no file beside it is named {file.pattern}"
        entry = there[0]
    missing, asked = not_there(entry, mapping, file, table)
    if table.each:
        return f"nothing stands at {table.each}"
    if missing:
        some = ", ".join(missing[:4]) + (f" and {len(missing) - 4} others" if len(missing) > 4 else "")
        return f"{len(missing)} of its {asked} names are not there: {some}"
    return "its names are there, and no row below them has its numbers"


def _record(chunk: RecordChunk, i: int, mapping: Mapping, entry: Entry) -> dict[str, Any]:
    """One record: each field of each table, read alone."""
    builder = Builder(mapping, {"source_id": "", "path": entry.name}, entry.set_aside)
    own = [part for f in chunk.frames if (part := _of(f, i)).rows]
    rows: list[dict[str, str]] = []
    known = {f for _, t in _tables(mapping).values() for f in t.fields}
    for frame in own:
        for f in frame.table.fields:
            if f in known and f.source in frame.columns and frame.columns[f.source].null_count < frame.rows:
                rows += _side_by_side(builder, own, frame, f, mapping)
    link = next((r["value"] for r in rows if r["to"] == "records.link_label"), None)
    return {"link": link, "place": chunk.places[i], "rows": rows}


def _of(frame: RowFrame, i: int) -> RowFrame:
    """The rows of one record, or those that hold for all."""
    rows = np.flatnonzero((frame.record == i) | (frame.record < 0))
    part = frame.only(rows)
    part.part_of, part.record = None, np.where(part.record < 0, part.record, 0)
    return part


def _side_by_side(
    builder: Builder, own: list[RowFrame], frame: RowFrame, f: SourceField, mapping: Mapping
) -> list[dict[str, str]]:
    row = {"table": frame.table.name, "from": f.source, "found": _cells(frame, f), "to": str(f.to)}
    if _says(f):
        return [{**row, "value": _meaning(frame, f, mapping)}]
    beside = [x for x in own if x.table.rows == "axes"]
    beside += [_only(x, [y for y in x.table.fields if y.to.table == "axes"]) for x in own if x.table.rows != "axes"]
    labels = [x for x in own if x.table.rows == "labels" and x is not frame]
    beside += [_only(x, [y for y in x.table.fields if _says(y)]) for x in labels]
    beside += [_only(x, [y for y in x.table.fields if _belongs(y, f)]) for x in own if x is not frame]
    alone = _only(frame, [f, *(x for x in frame.table.fields if (_says(x) or _belongs(x, f)) and x is not f)])
    batch = builder.batch(RecordChunk(["record"], [*(x for x in beside if x.columns), alone], lambda i: ""))
    found = [(to, v) for to, v in results(batch, f.to) if f.to.table not in SHARED or to in ("", str(f.to.at(end="")))]
    out = [{**row, "to": to, "value": value} for to, value in found[:_FEW]]
    if len(found) > _FEW:
        out.append({**row, "found": "", "to": str(f.to), "value": f"and {len(found) - _FEW} others"})
    for again in out[1:]:
        again["found"] = ""
    return out or [{**row, "value": "kept as an extra: no table took it"}]


def _belongs(other: SourceField, f: SourceField) -> bool:
    """Whether two fields make one fact: a date and its time, the name of a person and where the person works."""
    if f.to.table == "reported" and f.to.column in _OF_A_POINT:
        return str(other.to.at(column="")) == str(f.to.at(column=""))
    if f.to.table == "records":
        return other.to.table == "records" and other.to.name == f.to.name
    return f.to.table in SHARED and other.to.table == f.to.table


def _says(f: SourceField) -> bool:
    """Whether a field says what a row is of."""
    return f.to.table == "axes" or (f.to.table == "row" and f.to.name not in _MEASURED)


def _only(frame: RowFrame, fields: Sequence[SourceField]) -> RowFrame:
    """A frame with some of its fields."""
    kept = {f.source: frame.columns[f.source] for f in fields if f.source in frame.columns}
    kept |= {n: c for n, c in frame.columns.items() if n.startswith("@bounds")}
    table = replace(frame.table, fields=tuple(fields), ignore=())
    return replace(frame, table=table, columns=kept, above={})


def _cells(frame: RowFrame, f: SourceField) -> str:
    """The first cells of a column."""
    cells = [c for c in frame.columns[f.source].slice(0, 500).to_pylist() if c is not None]
    distinct = [*dict.fromkeys(cell_text(c) or "" for c in cells)]
    shown = ", ".join(t[:60] for t in distinct[:_FEW])
    more = frame.rows - _FEW if len(distinct) > _FEW else 0
    return f"{shown} and {more} more" if more > 0 else shown


def _meaning(frame: RowFrame, f: SourceField, mapping: Mapping) -> str:
    """What the words of a column that says what rows are of are read as."""
    writing = numbers.writing(mapping.decimal, mapping.thousands, (*words.empties(), *mapping.empty), mapping.marks)
    if f.to.table == "axes" or f.to.name in _FREQUENCIES:
        return _axis(frame, f, writing)
    alone = _only(frame, [f])
    problems = Problems()
    keys = keys_of(alone, mapping, writing, problems)
    if problems.of:
        return "set aside: no number"
    read = keys.words.get(f.to.name)
    if read is None:
        return ""
    texts = [t for t in dict.fromkeys(read.to_pylist()) if t is not None]
    unknown = int(keys.lost.sum())
    said = ", ".join(texts[:_FEW]) + (f" and {len(texts) - _FEW} more" if len(texts) > _FEW else "")
    lost = f"{unknown} rows in words that are not known, which no table takes" if unknown else ""
    return "; ".join(x for x in (said, lost) if x)


_FREQUENCIES = ("frequency", "frequencies", "start", "stop", "step")


def _axis(frame: RowFrame, f: SourceField, writing: numbers.Writing) -> str:
    """Frequencies of a column, as they are read."""
    try:
        cells = [c for c in frame.columns[f.source].to_pylist() if c is not None]
        mhz = np.unique(np.concatenate([axis_values(c, f, writing) for c in cells]))
    except ValueError as error:
        return f"set aside: {error}"
    if len(mhz) == 1:
        return f"{mhz[0]:g} MHz"
    return f"{len(mhz)} frequencies, {mhz.min():g} to {mhz.max():g} MHz" if len(mhz) else ""


def _beside(shown: list[dict[str, Any]], whole: Any) -> None:
    """The label of each record as it was read, and what of it no field takes."""
    by = {r["source_place"]: r for r in whole["records"].to_pylist()}
    extras = whole["extras"].to_pylist()
    for record in shown:
        read = by.get(record["place"])
        if read is None:
            continue
        taken = {row["from"] for row in record["rows"]}
        for x in extras:
            if x["record_id"] == read["record_id"] and x["name"] not in taken:
                row = {"table": "", "from": x["name"], "found": x["value"], "to": "extras", "value": "kept as an extra"}
                record["rows"].append(row)
