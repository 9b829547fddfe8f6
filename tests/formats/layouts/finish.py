"""What a document has beside its truth: columns that mean nothing, labels left out, blank rows, heads and footers."""

from __future__ import annotations

from random import Random

from tests.formats.layouts.document import Column, Labels, Sheet, Table
from tests.formats.layouts.pen import Cell, Pen


def finish(sheets: list[Sheet], pen: Pen) -> None:
    """Adds to each sheet, in place, what the traits ask for."""
    t = pen.traits
    r = Random(f"finish {t.split} {t.seed}")
    for sheet in sheets:
        tables = [p for p in sheet.parts if isinstance(p, Table)]
        if t.shape != "blocks":
            for table in tables:
                meaningless(table, pen, Random(f"idle {t.seed}"))
                if t.label_once and table is tables[-1]:
                    _once(table, pen.term("link"))
                if t.blank_rows and table is tables[-1]:
                    _blank(table, pen.term("link"))
        if t.page_head:
            sheet.parts[:0] = [pen.word("heading"), f"{pen.word('site')} 4711, {pen.word('page')} 1", ""]
        if t.footer:
            sheet.parts += ["", f"{pen.word('total')}: {r.randrange(2, 40)}", f"{pen.word('page')} 1/1"]
    if t.shape == "blocks" and t.meaningless:
        words = pen.words("idle")
        for sheet in sheets:
            labels = next(p for p in sheet.parts if isinstance(p, Labels))
            for n in range(t.meaningless):
                labels.pairs.insert(r.randrange(len(labels.pairs) + 1), (words[n], "", idle(r, n, 0)))


def idle(r: Random, kind: int, row: int) -> str:
    """A cell that means nothing here: a code, a count, a level, a mark."""
    return (f"{r.randrange(16**6):06X}", str(row + 1), f"{r.randrange(60, 100)}", r.choice("xy"), "0")[kind % 5]


def meaningless(table: Table, pen: Pen, r: Random) -> None:
    """Puts columns that mean nothing between those of a table."""
    t = pen.traits
    words = r.sample(pen.words("idle"), t.meaningless)
    for word in words:
        kind = r.randrange(5)
        at = r.randrange(1, min(len(table.columns) if t.shape != "matrix" else len(t.identities) + 1, 9) + 1)
        name = word if r.random() < 0.6 else f"{r.choice('ABCDF')}{r.randrange(10, 99)}"
        table.columns.insert(at, Column((name,)))
        for n, row in enumerate(table.rows):
            if row is not None:
                row.insert(at, idle(r, kind, n))


def _column(table: Table, name: str) -> int:
    return next(i for i, c in enumerate(table.columns) if c.parts == (name,))


def _once(table: Table, name: str) -> None:
    """The label stands where it changes; below it is blank, as people leave it in lists."""
    at, before = _column(table, name), None
    for row in table.rows:
        if row is not None:
            label = row[at]
            if label == before:
                row[at] = None
            before = label


def _blank(table: Table, name: str) -> None:
    """A blank row before each new link."""
    at, before = _column(table, name), None
    rows: list[list[Cell] | None] = []
    for row in table.rows:
        assert row is not None
        if before is not None and row[at] is not None and row[at] != before:
            rows.append(None)
        before = row[at] or before
        rows.append(row)
    table.rows[:] = rows
