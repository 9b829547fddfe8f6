"""Chunks of XML and JSON."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator

import numpy as np

from archive.errors import Trouble
from archive.formats.mapping.model import OPEN, Mapping, SourceFile, SourceTable
from archive.formats.mapping.record_chunk import Counted, RecordChunk
from archive.formats.mapping.row_frame import Problem, RowFrame, new_cell
from archive.formats.mapping.rows.columns import cell_text, column
from archive.formats.mapping.target import Target
from archive.formats.mapping.tree import json_text
from archive.formats.mapping.tree.leaves import Leaves, absolute, leaves, paths_around, paths_of, use_of
from archive.formats.mapping.tree.named import NameValueList, turned
from archive.formats.mapping.tree.node import (
    ANY,
    KEY,
    Member,
    Tree,
    cell_at,
    is_values,
    members,
    value_at,
    without_lone_surrogates,
)
from archive.formats.recognition import Entry
from archive.tables.arrow import Ints

MOST_CELLS = 1_000_000
MOST_RECORDS = 500


def chunks(entry: Entry, file: SourceFile, mapping: Mapping) -> Iterator[RecordChunk]:
    """Records of an XML or JSON file. Errors: Trouble where it is damaged, or no record is where the mapping says."""
    reader = TreeReader(file)
    held: list[Member] = []
    counted: list[Leaves] = []
    size = number = 0
    pending: RecordChunk | None = None
    late: list[tuple[str, Tree]] = []
    torn: dict[int, Problem] = {}
    for member, text in read_members(entry, file):
        if member.tree is None:
            late = member.fresh
            break
        number += 1
        own = leaves(member.tree, reader.paths)
        if held and (size + own.mapped > MOST_CELLS or len(held) >= MOST_RECORDS):
            if pending is not None:
                yield pending
            pending = reader.chunk(held, counted, [], torn)
            held, counted, torn, size = [], [], {}, 0
        if text:
            torn[len(held)] = half(f"record {member.at}", text)
        held.append(member)
        counted.append(own)
        size += own.mapped + len(own.loose)
    if not number:
        raise no_record(entry.name, file.record or "records at the root")
    if pending is not None:
        yield pending
    yield reader.chunk(held, counted, late, torn)


_AGAIN = "export the link again"


def no_record(name: str, expected: str) -> Trouble:
    """A document that holds nothing where the mapping says."""
    return Trouble(
        "holds no record where the mapping says",
        code="export.no-record",
        where=name,
        expected=expected,
        remedy="use the mapping of this layout, or draft one with `muniment mapping draft`",
    )


def half(place: str, text: str) -> Problem:
    """A record that holds half of a character."""
    return Problem(place, "a text with half of a character", text, "Unicode", _AGAIN)


def read_members(entry: Entry, file: SourceFile) -> Iterator[tuple[Member, str]]:
    """The records of a document, and the first text of each that held half of a character; at last a member without a
    tree. Lists of names and values are turned. Errors: Trouble."""
    if file.kind == "xml":
        from archive.formats.mapping.tree.xml import records  # lxml carries weight
    else:
        records = json_text.records
    halves = file.kind == "json" and json_text.may_hold_surrogates(entry)
    named = [NameValueList(*n) for n in file.named]
    for member in records(entry, file.record):
        text = ""
        if halves:
            member, text = _whole(member, entry.name)
        if named and member.tree is not None:
            turned(member.tree, named)
        yield member, text


def _whole(member: Member, name: str) -> tuple[Member, str]:
    """The member without halves of characters, and the first text that held one. Errors: Trouble where it stands
    beside the records, and so concerns all of them."""
    tree, text = without_lone_surrogates(member.tree)
    around, beside = without_lone_surrogates(member.around)
    fresh, more = without_lone_surrogates([list(pair) for pair in member.fresh])
    if beside or more:
        raise Trouble(
            "a text with half of a character beside the records",
            code="export.not-unicode",
            where=name,
            found=beside or more,
            expected="Unicode",
            remedy="export it again",
        )
    return Member(tree, around, member.at, [(path, value) for path, value in fresh]), text


class TreeReader:
    """Makes chunks of records."""

    def __init__(self, file: SourceFile) -> None:
        self.paths, self._around = paths_of(file), paths_around(file)
        self.labels = [t for t in file.tables if t.rows == "labels" and not t.each]
        self.tables = [t for t in file.tables if t.each and not t.each.startswith("/")]
        self.shared = [t for t in file.tables if t.each.startswith("/")]
        of = [(t, n) for t in (*self.labels, *self.tables) for n in t.cells]
        times = Counter(absolute(t.each, n) for t, n in of if not n.startswith("/"))
        self._twice = {path for path, n in times.items() if n > 1}
        self.noun = "line" if file.kind == "xml" else "record"

    def chunk(
        self, held: list[Member], counted: list[Leaves], late: list[tuple[str, Tree]], torn: dict[int, Problem]
    ) -> RecordChunk:
        """The chunk of some records. late: leaves that stood after the last record of the file; torn: what is known to
        be wrong with some."""
        n = len(held)
        numbers: dict[tuple[int, str], int] = {}
        frames = [self.label_frame(t, held, numbers) for t in self.labels]
        frames += [f for t in self.tables if (f := self._rows(t, held, numbers)) is not None]
        frames += [f for t in self.shared if (f := self.shared_rows(t, held)) is not None]
        where = [f"{self.noun} {m.at}" for m in held]
        places = where if len(set(where)) == n else [f"{w}, record {i}" for i, w in enumerate(where, 1)]
        leaf = Counted(
            np.array([c.mapped for c in counted], dtype=np.int64),
            np.array([c.ignored for c in counted], dtype=np.int64),
            [(i, name, value) for i, c in enumerate(counted) for name, value in c.loose],
        )
        for fresh in [*(m.fresh for m in held), late]:
            for name, value in fresh:
                self.count(leaf, name, value)
        return RecordChunk(
            places, frames, lambda i: json.dumps(held[i].tree, ensure_ascii=False), problems=torn, counted=leaf
        )

    def count(self, leaf: Counted, name: str, value: Tree) -> None:
        """One leaf that stands around the records."""
        use = use_of(name, self._around)
        cells = sum(1 for c in value if c is not None) if isinstance(value, list) else 1
        if use == "mapped":
            leaf.mapped_around += cells
        elif use == "ignored":
            leaf.ignored_around += cells
        else:
            listed = value if isinstance(value, list) else [value]
            leaf.loose += [(-1, name, text) for v in listed if (text := cell_text(v)) is not None]

    def label_frame(self, table: SourceTable, held: list[Member], numbers: dict[tuple[int, str], int]) -> RowFrame:
        columns, above = {}, {}
        for name, f in table.cells.items():
            outside = name.startswith("/")
            cells = [value_at(m.around if outside else m.tree, name.lstrip("/")) for m in held]
            if all(c is None for c in cells):
                continue
            columns[name] = column(_fit(cells, OPEN if f.cell else f.to, table.rows))
            if outside:
                above[name] = _met(held, name.lstrip("/"))
            elif name in self._twice:
                above[name] = numbered([(m.tree, name) for m in held], numbers)
        places = np.array([m.at for m in held], dtype=np.int64)
        record = np.arange(len(held), dtype=np.int64)
        return RowFrame(table, columns, record, places, self.noun, counts=False, above=above)

    def _rows(self, table: SourceTable, held: list[Member], numbers: dict[tuple[int, str], int]) -> RowFrame | None:
        """Members of repeated elements below the records, one row each."""
        rows = [(i, found) for i, m in enumerate(held) for found in members(m.tree, table.each)]
        frame = framed(table, rows)
        for name in table.cells if frame is not None else ():
            assert frame is not None
            if name not in frame.columns:
                continue
            if name == KEY and not table.each.endswith(ANY):
                frame.uncounted |= {name}
            elif name == KEY or name.startswith("../") or absolute(table.each, name) in self._twice:
                frame.share(name, numbered(holders_of(rows, name), numbers))
        return frame

    def shared_rows(self, table: SourceTable, held: list[Member]) -> RowFrame | None:
        """Rows that stand outside the records, such as axes: they hold for all that come after."""
        rows = []
        seen: set[int] = set()
        for m in held:
            if id(m.around) not in seen:
                seen.add(id(m.around))
                rows += [(-1, found) for found in members(m.around, table.each.lstrip("/"))]
                break
        return framed(table, rows)


TreeRow = tuple[Tree, tuple[Tree, ...], str]
"""A row: its member, its ancestors, nearest first, and the key under which it stands."""


def framed(table: SourceTable, rows: list[tuple[int, TreeRow]]) -> RowFrame | None:
    """Members as rows of a table, with the number of the record of each; None where there is none."""
    if not rows:
        return None
    columns = {}
    for name, f in table.cells.items():
        cells = [_of_row(member, above, key, name) for _, (member, above, key) in rows]
        if any(c is not None for c in cells):
            columns[name] = column(_fit(cells, OPEN if f.cell else f.to, table.rows))
    return RowFrame(table, columns, np.array([i for i, _ in rows], dtype=np.int64), counts=False)


def numbered(holders: list[tuple[Tree, str]], numbers: dict[tuple[int, str], int]) -> Ints:
    """Numbers of the cells at paths below trees. numbers: those of the chunk so far, for a cell may stand in several
    tables."""
    out: list[int] = []
    before: tuple[Tree, str] = (None, "")
    number = -1
    for tree, path in holders:
        # Most rows stand in the element in which the row before stood.
        if tree is not before[0] or path != before[1]:
            cell = cell_at(tree, path)
            number = numbers[cell] = numbers[cell] if cell in numbers else new_cell()
            before = tree, path
        out.append(number)
    return np.array(out, dtype=np.int64)


def holders_of(rows: list[tuple[int, TreeRow]], name: str) -> list[tuple[Tree, str]]:
    """Of each row the element from which a name leads on, and the rest of the name; of a key what holds it, and it."""
    if name == KEY:
        return [(above[0] if above else None, f"{KEY}{key}") for _, (_, above, key) in rows]
    up, rest = 0, name
    while rest.startswith("../"):
        rest, up = rest[3:], up + 1
    if not up:
        return [(member, rest) for _, (member, _, _) in rows]
    return [(above[up - 1] if up <= len(above) else None, rest) for _, (_, above, _) in rows]


def _met(held: list[Member], path: str) -> Ints:
    """Numbers of the cells around the records at a path: a new one whenever it is met, -1 where it was met before."""
    out, last = [], -1
    for m in held:
        if any(name == path for name, _ in m.fresh):
            last = new_cell()
        out.append(last)
    return np.array(out, dtype=np.int64)


_LISTS = frozenset(("values", "limit", "margin"))


def _fit(cells: list[Tree], to: Target, rows: str) -> list[Tree]:
    """Lists as text where the place takes no list: then the cell is read as any other, or set aside."""
    if to.table == "axes" or (to.table == "row" and to.name == "frequencies"):
        return cells
    if (to.table == "sweeps" and rows != "points") or (rows == "curves" and to.table == "row" and to.name in _LISTS):
        return cells
    return [cell_text(c) if is_values(c) else c for c in cells]


def _of_row(member: Tree, above: tuple[Tree, ...], key: str, name: str) -> Tree:
    if name == KEY:
        return key
    up = 0
    while name.startswith("../"):
        name, up = name[3:], up + 1
    if up:
        return value_at(above[up - 1], name) if up <= len(above) else None
    return value_at(member, name)
