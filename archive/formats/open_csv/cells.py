"""Cells of link record CSV: one line per row, null and the empty text differ, nothing that a spreadsheet executes."""

from __future__ import annotations

from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.tables import Column, tables
from archive.tables.arrow import one_chunk
from archive.tables.markup import cell_text
from archive.tables.tokens import cells as escaped
from archive.tables.tokens import uncell

EMPTY_LIST = "\\[]"
"""The empty list, since an empty cell is null."""


def lines(name: str, table: Any) -> Any:
    """Rows of a table as lines without their line feed: an Arrow string array."""
    columns = [_quoted(_cell(c, one_chunk(table.column(c.name)))) for c in tables()[name].columns]
    return pc.binary_join_element_wise(*columns, ",")


def header(name: str) -> str:
    """The first line: names of the columns."""
    return ",".join(c.name for c in tables()[name].columns)


def text_of(column: Column, cell: Any) -> Any:
    """Cells of a CSV column (Arrow string array, empty cells null) as the text that formats.columns.typed takes.

    Errors: ValueError for an escape that is none.
    """
    if column.kind in ("text", "key", "word"):
        if not pc.any(pc.match_substring(cell, "\\")).as_py():
            return cell
        return pa.array([None if c is None else uncell(c) for c in cell.to_pylist()], type=pa.string())
    if column.kind in ("reals", "ints", "texts"):
        empty = pc.equal(cell, EMPTY_LIST)
        return pc.if_else(pc.fill_null(empty, False), "", cell) if pc.any(empty).as_py() else cell
    return cell


def _cell(column: Column, values: Any) -> Any:
    """Text of the cells; null ones empty."""
    text = cell_text(column, values)
    if column.kind in ("text", "key", "word"):
        text = escaped(text)
    elif column.kind in ("reals", "ints", "texts"):
        empty = pc.equal(pc.list_value_length(values), 0)
        if pc.any(empty).as_py():
            text = pc.if_else(pc.fill_null(empty, False), EMPTY_LIST, text)
    return pc.fill_null(text, "")


def _quoted(text: Any) -> Any:
    """Quotation marks around cells that hold a comma or a quotation mark; RFC 4180."""
    needs = pc.match_substring_regex(text, '[,"]')
    if not pc.any(needs).as_py():
        return text
    inside = pc.replace_substring(text, '"', '""')
    return pc.if_else(needs, pc.binary_join_element_wise('"', inside, '"', ""), text)
