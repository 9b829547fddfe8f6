"""Shared rows are written once, however many batches bring them along."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pyarrow as pa

from archive.formats.seen_ids import NOT_THERE, SeenIds
from archive.tables import Batch, tables
from archive.tables.markup import elements


class SharedRowFilter:
    """Remembers rows of shared tables by the digest of their element."""

    def __init__(self) -> None:
        self._seen = SeenIds()

    def rows(self, batch: Batch) -> Iterator[tuple[str, pa.Table]]:
        """Each table of a batch with the rows that are to be written: of a shared one the new ones."""
        for name, table in batch.items():
            rows = self.new(name, table)[0] if tables()[name].level == "shared" else table
            if rows.num_rows:
                yield name, rows

    def new(self, name: str, table: Any) -> tuple[Any, list[str]]:
        """Rows of a shared table that did not come before, and their XML elements."""
        if not table.num_rows:
            return table, []
        texts: list[str] = elements(name, table).to_pylist()
        unknown = self._seen.numbers(texts) == NOT_THERE
        mine: set[str] = set()
        keep: list[bool] = []
        for text, is_new in zip(texts, unknown.tolist(), strict=True):
            keep.append(is_new and text not in mine)
            mine.add(text)
        for text in mine:
            self._seen.put(text, 0)
        if all(keep):
            return table, texts
        return table.filter(pa.array(keep)), [t for t, k in zip(texts, keep, strict=True) if k]
