"""Shared rows are written once, however many batches bring them along."""

from __future__ import annotations

import hashlib
from typing import Any

import pyarrow as pa

from archive.tables.markup import elements


class Once:
    """Remembers rows of shared tables by their digest."""

    def __init__(self) -> None:
        self._seen: set[bytes] = set()

    def new(self, name: str, table: Any) -> tuple[Any, list[str]]:
        """Rows of a shared table that did not come before, and their XML elements."""
        if not table.num_rows:
            return table, []
        keep: list[bool] = []
        texts: list[str] = elements(name, table).to_pylist()
        for text in texts:
            mark = hashlib.blake2b(text.encode(), digest_size=16).digest()
            keep.append(mark not in self._seen)
            self._seen.add(mark)
        if all(keep):
            return table, texts
        return table.filter(pa.array(keep)), [t for t, k in zip(texts, keep, strict=True) if k]
