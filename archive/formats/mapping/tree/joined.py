"""XML and JSON whose rows name their link themselves: rows of one label are one record, wherever they stand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa

from archive.formats.mapping.join import Counts, join
from archive.formats.mapping.model import SourceField, SourceFile, SourceTable
from archive.formats.mapping.record_chunk import Counted, RecordChunk
from archive.formats.mapping.row_frame import Problem, RowFrame
from archive.formats.mapping.tree.leaves import Leaves, absolute, leaves
from archive.formats.mapping.tree.node import KEY, TEXT, Member, members
from archive.formats.mapping.tree.tree_chunks import (
    TreeReader,
    TreeRow,
    framed,
    half,
    holders_of,
    no_record,
    numbered,
    read_members,
)
from archive.formats.recognition import Entry
from archive.tables.arrow import Ints


def chunks(entry: Entry, file: SourceFile) -> Iterator[RecordChunk]:
    """Records of an XML or JSON file whose rows are joined by what they name. Errors: Trouble."""
    rows = _LinkRows(file)
    for member, text in read_members(entry, file):
        rows.take(member, text)
    if not rows.leaves:
        raise no_record(entry.name, ", ".join(absolute(file.record, t.each) or "rows" for t in rows.tables))
    yield from join([("", f) for f in rows.frames()], rows.counts())


@dataclass
class _Held:
    """Rows of one table: the member of each, its number among all rows of the file, and the record it stands in."""

    rows: list[tuple[int, TreeRow]] = field(default_factory=list)
    within: list[int] = field(default_factory=list)


class _LinkRows:
    """The rows of a file, as they come."""

    def __init__(self, file: SourceFile) -> None:
        self._file, self._reader = file, TreeReader(file)
        self.tables: Sequence[SourceTable] = self._reader.tables
        self._held = {t.name: _Held() for t in self.tables}
        self._records: list[Member] = []
        self.leaves: list[Leaves] = []
        """Cells of each row."""
        self._around = Counted(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), [])
        self._torn: dict[int, Problem] = {}

    def take(self, member: Member, text: str) -> None:
        """One record of the document. text: what in it holds half of a character, "" where nothing does."""
        for name, value in member.fresh:
            self._reader.count(self._around, name, value)
        if member.tree is None:
            return
        owned: dict[int, Leaves] = {}
        for table in self.tables:
            held = self._held[table.name]
            for row in members(member.tree, table.each):
                number = len(self.leaves)
                mine = Leaves()
                self.leaves.append(mine)
                if isinstance(row[0], dict | list):
                    owned.setdefault(id(row[0]), mine)
                if text:
                    self._torn[number] = half(f"record {member.at}", text)
                held.rows.append((number, row))
                held.within.append(len(self._records))
        rest = leaves(member.tree, self._reader.paths, owned)
        if id(member.tree) not in owned:
            self._around.mapped_around += rest.mapped
            self._around.ignored_around += rest.ignored
            self._around.loose += [(-1, name, value) for name, value in rest.loose]
        self._records.append(member)

    def counts(self) -> Counts:
        """The cells of the rows, and of what stands around them."""
        out = Counts()
        around = self._around
        around.mapped = np.array([c.mapped for c in self.leaves], dtype=np.int64)
        around.ignored = np.array([c.ignored for c in self.leaves], dtype=np.int64)
        around.loose += [(i, name, value) for i, c in enumerate(self.leaves) for name, value in c.loose]
        out.add(RecordChunk([], [], lambda i: "", counted=around), 0)
        out.torn = self._torn
        return out

    def frames(self) -> list[RowFrame]:
        """The rows of each table, with what stands beside them in their records."""
        numbers: dict[tuple[int, str], int] = {}
        beside = [(self._reader.label_frame(t, self._records, numbers), t) for t in self._reader.labels]
        out = [f for t in self._reader.shared if (f := self._reader.shared_rows(t, self._records)) is not None]
        for table in self.tables:
            held = self._held[table.name]
            frame = framed(table, held.rows)
            if frame is None:
                continue
            for name in table.cells:
                if name in frame.columns and (name == KEY or name.startswith("../")):
                    frame.share(name, numbered(holders_of(held.rows, name), numbers))
            frame.place, frame.repeats = np.arange(1, frame.rows + 1, dtype=np.int64), False
            frame.noun = "record" if table.each == TEXT else f"{table.each} number"
            if table.rows != "axes":
                within = np.array(held.within, dtype=np.int64)
                for labels, of in beside:
                    self._spread(frame, labels, of, within, numbers)
            out.append(frame)
        return [*out, *self._axes(beside)]

    def _spread(
        self, frame: RowFrame, labels: RowFrame, table: SourceTable, within: Ints, numbers: dict[tuple[int, str], int]
    ) -> None:
        """Gives rows what stands beside them in their record. within: the record of each row."""
        more: list[SourceField] = []
        for f in table.fields:
            if f.source not in labels.columns or f.to.table == "axes":
                continue
            name = f.source if f.source not in frame.columns else f"beside/{f.source}"
            cell = labels.above.get(f.source)
            if cell is None:
                cell = numbered([(m.tree, f.stands_in) for m in self._records], numbers)
            frame.columns[name] = labels.columns[f.source].take(pa.array(within))
            frame.above[name] = cell[within]
            more.append(replace(f, source=name))
        frame.table = replace(frame.table, fields=(*frame.table.fields, *more))

    def _axes(self, beside: list[tuple[RowFrame, SourceTable]]) -> Iterator[RowFrame]:
        """Axes that stand beside the rows: those of the first record that has any hold for all."""
        for labels, table in beside:
            named = tuple(f for f in table.fields if f.to.table == "axes" and f.source in labels.columns)
            if not named:
                continue
            at = pa.array([next(i for i in range(labels.rows) if labels.columns[f.source][i].is_valid) for f in named])
            columns = {f.source: labels.columns[f.source].take(at[i : i + 1]) for i, f in enumerate(named)}
            axes = SourceTable(table.name, "axes", named)
            yield RowFrame(axes, columns, np.full(1, -1, dtype=np.int64), counts=False)
