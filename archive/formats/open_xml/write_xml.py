"""Writes link record XML: records in canonical form, shared rows once, each before the records that use it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from archive.formats.deduplicate_shared import SharedRowFilter
from archive.tables import Batch, namespace, tables
from archive.tables.canonical import POINTS_AT_ONCE, gathered, texts_of
from archive.tables.markup import elements
from archive.tables.order import pieces, positions

_HEAD = f'<?xml version="1.0" encoding="UTF-8"?>\n<link-records xmlns="{namespace()}">\n'
_TAIL = "</link-records>\n"

FIRST = [t.name for t in tables().values() if t.level == "shared"]
LAST = [t.name for t in tables().values() if t.level == "statement"]


def write(batches: Iterable[Batch], out: Path) -> None:
    """One document with all batches. out is overwritten; the caller writes aside and renames.

    Errors: ValueError where a batch holds what the form cannot (archive.tables.sound says what); OSError.
    """
    once = SharedRowFilter()
    with out.open("wb") as file:
        file.write(_HEAD.encode())
        for batch in batches:
            for part in pieces(batch, POINTS_AT_ONCE):
                _write(part, file, once)
        file.write(_TAIL.encode())


def _write(batch: Batch, file: Any, once: SharedRowFilter) -> None:
    for name in FIRST:
        for text in once.new(name, batch[name])[1]:
            file.write(text.encode() + b"\n")
    of_none: list[bytes] = []
    if len(batch):
        lines = [(np.arange(len(batch)), texts_of(batch))]
        for name in LAST:
            lines += _statements(batch, name, of_none)
        for one in gathered(lines, len(batch)):
            file.write(one.as_buffer())
            file.write(b"\n")
    else:
        of_none = [row for name in LAST for row in _rows(batch, name)]
    for row in of_none:
        file.write(row + b"\n")


def _statements(batch: Batch, name: str, of_none: list[bytes]) -> list[tuple[Any, Any]]:
    """Statements of a record stand right after it; those of none are put into of_none."""
    if "record_id" not in batch[name].column_names:
        of_none += _rows(batch, name)
        return []
    if not batch[name].num_rows:
        return []
    at, text = positions(batch, name), elements(name, batch[name])
    mine = int(np.searchsorted(at, len(batch)))
    of_none += [row.encode() for row in text[mine:].to_pylist()]
    return [(at[:mine], text[:mine])]


def _rows(batch: Batch, name: str) -> list[bytes]:
    if not batch[name].num_rows:
        return []
    return [row.encode() for row in elements(name, batch[name]).to_pylist()]
