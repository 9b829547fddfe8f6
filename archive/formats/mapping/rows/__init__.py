"""Rows of delimited text, reports and sheets: how lines become cells, where tables begin, and which rows are theirs."""

from __future__ import annotations

from archive.formats.mapping.rows.block_chunks import sheet_chunks, text_chunks
from archive.formats.mapping.rows.single_table import table_chunks

__all__ = ["sheet_chunks", "table_chunks", "text_chunks"]
