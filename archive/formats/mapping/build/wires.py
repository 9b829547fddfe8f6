"""The wire map, from one cell that says all contacts, from a column per contact, or from a row per contact."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pyarrow as pa

from archive import vocabulary
from archive.formats.base import numbers, units, words
from archive.formats.mapping.build.table_parts import TableParts
from archive.formats.mapping.model import SourceField
from archive.formats.mapping.row_frame import Problems, RowFrame
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
        known = _far(far)
        out.append((near.upper(), known, None if known else fault_of(far)))
    return out


def _far(c: str) -> str | None:
    return c.upper() if len(c) == 1 and c.upper() in _CONTACTS else None


def _position(cell: str) -> str | None:
    """The position at which a fibre arrives: A, B, or a number in a row of an array."""
    return cell.upper() if re.fullmatch(r"[A-Za-z]|\d{1,2}", cell) else None


def fault_of(word: str) -> str | None:
    """A fault of a wire map by the word list, or None."""
    known = vocabulary.words("wiremap_fault")
    return word if word in known else words.meaning(word, "fault")


class _Contact(NamedTuple):
    """One row of `wiremap`: row of the frame, near contact, what it ends on, fault, distance in m."""

    row: int
    near: str
    far: str | None
    fault: str | None
    distance: float = np.nan


def wires(frame: RowFrame, writing: numbers.Writing, problems: Problems, parts: TableParts) -> list[tuple[str, Ints]]:
    """Puts the wire map of a frame into parts. Names of columns and rows (int64) that say nothing we can read."""
    unread: list[tuple[str, Ints]] = []
    found: list[_Contact] = []
    for f in frame.table.fields:
        if f.source in frame.columns and f.to.table == "wiremap":
            frame.feed(f.source)
            rest = _contact(frame, f, found) if f.to.subject else _whole(frame, f, found)
            if rest:
                unread.append((f.source, np.array(rest, dtype=np.int64)))
    found += _rows(frame, writing, problems)
    if found:
        row, near, far, fault, distance = zip(*found, strict=True)
        texts = {"near": near, "far": far, "fault": fault}
        columns = {name: pa.array(cells, type=pa.string()) for name, cells in texts.items()}
        parts.add("wiremap", frame.record[np.array(row)], **columns, distance_m=np.array(distance))
    return unread


def _texts(frame: RowFrame, f: SourceField) -> list[str]:
    """Cells of a column; a whole number without its fraction."""
    cells = frame.columns[f.source].to_pylist()
    return ["" if c is None else str(c).strip().removesuffix(".0") for c in cells]


def _whole(frame: RowFrame, f: SourceField, out: list[_Contact]) -> list[int]:
    """Cells that say all contacts; the rows of those that do not."""
    rest = []
    for i, cell in enumerate(_texts(frame, f)):
        found = contacts(cell)
        if cell and not found:
            rest.append(i)
        out += [_Contact(i, *one) for one in found]
    return rest


def _contact(frame: RowFrame, f: SourceField, out: list[_Contact]) -> list[int]:
    """Cells of one contact; the rows of those that say nothing."""
    glass = f.to.subject.startswith("fiber ")
    near = f.to.subject.removeprefix("contact ").removeprefix("fiber ")
    rest = []
    for i, cell in enumerate(_texts(frame, f)):
        far = _position(cell) if glass else _far(cell)
        fault = None if far else fault_of(cell.upper())
        if far or fault or cell.casefold() in words.empties():
            if cell:
                out.append(_Contact(i, near, far, fault))
        elif cell:
            rest.append(i)
    return rest


def _rows(frame: RowFrame, writing: numbers.Writing, problems: Problems) -> Iterator[_Contact]:
    """Rows that are a contact each."""
    fields = {n: f for n in ("contact", "far", "fault") if (f := frame.table.find(n)) and f.source in frame.columns}
    if "contact" not in fields:
        return
    for f in fields.values():
        frame.feed(f.source)
    cells = {n: _texts(frame, f) for n, f in fields.items()}
    distance = np.full(frame.rows, np.nan)
    at = frame.table.find("distance")
    if at is not None and at.source in frame.columns:
        frame.feed(at.source)
        found = numbers.read(frame.columns[at.source], writing, units.for_unit(at.unit, "m", at.source), step=False)
        problems.cells(frame, at.source, found.bad, "a number (m)")
        distance = found.values
    nothing = [""] * frame.rows
    for i, (near, far, fault) in enumerate(
        zip(cells["contact"], cells.get("far", nothing), cells.get("fault", nothing), strict=True)
    ):
        if _far(near):
            known = _far(far)
            word = fault_of(fault) if fault else None if known else fault_of(far.upper())
            yield _Contact(i, near.upper(), known, word, float(distance[i]))
