"""Documents as grids of cells: delimited text, columns of fixed width, reports for reading, workbooks."""

from __future__ import annotations

import csv
import io
from typing import Any

import openpyxl

from tests.formats.layouts.document import Column, Labels, Sheet, Table
from tests.formats.layouts.pen import Cell, Number, Pen

Grid = list[list[Cell]]


def header(columns: list[Column], pen: Pen) -> Grid:
    """Rows of headings: one, or an upper word with the rest below it; a row of units where traits ask for one."""
    t = pen.traits
    if t.header_rows == 1 or all(len(c.parts) == 1 for c in columns):
        rows: Grid = [[pen.heading(c.parts, c.unit) for c in columns]]
    else:
        upper = [c.parts[0] for c in columns]
        if t.header_rows == 2:
            levels = [[pen.heading(tuple(p for p in c.parts[1:] if p), c.unit) for c in columns]]
        else:
            levels = [[c.parts[1] if len(c.parts) > 1 else "" for c in columns]]
            levels.append([pen.heading(tuple(p for p in c.parts[2:] if p), c.unit) for c in columns])
        if t.merged:
            upper = [u if i == 0 or u != upper[i - 1] else "" for i, u in enumerate(upper)]
        rows = [list(upper), *(list(level) for level in levels)]
    if t.unit_place == "row":
        rows.append([c.unit for c in columns])
    return [row for row in rows if any(row)]


def grid(sheet: Sheet, pen: Pen) -> Grid:
    """All parts of a sheet below each other, a blank row between them."""
    rows: Grid = []
    for n, part in enumerate(sheet.parts):
        if isinstance(part, str):
            rows.append([part] if part else [])
            continue
        if n and rows and rows[-1]:
            rows.append([])
        if part.title:
            rows.append([part.title])
        if isinstance(part, Labels):
            rows += [[name + pen.unit_of_heading(unit), cell] for name, unit, cell in part.pairs]
        else:
            rows += _body(part, pen)
    return rows


def _body(table: Table, pen: Pen) -> Grid:
    rows = header(table.columns, pen) + [[] if row is None else list(row) for row in table.rows]
    if not pen.traits.transposed:
        return rows
    width = len(table.columns)
    return [[row[i] if i < len(row) else None for row in rows if row] for i in range(width)]


def text(cell: Cell, pen: Pen) -> str:
    """A cell as text, with its unit where the document writes units in cells."""
    if cell is None:
        return pen.traits.empty
    if isinstance(cell, Number):
        unit = f" {cell.unit}" if cell.unit and pen.traits.unit_place == "cell" else ""
        return cell.text + cell.mark + unit
    return str(cell)


def plain_number(cell: Number, pen: Pen) -> str:
    """A number without thousands marks and with a decimal point."""
    text = cell.text.replace(pen.traits.thousands, "") if pen.traits.thousands else cell.text
    return text.replace("\u202f", "").replace(pen.traits.decimal, ".")


def delimited(sheets: list[Sheet], pen: Pen) -> str:
    """Delimited text; several sheets (blocks) stand below each other."""
    t, out = pen.traits, io.StringIO()
    quoting = csv.QUOTE_ALL if t.quote == "all" else csv.QUOTE_MINIMAL
    writer = csv.writer(out, delimiter=t.delimiter, quoting=quoting, lineterminator="\n")
    for n, sheet in enumerate(sheets):
        if n:
            out.write("\n")
        for row in grid(sheet, pen):
            if row:
                writer.writerow([text(cell, pen) for cell in row])
            else:
                out.write("\n")
    return out.getvalue()


def fixed(sheets: list[Sheet], pen: Pen) -> str:
    """Columns of fixed width; numbers stand to the right. The head is repeated on each page where there are pages."""
    lines: list[str] = []
    for n, sheet in enumerate(sheets):
        lines += [""] if n else []
        for part in sheet.parts:
            lines += [part] if isinstance(part, str) else aligned(part, pen)
    return "\n".join(lines) + "\n"


def aligned(part: Table | Labels, pen: Pen) -> list[str]:
    """A table with its columns aligned, or labels with their values behind a leader."""
    t = pen.traits
    if isinstance(part, Labels):
        width = max(len(name + pen.unit_of_heading(unit)) for name, unit, _ in part.pairs)
        leader = t.leader
        return [
            (name + pen.unit_of_heading(unit)).ljust(0 if leader == "\t" else width) + leader + text(cell, pen)
            for name, unit, cell in part.pairs
        ] + [""]
    rows = _body(part, pen)
    heads = len(header(part.columns, pen))
    written = [[text(cell, pen) for cell in row] for row in rows]
    count = max(map(len, written))
    widths = [max((len(row[i]) for row in written if i < len(row)), default=0) for i in range(count)]
    right = [all(isinstance(r[i], Number) for r in rows[heads:] if i < len(r)) for i in range(count)]
    lines = ["  ".join(_pad(c, w, r) for c, w, r in zip(row, widths, right, strict=False)).rstrip() for row in written]
    if t.pages:
        again, every = lines[:heads], 25
        body = lines[heads:]
        lines = again + [
            line
            for i, row in enumerate(body)
            for line in ([*(["", f"{pen.word('page')} {i // every + 1}", *again] if i and i % every == 0 else []), row])
        ]
    return [*([part.title] if part.title else []), *lines, ""]


def _pad(cell: str, width: int, right: bool) -> str:
    return cell.rjust(width) if right else cell.ljust(width)


def sheet_name(sheet: Sheet) -> str:
    """The name of a sheet without the letters that none may have."""
    return "".join(c for c in sheet.name if c not in r"\/*?:[]")[:31]


def workbook(sheets: list[Sheet], pen: Pen) -> bytes:
    """A workbook: a sheet for each, numbers as numbers unless a mark or a unit stands in their cell."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for sheet in sheets:
        page = book.create_sheet(sheet_name(sheet))
        for row in grid(sheet, pen):
            page.append([_typed(cell, pen) for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _typed(cell: Cell, pen: Pen) -> Any:
    if not isinstance(cell, Number):
        return text(cell, pen) or None
    plain = plain_number(cell, pen)
    typed = not cell.mark and pen.traits.unit_place != "cell" and plain.lstrip("+-").replace(".", "", 1).isdigit()
    return float(plain) if typed else text(cell, pen)
