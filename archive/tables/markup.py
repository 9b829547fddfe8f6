"""Rows as XML elements in W3C Canonical XML 1.0 form.

Attributes are named like the columns and are in the order of their names, no tag closes itself, and of the
characters only those are escaped that Canonical XML escapes. A null cell has no attribute. Text that XML 1.0
cannot hold is written as base64 of its UTF-8, and `encoded` names such columns; `null` names the content column
where it is null. So a row has one form, to the byte.
"""

from __future__ import annotations

import base64

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import Ints, one_chunk
from archive.tables.definition import Column, Table, namespace, tables
from archive.tables.lexical import numbers
from archive.tables.tokens import tokens

MISSING = "-"
"""A missing point in a list of numbers."""

# What XML 1.0 cannot hold: production [2] Char of the Recommendation (5th edition, section 2.2).
UNHOLDABLE = r"[\x00-\x08\x0b\x0c\x0e-\x1f\x{FFFE}\x{FFFF}]"

# Canonical XML 1.0, section 2.3: what is escaped in attribute values, and in text.
_IN_ATTRIBUTE = (("&", "&amp;"), ("<", "&lt;"), ('"', "&quot;"), ("\t", "&#x9;"), ("\n", "&#xA;"), ("\r", "&#xD;"))
_IN_TEXT = (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ("\r", "&#xD;"))
_MAY_ESCAPE = ("text", "key", "word", "texts")
"""Kinds of columns whose cells may hold such characters; numbers and instants never do."""


def elements(
    name: str, table: pa.Table, leave_out: tuple[str, ...] = (), ended: bool = True, after: str = ""
) -> pa.Array:
    """Rows of one table as elements: an Arrow string array, one per row.

    leave_out: columns that the surrounding element has already; ended: False leaves the element open; after: text
    that follows each row, such as a line feed.
    Errors: ValueError where a number is NaN or infinite.
    """
    definition = tables()[name]
    pieces: list[str | pa.Array] = [f"<{definition.row}"]
    if name == "records":
        pieces.append(f' xmlns="{namespace()}"')
    attributes, content = _cells(definition, table, leave_out)
    for key in sorted(attributes):
        pieces += _attribute(key, attributes[key])
    pieces.append(">")
    if content is not None:
        pieces.append(content)
    pieces.append(f"</{definition.row}>{after}" if ended else after)
    return _join(pieces, table.num_rows)


def _cells(
    definition: Table, table: pa.Table, leave_out: tuple[str, ...]
) -> tuple[dict[str, pa.Array], pa.Array | None]:
    """Text of each attribute, null where there is none, and of the content; what XML escapes is escaped."""
    attributes: dict[str, pa.Array] = {}
    encoded: dict[str, pa.Array] = {}
    content = None
    for column in definition.columns:
        if column.name in leave_out:
            continue
        cells = one_chunk(table.column(column.name))
        if cells.null_count == len(cells) and column.name != definition.content:
            continue
        text = cell_text(column, cells)
        if column.kind in ("text", "key"):
            text, marked = _holdable(text)
            if marked is not None:
                encoded[column.name] = marked
        if column.kind in _MAY_ESCAPE:
            text = _escaped(text, _IN_TEXT if column.name == definition.content else _IN_ATTRIBUTE)
        if column.name == definition.content:
            content = pc.fill_null(text, "") if text.null_count else text
            if text.null_count:
                attributes["null"] = pc.if_else(pc.is_null(text), column.name, None)
        else:
            attributes[column.name] = text
    if encoded:
        attributes["encoded"] = _names(encoded, table.num_rows)
    return attributes, content


def cell_text(column: Column, cells: pa.Array) -> pa.Array:
    """Cells of a column (Arrow array) in their lexical form, before any escape of XML or CSV; nulls stay null."""
    kind = column.kind
    if kind in ("text", "key", "word"):
        return cells
    if kind == "real":
        return numbers(cells)
    if kind in ("int", "bool"):
        return pc.cast(cells, pa.string())
    if kind == "instant":
        return pc.strftime(cells, format="%Y-%m-%dT%H:%M:%SZ")
    return _list_text(kind, cells)


