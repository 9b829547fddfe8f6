"""Delimited text: one table read by pyarrow.csv, told everything by the mapping."""

from __future__ import annotations

from archive.formats.mapping.delimited.table_chunks import chunks

__all__ = ["chunks"]
