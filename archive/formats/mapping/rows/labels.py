"""Names and values in rows: "Site:", "Quay 4", or "Site: Quay 4", or "Site ....... Quay 4", several in one row."""

from __future__ import annotations

import re
from collections.abc import Collection

from archive.formats.base import units
from archive.formats.mapping.model import SourceFile
from archive.formats.mapping.rows.columns import cell_text
from archive.formats.mapping.rows.text_rows import Cell, Row, filled

_NAME = r"[^\W\d_][^:=]{0,60}?"
_CLOCK = r"[^:=]*\b(?:[01]?\d|2[0-3]):[0-5]\d(?![\d.,])"
_INSIDE = re.compile(rf"^(?!{_CLOCK})({_NAME}(?:\([^)]*\)|\[[^\]]*\])?)\s*[:=]\s*(.*)$", re.DOTALL)
_LEADER = re.compile(rf"^({_NAME})(?:\s*(?:\.\s?){{2,}}|\s\.\s):?\s*(.*)$|^({_NAME})\s*_{{3,}}:?\s*(.*)$")

Label = tuple[str, Cell]


def labels_of(row: Row, known: Collection[str] = (), lists: Collection[str] = ()) -> list[Label]:
    """Names and values of a row of cells; a cell without a name comes as ("", cell).

    known: names of labels of this layout. A name is a text that is known, or ends in a colon, or stands before a value.
    lists: names of labels whose value is all that follows in the row, such as an axis.
    """
    cells = [(i, _plain(c)) for i, c in enumerate(row) if filled([c])]
    if len(cells) > 2 and (name := str(cells[0][1]).rstrip(" :=").strip()) in lists:
        return [(name, cell_text([c for _, c in cells[1:]]))]
    out: list[Label] = []
    at = 0
    while at < len(cells):
        _, cell = cells[at]
        as_found = cell
        if isinstance(cell, str) and cell[:1] in "#;*":
            cell = cell.lstrip("#;* ") or cell
        following = cells[at + 1][1] if at + 1 < len(cells) else None
        if isinstance(cell, str):
            bare = cell.rstrip(" :=.").strip()
            if cell in known or (bare in known and not _value_inside(cell)):
                value = None if following is None or _is_name(following, known) else following
                out.append((bare if bare in known else cell, value))
                at += 1 if value is None else 2
                continue
            inside = _LEADER.match(cell) or _INSIDE.match(cell)
            if inside:
                name, value = [g for g in inside.groups() if g is not None][:2]
                if value == "" and following is not None and not _is_name(following, known):
                    out.append((name.strip(), following))
                    at += 2
                else:
                    out.append((name.strip(), value.strip() or None))
                    at += 1
                continue
            if following is not None and not known and re.match(r"[^\W\d_]", cell):
                out.append((cell, following))
                at += 2
                continue
        unit = isinstance(cell, str) and out and out[-1][0] and units.find(cell) is not None
        out.append((f"{out[-1][0]}, unit" if unit else "", as_found))
        at += 1
    return out


def list_names(file: SourceFile) -> frozenset[str]:
    """Names of the labels of a file whose value is all that follows in the row."""
    labels = [t for t in file.tables if t.rows == "labels"]
    return frozenset(n for t in labels for n, f in t.cells.items() if f.to.table == "axes" or f.to.name in _LISTS)


_LISTS = ("frequencies", "values")


def _plain(cell: Cell) -> Cell:
    return cell.strip() if isinstance(cell, str) else cell


def _value_inside(cell: str) -> bool:
    match = _INSIDE.match(cell)
    return bool(match and match.group(2).strip())


def _is_name(cell: Cell, known: Collection[str]) -> bool:
    if not isinstance(cell, str):
        return False
    return (
        cell.rstrip(" :=").strip() in known
        or cell.endswith((":", "="))
        or bool(_INSIDE.match(cell) and _named(cell, known))
    )


def _named(cell: str, known: Collection[str]) -> bool:
    match = _INSIDE.match(cell)
    return bool(match and (match.group(1).strip() in known))
