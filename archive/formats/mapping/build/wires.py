"""The wire map, from one cell that says all contacts, from a column per contact, or from a row per contact."""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa

from archive import vocabulary
from archive.formats.base import words
from archive.formats.mapping.build.table_parts import TableParts
from archive.formats.mapping.model import SourceField
from archive.formats.mapping.row_frame import RowFrame
from archive.tables.arrow import Ints

_CONTACTS = "12345678S"
_STEP = re.compile(r"([1-8S])\s*(?:[-:=>/]+|→)\s*([1-8S]|[^\s,;|]+)?", re.IGNORECASE)


def contacts(text: str) -> list[tuple[str, str | None, str | None]]:
    """near, far and fault of each contact a cell names: "1-1 2-2 3-6", "12345678", "1-1,2-open"; [] for none."""
    compact = re.sub(r"[\s,;]", "", text)
    if re.fullmatch(r"[1-8Ss0xXoO.\-?]{8,9}", compact):
        return [(n, _far(c), None if _far(c) else "open") for n, c in zip(_CONTACTS, compact.upper(), strict=False)]
    out = []
    for near, far in _STEP.findall(text):
        known = far.upper() if far.upper() in _CONTACTS and far else None
        out.append((near.upper(), known, None if known else fault_of(far)))
    return out


def _far(c: str) -> str | None:
    return c.upper() if c.upper() in _CONTACTS else None


def fault_of(word: str) -> str | None:
    """A fault of a wire map by the word list, or None."""
    known = vocabulary.words("wiremap_fault")
    return word if word in known else words.meaning(word, "fault")


def wires(frame: RowFrame, parts: TableParts) -> list[tuple[str, Ints]]:
    """Puts the wire map of a frame into parts. Names of fields and rows (int64) that say nothing we can read."""
    unread: list[tuple[str, Ints]] = []
    for f in frame.table.fields:
        if f.source in frame.columns and f.to.table == "wiremap":
            rest = _contact(frame, f, parts) if f.to.subject else _whole(frame, f, parts)
            if len(rest):
                unread.append((f.source, rest))
    _rows(frame, parts)
    return unread


def _whole(frame: RowFrame, f: SourceField, parts: TableParts) -> Ints:
    record, near, far, fault, rest = [], [], [], [], []
    for i, cell in enumerate(frame.columns[f.source].to_pylist()):
        if cell is None or not str(cell).strip():
            continue
        found = contacts(str(cell).removesuffix(".0"))
        if not found:
            rest.append(i)
        for n, g, h in found:
            record.append(int(frame.record[i]))
            near.append(n)
            far.append(g)
            fault.append(h)
    _put(parts, record, near, far, fault)
    return np.array(rest, dtype=np.int64)


def _contact(frame: RowFrame, f: SourceField, parts: TableParts) -> Ints:
    near = f.to.subject.removeprefix("contact ")
    record, far, fault, rest = [], [], [], []
    for i, cell in enumerate(frame.columns[f.source].to_pylist()):
        text = str(cell).strip().removesuffix(".0").upper() if cell is not None else ""
        if not text:
            continue
        known = text if text in _CONTACTS else None
        word = None if known else fault_of(text)
        if known is None and word is None and text.casefold() not in words.empties():
            rest.append(i)
            continue
        record.append(int(frame.record[i]))
        far.append(known)
        fault.append(word)
    _put(parts, record, [near] * len(record), far, fault)
    return np.array(rest, dtype=np.int64)


def _rows(frame: RowFrame, parts: TableParts) -> None:
    named = {n: frame.table.find(n) for n in ("contact", "far", "fault", "distance")}
    if not named["contact"] or named["contact"].source not in frame.columns:
        return
    columns = {n: frame.columns[f.source].to_pylist() for n, f in named.items() if f and f.source in frame.columns}
    record, near, far, fault = [], [], [], []
    for i, cell in enumerate(columns["contact"]):
        text = str(cell).strip().removesuffix(".0").upper()
        if cell is None or text not in _CONTACTS:
            continue
        there = columns.get("far", [None] * frame.rows)[i]
        known = str(there).strip().removesuffix(".0").upper() if there is not None else ""
        record.append(int(frame.record[i]))
        near.append(text)
        far.append(known if known and known in _CONTACTS else None)
        stated = columns.get("fault", [None] * frame.rows)[i]
        fault.append(fault_of(str(stated)) if stated else None if known in _CONTACTS else fault_of(known))
    _put(parts, record, near, far, fault)


def _put(parts: TableParts, record: list[int], near: list[str], far: list[str | None], fault: list[str | None]) -> None:
    text = pa.string()
    parts.add(
        "wiremap",
        np.array(record, dtype=np.int64),
        near=pa.array(near, type=text),
        far=pa.array(far, type=text),
        fault=pa.array(fault, type=text),
    )
