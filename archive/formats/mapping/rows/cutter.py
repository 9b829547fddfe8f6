"""A block of rows cut into labels and tables, by the headings and titles that the mapping knows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from functools import lru_cache
from itertools import chain
from operator import itemgetter

from archive.formats.base.patterns import BoundedPattern
from archive.formats.mapping import names
from archive.formats.mapping.headings import frequency_of
from archive.formats.mapping.model import SourceFile, SourceTable
from archive.formats.mapping.rows.labels import labels_of, list_names
from archive.formats.mapping.rows.shape import NUMBER, RowShape, begins_with_number, lone
from archive.formats.mapping.rows.text_rows import (
    Cell,
    RawRow,
    Row,
    Span,
    Splitter,
    blank,
    drawn,
    filled,
    fixed,
    joined,
    mark_of,
    numbered,
    placed,
    skipper,
    spans,
)
from archive.vocabulary import phrases


@dataclass
class TableSection:
    """Rows of one table: names of its columns, its rows (raw, as the source gave them) and where they begin."""

    table: SourceTable
    names: list[str]
    shape: RowShape
    rows: list[RawRow] = field(default_factory=list)
    at: list[int] = field(default_factory=list)
    heading: tuple[Span, ...] = ()
    """Where its headings stand, in a text whose columns are aligned."""

    def cells(self, raw: RawRow, split: Splitter) -> Row:
        """A row as cells, at the places of its columns where the table has fixed ones; a row of an aligned text that
        leaves cells out by where they stand below the headings."""
        if self.table.widths:
            return fixed(str(raw), self.table.widths)
        row = split(raw)
        if self.heading and len(row) < len(self.heading) and isinstance(raw, str):
            return placed(raw, self.heading) or row
        return row


@dataclass
class ParsedBlock:
    """Labels (place, name, value) and sections of one block; cells that are ignored by name."""

    labels: list[tuple[int, str, Cell]] = field(default_factory=list)
    sections: list[TableSection] = field(default_factory=list)
    ignored: int = 0


@dataclass
class _Within:
    """Where in a block the cutting is: the table whose rows come, the title that stands above, the group of labels."""

    section: TableSection | None = None
    left: TableSection | None = None
    """The table whose rows came before a line that is none of them."""
    title: str = ""
    group: str = ""


class Cutter:
    """Cuts blocks of one file. split: a raw row as cells."""

    def __init__(self, file: SourceFile, split: Splitter, sheet: str = "", noun: str = "row") -> None:
        self._file, self._split, self._noun = file, split, noun
        self._tables = [t for t in file.tables if t.rows != "labels" and _of_sheet(t.sheet, sheet)]
        self._skip = skipper(file)
        self.known = {n for t in file.tables if t.rows == "labels" for n in t.cells}
        self.known |= {i for t in file.tables if t.rows == "labels" for i in t.ignore} | set(file.ignore)
        self._lists = list_names(file)
        self._groups = {phrases.phrase(g): g for g in file.groups}
        self.known |= {k.split(names.JOIN)[-1] for k in self.known}
        self._aligned = file.kind in ("delimited", "report") and mark_of(file) == "blanks"
        self._parts = {t.name: _parts(t) for t in self._tables}
        self._seen: dict[RawRow, bool] = {}
        self._words = frozenset(p for parts in self._parts.values() for p in parts)
        self._least = _least(self._tables, self._parts)
        # A row of headings that are numbers would pass for a row of another table.
        self._numbers_name = any(
            t.headings_are == "frequencies" or any(map(begins_with_number, self._parts[t.name])) for t in self._tables
        )
        self._tidied: dict[object, str] = {}
        self._marked: dict[str, bool] = {}
        self._body_cells: set[Cell] = set()
        self._body_firsts: set[Cell] = set()
        self._quick = self._skip is None and self._least > 0 and not {"True", "False"} & self._words

    def cut(self, rows: Sequence[RawRow], first: int, block: tuple[int, str] | None = None) -> ParsedBlock:
        """One block. first: number of its first row. block: row and words by which it was known, where it has any."""
        out, within, i = ParsedBlock(), _Within(), 0
        at = numbered(rows, first)
        while i < len(rows):
            if within.section is not None and (more := self._body(rows, i, within.section)):
                within.section.rows += rows[i : i + more]
                within.section.at += at[i : i + more]
                i += more
                continue
            cells = self._split(rows[i])
            if drawn(cells):
                pass  # a line that is drawn ends nothing
            elif blank(cells):
                within.section, within.group = self._after_blank(rows, i, within.section), ""
            elif self._skip and self._skip.search(joined(cells)):
                out.ignored += len(filled(cells))
            elif (started := self._table_at(rows, i, within.title)) is not None:
                (within.section, used), within.left = started, None
                out.sections.append(within.section)
                i += used or self._begun(rows[i], at[i], within)
                continue
            elif self._again(rows[i], cells, within.left):
                within.section = within.left
                continue
            else:
                within.left, within.section = within.section or within.left, None
                if block is not None and i == block[0] and (block[1] or self._file.block.startswith("/")):
                    self._begin_record(cells, at[i], block[1], out)
                else:
                    self._labels(cells, at[i], within, out)
            i += 1
        for section in [s for s in out.sections if s.table.rows == "cross"]:
            out.sections.remove(section)
            out.labels += self._crossed(section)
        return out

    def _again(self, raw: RawRow, cells: Row, left: TableSection | None) -> bool:
        """Whether a row goes on with the table before a line between its rows: where each of its rows names its link,
        nothing that stood between can have changed what it is of."""
        if left is None or not left.table.keyed or left.table.title or _bare(left.table):
            return False
        return left.shape.fits(left.cells(raw, self._split)) and not self._label_row(cells)

    @staticmethod
    def _begun(raw: RawRow, at: int, within: _Within) -> int:
        """The first row of a table that nothing but its title stands above."""
        assert within.section is not None
        within.section.rows.append(raw)
        within.section.at.append(at)
        within.title = ""
        return 1

    @staticmethod
    def _begin_record(cells: Row, at: int, words_: str, out: ParsedBlock) -> None:
        """The row that begins a record. words_: what in it names the record, "" where the whole row is the mark."""
        if not words_:
            out.ignored += len(filled(cells))
            return
        out.labels.append((at, "@block", words_))
        out.labels += [(at, "@beside", c) for c in filled(cells)[1:] if names.tidy(c) not in words_]

    def _labels(self, cells: Row, at: int, within: _Within, out: ParsedBlock) -> None:
        """A row that belongs to no table: a title, the name of a group, or names and values."""
        text = joined(cells)
        phrase = phrases.phrase(text)
        within.group = self._groups.get(phrase, within.group)
        if self._is_title(text):
            within.title = text
        elif phrase not in self._groups:
            for name, value in labels_of(cells, self.known, self._lists):
                if value is not None:
                    full = f"{within.group}{names.JOIN}{name}" if within.group and name else name
                    out.labels.append((at, full or f"{self._noun} {at}", value))
            # Names and values below a section's name come before its table.
            if not (IN_BRACKETS.match(within.title) and not IN_BRACKETS.match(text)):
                within.title = text

    def _crossed(self, section: TableSection) -> list[tuple[int, str, Cell]]:
        """Each cell of a table as a label of its own: name of its row, name of its column."""
        found = []
        for at, raw in zip(section.at, section.rows, strict=True):
            cells = section.cells(raw, self._split)
            name = names.tidy(cells[0]) if cells else ""
            for head, cell in zip(section.names[1:], cells[1:], strict=False):
                if filled([cell]):
                    found.append((at, f"{name}{names.JOIN}{head}", cell))
        return found

    def _body(self, rows: Sequence[RawRow], i: int, current: TableSection) -> int:
        """How many rows from one on belong to the table above."""
        plainly = self._lines(rows, i, current) if isinstance(rows[i], str) else self._run(rows, i)
        return plainly or int(self._goes_on(rows[i], current))

    def _lines(self, rows: Sequence[RawRow], start: int, current: TableSection) -> int:
        """How many lines from one on are plainly rows of the table above."""
        if current.shape.line is None or self._skip is not None or _bare(current.table):
            return 0
        match, stop = current.shape.line.match, start
        while stop < len(rows) and match(rows[stop]):  # type: ignore[arg-type]
            stop += 1
        return stop - start

    def _goes_on(self, raw: RawRow, current: TableSection) -> bool:
        """Whether a row belongs to the table above: by its columns, and by what the mapping names."""
        if _bare(current.table):
            return _all_numbers(self._split(raw), current.table)
        if not isinstance(raw, str) and self._plainly(raw):
            return True
        cells = self._split(raw)
        if blank(cells) or (self._skip and self._skip.search(joined(cells))) or self._heading(raw):
            return False
        if current.shape.fits(current.cells(raw, self._split)):
            return True
        text = joined(cells)
        if isinstance(raw, str) and (IN_BRACKETS.match(text) or lone(cells, len(current.names), current.table.rows)):
            return False
        return not (self._label_row(cells) or self._is_title(text))

    def _run(self, rows: Sequence[RawRow], start: int) -> int:
        """How many rows of a sheet from one on hold nothing but cells that are known to name nothing."""
        if not self._quick or not self._body_cells:
            return 0
        firsts, known = self._body_firsts, self._body_cells.issuperset
        stop = start
        while stop + _AT_ONCE <= len(rows):
            some = rows[stop : stop + _AT_ONCE]
            if not all(some) or not firsts.issuperset(map(_FIRST, some)) or not known(chain.from_iterable(some)):
                break
            stop += _AT_ONCE
        while stop < len(rows):
            row = rows[stop]
            if not row or row[0] not in firsts or not known(row):
                break
            stop += 1
        return stop - start

    def _plainly(self, cells: Row) -> bool:
        """Whether a row of a sheet is plainly one of numbers and words that no heading, label or title begins with.

        It says less than `_goes_on` and never otherwise; cells that came before are not looked at again.
        """
        first, there, hits = None, [], 0
        for cell in cells:
            if cell is None:
                continue
            kind = type(cell)
            key = cell if kind is float or kind is str else (kind, cell)
            text = self._tidied.get(key)
            if text is None:
                if len(self._tidied) > _MOST_KEPT:
                    self._tidied.clear()
                text = self._tidied[key] = names.tidy(cell)
            if text:
                first = cell if first is None else first
                hits += text in self._words
                there.append(text)
        if first is None or hits >= self._least:
            return False
        if self._skip and self._skip.search(" ".join(there)):
            return False
        marked = self._marked.get(first) if isinstance(first, str) else self._may_be_title(first)
        if marked is None:
            if len(self._marked) > _MOST_KEPT:
                self._marked.clear()
            marked = self._marked[str(first)] = self._label_row([first]) or self._may_be_title(first)
        if not marked and not hits and self._quick:
            self._keep(cells, first)
        return not marked

    def _keep(self, cells: Row, first: Cell) -> None:
        """Keeps cells that name nothing, so that a row of such cells is known at once."""
        if len(self._body_cells) > _MOST_KEPT:
            self._body_cells.clear()
            self._body_firsts.clear()
        # A whole number equals its fraction in a set: neither may be a name.
        self._body_cells.update(
            c
            for c in set(cells) - self._body_cells
            if type(c) is not float or not c.is_integer() or f"{c:.0f}" not in self._words
        )
        if cells[0] is first:
            self._body_firsts.add(first)

    def _may_be_title(self, first: Cell) -> bool:
        """Whether a row that begins with a cell could be the title of a table."""
        titles = [t.title for t in self._tables if t.title]
        start = phrases.phrase(names.tidy(first)) if titles else ""
        return any(t.startswith("/") or phrases.phrase(t).startswith(start) for t in titles)

    def _label_row(self, cells: Row) -> bool:
        first = next((c for c in cells if c is not None and str(c).strip()), None)
        if not isinstance(first, str):
            return False
        text = first.strip()
        bare = text.rstrip(" :=").strip()
        return (text.endswith(":") or bare in self.known or text.partition(":")[0].strip() in self.known) and (
            phrases.phrase(bare) not in self._groups
        )

    def _after_blank(self, rows: Sequence[RawRow], i: int, current: TableSection | None) -> TableSection | None:
        """The table goes on after blank rows where the next row has numbers in the columns in which its rows do, or
        should where none came yet."""
        if current is None:
            return None
        for raw in rows[i + 1 : i + 4]:
            cells = current.cells(raw, self._split)
            if blank(cells):
                continue
            goes_on = current.shape.fits(cells)
            if current.rows and not goes_on:
                before = [begins_with_number(c) for c in current.cells(current.rows[-1], self._split)]
                now = [begins_with_number(c) for c in cells]
                goes_on = before == now and any(now)
            return current if goes_on and not self._heading(raw) else None
        return None

    def _heading(self, raw: RawRow) -> bool:
        """Whether a row may begin the headings of some table."""
        key = raw if isinstance(raw, str) else tuple(raw)
        found = self._seen.get(key)
        if found is None:
            found = any(self._begins(raw, t) for t in self._tables)
            if len(self._seen) < 4096:
                self._seen[key] = found
        return found

    def _begins(self, raw: RawRow, table: SourceTable) -> bool:
        """Whether a row may begin the headings of a table."""
        there = [c for c in (names.tidy(c) for c in self._cells(raw, table)) if c]
        if table.rows == "cross":
            return there == [*table.columns][: len(there)]
        return _begins(set(there), table, self._parts[table.name])

    def _cells(self, raw: RawRow, table: SourceTable) -> Row:
        """A row as cells, as a table has them."""
        return fixed(str(raw), table.widths) if table.widths else self._split(raw)

    def _table_at(self, rows: Sequence[RawRow], i: int, title: str) -> tuple[TableSection, int] | None:
        """The table that begins at a row, and how many rows its headings take."""
        best: tuple[int, SourceTable, list[str]] | None = None
        for table in self._tables:
            if table.title and not matches(table.title, title):
                continue
            if table.rows == "cross":
                there = [c for c in (names.tidy(c) for c in self._cells(rows[i], table)) if c]
                if there == [c for c in table.columns if not c.startswith("column ")]:
                    return self._section(table, list(table.columns)), 1
            elif table.columns:
                cells = self._split(rows[i])
                if _all_numbers(cells, table) if _bare(table) else self._below_title(cells):
                    return self._section(table, list(table.columns)), 0
            elif i + table.header_rows <= len(rows) and self._heading(rows[i]):
                block = [self._cells(r, table) for r in rows[i : i + table.header_rows]]
                heads = names.distinct(names.merged(block))
                wanted = frozenset(n for n in table.cells if not n.startswith("@"))
                score = len(wanted.intersection(heads)) * 2 + bool(table.title)
                if _enough(set(heads), wanted) and (best is None or score > best[0]):
                    best = (score, table, heads)
        if best is None:
            return None
        _, table, heads = best
        section, line = self._section(table, heads), rows[i]
        if self._aligned and table.header_rows == 1 and isinstance(line, str) and len(spans(line)) == len(heads):
            section.heading = tuple(spans(line))
        return section, table.header_rows + table.units_row

    def _section(self, table: SourceTable, heads: list[str]) -> TableSection:
        mark = "" if table.widths or self._numbers_name else mark_of(self._file)
        return TableSection(table, heads, RowShape(table, heads, mark, self._file.quote))

    def _below_title(self, cells: Row) -> bool:
        """Whether a row below a title begins the table that has no headings."""
        text = joined(cells)
        return not (self._label_row(cells) or self._is_title(text) or IN_BRACKETS.match(text))

    def _is_title(self, text: str) -> bool:
        return any(t.title and matches(t.title, text) for t in self._tables)


def _bare(table: SourceTable) -> bool:
    """Whether a table has no headings, and is known by its rows of numbers: points, or what no title stands above."""
    return bool(table.columns) and table.rows != "cross" and (table.rows == "points" or not table.title)


def _all_numbers(cells: Row, table: SourceTable) -> bool:
    """Whether a row is one of a table that nothing stands above: as many numbers as it has columns, nothing else."""
    return len(cells) == len(table.columns) and all(
        isinstance(c, int | float) or bool(NUMBER.fullmatch(str(c))) for c in cells
    )


IN_BRACKETS = re.compile(r"\s*\[\s*[^\W\d_][^\]]*\]\W*$")
"""A line that names a section, such as [Curve 3]: it is no row of the table above it."""


@lru_cache(maxsize=65536)
def matches(title: str, text: str) -> bool:
    """Whether a row is the title that a mapping gives: words, or a regular expression between slashes."""
    if title.startswith("/"):
        return _title(title.strip("/")).search(text) is not None
    return phrases.phrase(title) == phrases.phrase(text)


_title = lru_cache(maxsize=64)(BoundedPattern)


def _of_sheet(pattern: str, sheet: str) -> bool:
    return not pattern or not sheet or fnmatchcase(sheet, pattern)


def _parts(table: SourceTable) -> frozenset[str]:
    """Cells of the heading rows that the fields name."""
    parts = {p for n in table.cells if not n.startswith("@") for p in n.split(names.JOIN)}
    return frozenset({re.sub(r" \(\d+\)$", "", p) for p in parts} | parts)


_MOST_KEPT = 1 << 17
_AT_ONCE = 64
_FIRST = itemgetter(0)


def _least(tables: Sequence[SourceTable], parts: dict[str, frozenset[str]]) -> int:
    """Fewest cells of a row that are names of headings where the row may begin the headings of some table."""
    least = 1 << 30
    for table in tables:
        wanted = len(parts[table.name])
        if table.rows == "cross":
            return 0
        if table.header_rows > 1:
            least = min(least, 1)
        elif wanted:
            least = min(least, _need(wanted))
    return least


def _begins(there: set[str], table: SourceTable, parts: frozenset[str]) -> bool:
    """Whether a row may be the first of a table's heading rows."""
    if table.header_rows > 1:
        known = parts | {p for name in table.ignore for p in name.split(names.JOIN)}
        # What no field names is a frequency, where the headings are some.
        named = {x for x in there if x in known or not (table.headings_are and frequency_of(x) is not None)}
        if named and len(named & known) >= 0.6 * len(named):
            return True
        # A mapping may name few of the columns that a sheet has: then most of its own outer headings must be there.
        outer = frozenset(n.split(names.JOIN)[0] for n in table.cells if not n.startswith("@"))
        return len(outer) > 1 and _enough(there, outer)
    return _enough(there, parts)


def _enough(there: set[str], wanted: frozenset[str]) -> bool:
    """Whether a row holds the headings of a table: all of few, most of many."""
    return bool(wanted) and len(there & wanted) >= _need(len(wanted))


def _need(wanted: int) -> int:
    return wanted if wanted <= 2 else max(2, round(0.6 * wanted))