def _list_text(kind: str, cells: pa.Array) -> pa.Array:
    """Lists with one blank between items."""
    items = cells.flatten()
    ends = np.cumsum(pc.fill_null(pc.list_value_length(cells), 0).to_numpy(zero_copy_only=False))
    if kind == "reals" and len(items) >= _MANY:
        joined = _many_numbers(items, ends)
    else:
        if kind == "reals":
            text = pc.fill_null(numbers(items), MISSING)
        else:
            text = pc.cast(items, pa.string()) if kind == "ints" else tokens(items)
        offsets = pa.array(np.concatenate([[0], ends]).astype(np.int32))
        joined = pc.binary_join(pa.ListArray.from_arrays(offsets, text), " ")
    return pc.if_else(pc.is_null(cells), None, joined) if cells.null_count else joined


_MANY = 1000


def _many_numbers(items: pa.Array, ends: Ints) -> pa.Array:
    """Texts of lists of numbers: measured curves repeat few values, so each distinct one is turned into text once.

    ends: number of items up to the end of each list. Every number brings its blank along, but for the last of a list;
    so the text of all numbers is already the text of the lists, and nothing has to be joined.
    """
    # Encoded by their bits, since 0 and -0 are equal as numbers and not as text.
    codes = pc.dictionary_encode(items.view(pa.int64()))
    one = pa.concat_arrays([numbers(codes.dictionary.view(pa.float64())), pa.array([MISSING])])
    both = pa.concat_arrays([pc.binary_join_element_wise(one, " ", ""), one])
    at = np.array(pc.fill_null(codes.indices, len(one) - 1))
    full = np.diff(ends, prepend=0) > 0
    at[ends[full] - 1] += len(one)
    text = both.take(pa.array(at))
    offsets = np.frombuffer(text.buffers()[1], dtype=np.int32)[np.concatenate([[0], ends])]
    return pa.StringArray.from_buffers(len(ends), pa.py_buffer(offsets), text.buffers()[2])


def _holdable(text: pa.Array) -> tuple[pa.Array, pa.Array | None]:
    """Text with base64 where XML cannot hold it, and which cells those are (None: none)."""
    bad = pc.match_substring_regex(text, UNHOLDABLE)
    if not pc.any(bad).as_py():
        return text, None
    bad = pc.fill_null(bad, False)
    coded = [
        base64.b64encode(cell.encode()).decode() if mark else cell
        for cell, mark in zip(text.to_pylist(), bad.to_pylist(), strict=True)
    ]
    return pa.array(coded, type=pa.string()), bad


def _names(encoded: dict[str, pa.Array], rows: int) -> pa.Array:
    """For each row the names of its marked columns, in their order, with a blank between; null where none."""
    names = sorted(encoded)
    marks = [encoded[n].to_pylist() for n in names]
    listed = [" ".join(n for n, m in zip(names, marks, strict=True) if m[i]) or None for i in range(rows)]
    return pa.array(listed, type=pa.string())


def _attribute(key: str, text: pa.Array) -> list[str | pa.Array]:
    if not text.null_count:
        return [f' {key}="', text, '"']
    return [pc.fill_null(pc.binary_join_element_wise(f' {key}="', text, '"', ""), "")]


def _escaped(text: pa.Array, escapes: tuple[tuple[str, str], ...]) -> pa.Array:
    if not pc.any(pc.match_substring_regex(text, f"[{''.join(c for c, _ in escapes)}]")).as_py():
        return text
    for character, escape in escapes:
        text = pc.replace_substring(text, character, escape)
    return text


def _join(pieces: list[str | pa.Array], rows: int) -> pa.Array:
    """Pieces joined row by row; neighbouring fixed texts are one piece."""
    merged: list[str | pa.Array] = []
    for piece in pieces:
        if isinstance(piece, str) and merged and isinstance(merged[-1], str):
            merged[-1] += piece
        else:
            merged.append(piece)
    if all(isinstance(p, str) for p in merged):
        return pa.array(merged * rows, type=pa.string())
    return pc.binary_join_element_wise(*merged, "")
