"""A block of rows cut into labels and tables, by the headings and titles that the mapping knows."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from functools import lru_cache
from itertools import chain
from operator import itemgetter
from typing import Any

from archive.formats.mapping import names
from archive.formats.mapping.grid.labels import labels_of
from archive.formats.mapping.model import SourceFile, SourceTable
from archive.vocabulary import phrases

Row = Sequence[Any]


@dataclass
class TableSection:
    """Rows of one table: names of its columns, its rows (raw, as the source gave them) and where they begin."""

    table: SourceTable
    names: list[str]
    rows: list[Any]
    at: list[int]
    widths: tuple[int, ...] = ()


@dataclass
class ParsedBlock:
    """Labels (place, name, value) and sections of one block; cells that are ignored by name."""

    labels: list[tuple[int, str, Any]] = field(default_factory=list)
    sections: list[TableSection] = field(default_factory=list)
    ignored: int = 0


class Cutter:
    """Cuts blocks of one file. split: a raw row as cells."""

    def __init__(self, file: SourceFile, split: Callable[[Any], Row], sheet: str = "", noun: str = "row") -> None:
        self._file, self._split, self._noun = file, split, noun
        self._tables = [t for t in file.tables if t.rows != "labels" and _of_sheet(t.sheet, sheet)]
        self._skip = re.compile("|".join(f"(?:{p})" for p in file.skip)) if file.skip else None
        self.known = {f.source for t in file.tables if t.rows == "labels" for f in t.fields}
        self.known |= {i for t in file.tables if t.rows == "labels" for i in t.ignore} | set(file.ignore)
        self._groups = {phrases.phrase(g): g for g in file.groups}
        self.known |= {k.split(names.JOIN)[-1] for k in self.known}
        self._parts = {t.name: _parts(t) for t in self._tables}
        self._seen: dict[Any, bool] = {}
        self._words = frozenset(p for parts in self._parts.values() for p in parts)
        self._least = _least(self._tables, self._parts)
        self._tidied: dict[Any, str] = {}
        self._marked: dict[Any, bool] = {}
        self._dull: set[Any] = set()
        self._begun: set[Any] = set()
        self._quick = self._skip is None and self._least > 0 and not {"True", "False"} & self._words

    def cut(self, rows: Sequence[Any], first: int, block: tuple[int, str] | None = None) -> ParsedBlock:
        """One block. first: number of its first row. block: row and words by which it was known, where it has any."""
        out = ParsedBlock()
        title, group = "", ""
        current: TableSection | None = None
        i = 0
        while i < len(rows):
            if current is not None and (more := self._run(rows, i)):
                current.rows += rows[i : i + more]
                current.at += range(first + i, first + i + more)
                i += more
                continue
            raw = rows[i]
            if current is not None and self._goes_on(raw, current):
                current.rows.append(raw)
                current.at.append(first + i)
                i += 1
                continue
            cells = self._split(raw)
            if _blank(cells):
                current, group = self._after_blank(rows, i, current), ""
                i += 1
                continue
            if self._skip and self._skip.search(joined(cells)):
                out.ignored += sum(1 for c in cells if c is not None and str(c).strip())
                i += 1
                continue
            started = self._table_at(rows, i, title)
            if started is not None:
                current, used = started
                if current is not None:
                    out.sections.append(current)
                    if not used:  # Its first row, which nothing but the title stands above.
                        current.rows.append(raw)
                        current.at.append(first + i)
                        title = ""
                i += used or 1
                continue
            current = None
            if block is not None and i == block[0] and (block[1] or self._file.block.startswith("/")):
                if block[1]:
                    out.labels.append((first + i, "@block", block[1]))
                    out.labels += [(first + i, "@beside", c) for c in _beside(cells, block[1])]
                else:  # The line itself, which the mapping names.
                    out.ignored += sum(1 for c in cells if c is not None and str(c).strip())
                i += 1
                continue
            text = joined(cells)
            group = self._groups.get(phrases.phrase(text), group)
            if self._is_title(text):
                title = text
            elif phrases.phrase(text) not in self._groups:
                for name, value in labels_of(cells, self.known):
                    if value is None:
                        continue
                    full = f"{group}{names.JOIN}{name}" if group and name else name
                    out.labels.append((first + i, full or f"{self._noun} {first + i}", value))
                # Names and values below a section's name come before its table.
                title = title if IN_BRACKETS.match(title) and not IN_BRACKETS.match(text) else text
            i += 1
        for section in [s for s in out.sections if s.table.rows == "cross"]:
            out.sections.remove(section)
            out.labels += self._crossed(section)
        return out

    def _crossed(self, section: TableSection) -> list[tuple[int, str, Any]]:
        """Each cell of a table as a label of its own: name of its row, name of its column."""
        found = []
        for at, raw in zip(section.at, section.rows, strict=True):
            cells = fixed(str(raw), section.widths) if section.widths else self._split(raw)
            name = names.tidy(cells[0]) if cells else ""
            for head, cell in zip(section.names[1:], cells[1:], strict=False):
                if cell is not None and str(cell).strip():
                    found.append((at, f"{name}{names.JOIN}{head}", cell))
        return found

    def _goes_on(self, raw: Any, current: TableSection) -> bool:
        """Whether a row belongs to the table above, without splitting it where that can be avoided."""
        if _bare(current.table):
            return _all_numbers(self._split(raw), current.table)
        if isinstance(raw, str):
            first = raw.lstrip(' "')[:1]
            if first.isdigit():
                return True
            if not first or (first == "[" and IN_BRACKETS.match(raw)):
                return False
        elif self._plainly(raw):
            return True
        cells = self._split(raw)
        if _blank(cells) or (self._skip and self._skip.search(joined(cells))):
            return False
        if isinstance(raw, str) and len(current.names) > 1 and _lone_word(cells):
            return False
        if self._heading(raw, cells) or self._label_row(cells):
            return False
        return not self._is_title(joined(cells))

    def _run(self, rows: Sequence[Any], start: int) -> int:
        """How many rows of a sheet from one on hold nothing but cells that are known to name nothing."""
        if not self._quick or not self._dull or isinstance(rows[start], str):
            return 0
        begun, dull = self._begun, self._dull.issuperset
        stop = start
        while stop + _AT_ONCE <= len(rows):
            some = rows[stop : stop + _AT_ONCE]
            if not all(some) or not begun.issuperset(map(_FIRST, some)) or not dull(chain.from_iterable(some)):
                break
            stop += _AT_ONCE
        while stop < len(rows):
            row = rows[stop]
            if not row or row[0] not in begun or not dull(row):
                break
            stop += 1
        return stop - start

    def _plainly(self, cells: Row) -> bool:
        """Whether a row of a sheet is plainly one of numbers and words that no heading, label or title begins with.

        It says less than `_goes_on` and never otherwise; cells that came before are not looked at again.
        """
        first, filled, hits = None, [], 0
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
                filled.append(text)
        if first is None or hits >= self._least:
            return False
        if self._skip and self._skip.search(" ".join(filled)):
            return False
        marked = self._marked.get(first) if isinstance(first, str) else False
        if marked is None:
            if len(self._marked) > _MOST_KEPT:
                self._marked.clear()
            marked = self._marked[first] = self._label_row([first]) or self._may_be_title(first)
        elif marked is False and not isinstance(first, str):
            marked = self._may_be_title(first)
        if not marked and not hits and self._quick:
            self._keep(cells, first)
        return not marked

    def _keep(self, cells: Row, first: Any) -> None:
        """Keeps cells that name nothing, so that a row of such cells is known at once."""
        if len(self._dull) > _MOST_KEPT:
            self._dull.clear()
            self._begun.clear()
        # A whole number equals its fraction in a set: neither may be a name.
        self._dull.update(
            c
            for c in set(cells) - self._dull
            if type(c) is not float or not c.is_integer() or f"{c:.0f}" not in self._words
        )
        if cells[0] is first:
            self._begun.add(first)

    def _may_be_title(self, first: Any) -> bool:
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

    def _after_blank(self, rows: Sequence[Any], i: int, current: TableSection | None) -> TableSection | None:
        """The table goes on after a blank row where the next filled row begins with a number as its rows do."""
        if current is None or not current.rows:
            return None
        for raw in rows[i + 1 : i + 4]:
            cells = self._split(raw)
            if _blank(cells):
                continue
            before = [isinstance(c, int | float) or _digits(c) for c in self._split(current.rows[-1])]
            now = [isinstance(c, int | float) or _digits(c) for c in cells]
            return current if before[:2] == now[:2] and any(now[:2]) else None
        return None

    def _heading(self, raw: Any, cells: Row) -> bool:
        """Whether a row may begin the headings of some table."""
        key = raw if isinstance(raw, str) else tuple(cells)
        found = self._seen.get(key)
        if found is None:
            there = {names.tidy(c) for c in cells} - {""}
            found = any(_begins(there, t, self._parts[t.name]) for t in self._tables)
            crossed = [c for c in (names.tidy(c) for c in cells) if c]
            found |= any(t.rows == "cross" and crossed == [*t.columns][: len(crossed)] for t in self._tables)
            if len(self._seen) < 4096:
                self._seen[key] = found
        return found

    def _table_at(self, rows: Sequence[Any], i: int, title: str) -> tuple[TableSection | None, int] | None:
        """The table whose headings begin at a row, and how many rows they take."""
        best: tuple[int, SourceTable, list[str]] | None = None
        for table in self._tables:
            if table.title and not matches(table.title, title):
                continue
            if table.rows == "cross":
                there = [names.tidy(c) for c in self._split(rows[i])]
                if [c for c in there if c] == [c for c in table.columns if not c.startswith("column ")]:
                    return TableSection(table, list(table.columns), [], [], table.widths), 1
                continue
            if table.columns:
                cells = self._split(rows[i])
                if _all_numbers(cells, table) if _bare(table) else self._below_title(cells):
                    return TableSection(table, list(table.columns), [], [], table.widths), 0
                continue
            if i + table.header_rows > len(rows):
                continue
            if not self._heading(rows[i], self._split(rows[i])):
                continue
            heads = self._heads([rows[i + k] for k in range(table.header_rows)], table)
            wanted = frozenset(n for n in table.by_source if not n.startswith("@"))
            score = len(set(heads).intersection(wanted))
            if not _enough(set(heads), wanted):
                continue
            score = score * 2 + bool(table.title)
            if best is None or score > best[0]:
                best = (score, table, heads)
        if best is None:
            return None
        _, table, heads = best
        used = table.header_rows + (1 if table.units_row else 0)
        return TableSection(table, heads, [], [], table.widths), used

    def _below_title(self, cells: Row) -> bool:
        """Whether a row below a title begins the table that has no headings."""
        text = joined(cells)
        return not (self._label_row(cells) or self._is_title(text) or IN_BRACKETS.match(text))

    def _heads(self, block: Sequence[Any], table: SourceTable) -> list[str]:
        if table.widths:
            cut = [fixed(str(r), table.widths) for r in block]
            return names.distinct(names.merged(cut))
        return names.distinct(names.merged([self._split(r) for r in block]))

    def _is_title(self, text: str) -> bool:
        return any(t.title and matches(t.title, text) for t in self._tables)


def _beside(cells: Row, words_: str) -> list[Any]:
    """Cells of the row that begins a record, other than its first and those of the words that begin it."""
    filled = [c for c in cells if c is not None and str(c).strip()]
    return [c for c in filled[1:] if names.tidy(c) not in words_]


def _lone_word(cells: Row) -> bool:
    """Whether a row is one word and nothing else, such as END below rows of numbers."""
    return len(cells) == 1 and bool(re.fullmatch(r"\W*[^\W\d_]+\W*", str(cells[0])))


def _bare(table: SourceTable) -> bool:
    """Whether a table has no headings, and is known by its rows of numbers: points, or what no title stands above."""
    return bool(table.columns) and table.rows != "cross" and (table.rows == "points" or not table.title)


def _all_numbers(cells: Row, table: SourceTable) -> bool:
    """Whether a row is one of a table that nothing stands above: as many numbers as it has columns, nothing else."""
    return len(cells) == len(table.columns) and all(
        isinstance(c, int | float) or bool(_NUMBER.fullmatch(str(c))) for c in cells
    )


IN_BRACKETS = re.compile(r"\s*\[\s*[^\W\d_][^\]]*\]\W*$")
"""A line that names a section, such as [Curve 3]: it is no row of the table above it."""

_NUMBER = re.compile(r"\s*[-+<>]?\s*\d+(?:[.,]\d+)*(?:[eE][-+]?\d+)?\s*")


def fixed(line: str, widths: Sequence[int]) -> list[str]:
    """Cells of a fixed-width line; widths: where its columns begin."""
    stops = [*widths[1:], None]
    return [line[a:b].strip() for a, b in zip(widths, stops, strict=True)]


def joined(cells: Row) -> str:
    """A row as one line."""
    return " ".join(names.tidy(c) for c in cells if c is not None and str(c).strip())


@lru_cache(maxsize=65536)
def matches(title: str, text: str) -> bool:
    """Whether a row is the title that a mapping gives: words, or a regular expression between slashes."""
    if title.startswith("/"):
        return re.search(title.strip("/"), text) is not None
    return phrases.phrase(title) == phrases.phrase(text)


def _of_sheet(pattern: str, sheet: str) -> bool:
    return not pattern or not sheet or fnmatchcase(sheet, pattern)


def _parts(table: SourceTable) -> frozenset[str]:
    """Cells of the heading rows that the fields name."""
    parts = {p for f in table.fields if not f.source.startswith("@") for p in f.source.split(names.JOIN)}
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
        return bool(there) and len(there & parts) >= 0.6 * len(there)
    return _enough(there, parts)


def _enough(there: set[str], wanted: frozenset[str]) -> bool:
    """Whether a row holds the headings of a table: all of few, most of many."""
    return bool(wanted) and len(there & wanted) >= _need(len(wanted))


def _need(wanted: int) -> int:
    return wanted if wanted <= 2 else max(2, round(0.6 * wanted))


def _blank(cells: Row) -> bool:
    return not any(c is not None and str(c).strip() for c in cells)


def _digits(cell: Any) -> bool:
    return bool(re.match(r"\s*[-+<>]?\s*\d", str(cell))) if cell is not None else False
