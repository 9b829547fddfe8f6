"""The structure of any file: what kind it is, then its labels and tables."""

from __future__ import annotations

from archive.formats.base import kinds
from archive.formats.draft import grids, heading, sniff
from archive.formats.draft.delimiter import cut
from archive.formats.draft.fixed import recut
from archive.formats.draft.layout import Layout
from archive.formats.draft.profile import decimal_mark
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.model import SourceFile
from archive.formats.mapping.rows.text_rows import logical_lines, splitter
from archive.formats.recognition import Entry

MOST_CELLS = 60_000
"""Cells of a text that vote for its decimal mark."""


def structure(entry: Entry, way: str = "") -> Layout:
    """What a sample of a file shows. way: another of the ways in which it may be cut (see ways); "" for the likeliest.

    Errors: Trouble where it is no text, workbook, XML or JSON, or is damaged.
    """
    kind = kinds.kind_of(entry)
    if kind == "text":
        layout = text(entry, way)
    elif kind == "workbook":
        layout = workbook(entry, way)
    else:
        from archive.formats.draft.trees import analyse

        each = way.startswith(EACH)
        path = way.removeprefix(EACH if each else RECORD) if each or way.startswith(RECORD) else ""
        return analyse(entry, kind, path, each)
    _named_by_file(layout, entry)
    return layout


def _named_by_file(layout: Layout, entry: Entry) -> None:
    """A quantity that only the file's name tells, such as return_loss.csv, stands above its tables."""
    stem = entry.path.stem.replace("_", " ").replace("-", " ")
    said = heading.read(stem)
    if not said.parameters or not is_curve(said.parameters[0]):
        return
    for table in layout.tables:
        if any("parameter" in heading.read(*c.levels).modifiers for c in table.columns):
            continue
        if not any(
            h.parameters or h.generics for h in (heading.read(*table.context, *c.levels) for c in table.columns)
        ):
            table.context = (stem, *table.context)


TURNED, OTHER_MARK, BLOCK, RECORD, EACH = "turned", "other mark", "block ", "record ", "each "
"""Ways to cut a file: rows for columns, the second best mark between cells, records that begin with another label, or
that are other elements, and elements that are one row each."""


def ways(layout: Layout) -> list[str]:
    """Other ways in which the file of a layout may be cut, the likeliest first."""
    if layout.kind in ("json", "xml"):
        own = [layout.record] if layout.record and layout.records > 1 else []
        return [*(f"{EACH}{p}" for p in (*own, *layout.others)), *(f"{RECORD}{p}" for p in layout.others)]
    marks = [OTHER_MARK] if layout.kind in ("delimited", "report") else []
    return [TURNED, *(f"{BLOCK}{label}" for label in layout.others), *marks]


def text(entry: Entry, way: str = "") -> Layout:
    """Delimited text or report text."""
    found = sniff.sample(entry)
    mark, quote = cut(found.head, int(way == OTHER_MARK))
    layout = Layout("report" if mark in ("blanks", "space") else "delimited", delimiter=mark, quote=quote)
    if not all(line.isascii() for line in found.head):
        # What is all ASCII says nothing of the page in which the next umlaut will be written.
        layout.encoding, layout.basis = found.encoding.name, found.encoding.basis
    split = splitter(SourceFile("1", layout.kind, (), delimiter=mark, quote=quote))
    lines = [line.replace("\f", "") for line in _logical(found.head, layout)]
    rows = [[str(c) for c in split(line)] for line in lines]
    if mark == "blanks":
        recut(lines, rows)
    cells = [c for r in rows[:4000] for c in r]
    layout.decimal, layout.thousands = decimal_mark(cells[:: 1 + len(cells) // MOST_CELLS])
    grids.analyse([("", rows, lines)], layout, way == TURNED, way.removeprefix(BLOCK) if way.startswith(BLOCK) else "")
    if layout.kind == "report":
        # The numbers stand within lines: only the labels and tables that were found show them.
        told = [c for col in [*layout.labels, *(x for t in layout.tables for x in t.columns)] for c in col.cells[:400]]
        layout.decimal, layout.thousands = decimal_mark([c for c in told if isinstance(c, str)])
    return layout


def _logical(lines: list[str], layout: Layout) -> list[str]:
    quote = layout.quote if layout.kind == "delimited" else ""
    return [line.text for line in logical_lines(lines, layout.delimiter, quote)]


def workbook(entry: Entry, way: str = "") -> Layout:
    """Sheets."""
    from archive.formats.base.workbook import sheets

    layout = Layout("workbook")
    listed: grids.Sheets = [(name, rows, None) for name, rows in sheets(entry)]
    texts = [c for _, rows, _ in listed for r in rows[:2000] for c in r if isinstance(c, str)]
    layout.decimal, layout.thousands = decimal_mark(texts)
    block = way.removeprefix(BLOCK) if way.startswith(BLOCK) else ""
    return grids.analyse(listed, layout, way == TURNED, block)
