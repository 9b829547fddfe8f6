"""Rows of cells with more than one table in them: blocks, preambles, side by side, sheets, report text."""

from __future__ import annotations

from archive.formats.mapping.grid.grid_chunks import sheet_chunks, text_chunks

__all__ = ["sheet_chunks", "text_chunks"]
