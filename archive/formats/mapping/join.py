"""Tables of one source joined into records by their keys: the label, and what else all of them tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa

from archive.formats.base import numbers
from archive.formats.base.uncollected import uncollected
from archive.formats.mapping.model import SourceTable
from archive.formats.mapping.record_chunk import MOST_POINTS, Counted, RecordChunk
from archive.formats.mapping.record_rows import KEYS, says_nothing
from archive.formats.mapping.row_frame import Problem, RowFrame, codes, encoded
from archive.tables import MOST_RECORDS
from archive.tables.arrow import Ints

Key = tuple[str | None, ...]


def key_names(tables: Sequence[SourceTable]) -> list[str]:
    """Columns of records that every table with a key has: by these the tables are joined."""
    keyed = [{f.to.name for f in t.fields if f.to.table == "records" and not f.to.part} for t in tables]
    keyed = [k for k in keyed if k & {"link_label", "sequence"}]
    if not keyed:
        return []
    return [n for n in KEYS if all(n in k for k in keyed)] or ["link_label"]


def keys_of(frame: RowFrame, names: Sequence[str]) -> list[Key] | None:
    """The key of each row; a key that is left blank repeats the one above (not in tables of links, nor in trees)."""
    columns = []
    for name in names:
        f = next((f for f in frame.table.fields if f.to.table == "records" and f.to.name == name), None)
        if f is None or f.source not in frame.columns:
            return None
        coded = encoded(frame.columns[f.source])
        known = [None if c is None or says_nothing(c) else c.strip() for c in coded.dictionary.to_pylist()]
        words = np.array([*known, None], dtype=object)
        code = codes(coded)
        if frame.table.rows != "links" and frame.repeats:
            filled = np.array([*map(bool, known), False])[code]
            last = np.maximum.accumulate(np.where(filled, np.arange(len(code)), -1))
            code = np.where(last >= 0, code[last], len(known)) if len(code) else code
        cells = words[code].tolist()
        columns.append(cells)
    return list(zip(*columns, strict=True)) if columns else None


class Counts:
    """Cells that the reader of a file counted itself: by its records, numbered through the file."""

    def __init__(self) -> None:
        self.ignored = 0
        self.torn: dict[int, Problem] = {}
        """What is wrong with some records of the file."""
        self._parts: list[tuple[int, Counted]] = []

    def add(self, chunk: RecordChunk, base: int) -> None:
        """Takes over what a chunk says. base: the number of its first record."""
        self.ignored += chunk.ignored
        if chunk.counted is not None:
            self._parts.append((base, chunk.counted))

    def taken(self, joined: dict[int, int], n: int) -> tuple[int, Counted | None]:
        """Cells ignored by name, and the counts of n joined records. joined: of each record of the file the one that
        it became. What stands around the records is told the first time only."""
        ignored, self.ignored = self.ignored, 0
        if not self._parts:
            return ignored, None
        out = Counted(np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64), [])
        for base, part in self._parts:
            for i in range(len(part.mapped)):
                if base + i in joined:
                    out.mapped[joined[base + i]] += part.mapped[i]
                    out.ignored[joined[base + i]] += part.ignored[i]
            out.loose += [(joined[base + i], a, b) for i, a, b in part.loose if i >= 0 and base + i in joined]
            out.loose += [x for x in part.loose if x[0] < 0]
            part.loose = [x for x in part.loose if x[0] >= 0]
            out.mapped_around, part.mapped_around = out.mapped_around + part.mapped_around, 0
            out.ignored_around, part.ignored_around = out.ignored_around + part.ignored_around, 0
        return ignored, out


def join(frames: Sequence[tuple[str, RowFrame]], counts: Counts | None = None) -> Iterator[RecordChunk]:
    """Chunks of whole records. frames: where each frame stands ("sheet Links, "), and the frame. counts: what the
    reader of the first file counted itself; its frames stand first, under no name."""
    axes = [f for _, f in frames if f.table.rows == "axes"]
    rows = [(w, f) for w, f in frames if f.table.rows != "axes"]
    names = key_names([f.table for _, f in rows])
    # Tables of links come first: they say which records there are.
    rows.sort(key=lambda wf: wf[1].table.rows != "links")
    of: dict[Key, int] = {}
    places: list[str] = []
    problems: dict[int, Problem] = {}
    placed: list[RowFrame] = []
    several = len(rows) > 1
    became: dict[int, int] = {}
    for number, (where, frame) in enumerate(rows):
        with uncollected():
            keys = keys_of(frame, names) if names else None
        record = np.zeros(frame.rows, dtype=np.int64)
        if keys is None:
            if frame.table.rows == "links":
                record = np.arange(frame.rows, dtype=np.int64)
            while len(places) <= int(record.max(initial=0)):
                places.append(_place(where, frame, len(places) if frame.table.rows == "links" else 0))
        else:
            before: Key | None = None
            for i, key in enumerate(keys):
                own = frame.table.rows == "links" and number == 0
                if key == before and not own:
                    record[i] = record[i - 1]
                    continue
                before = key
                nameless = not (frame.repeats or any(key))
                if nameless:
                    key = (None, where)  # no rows of several files are one record for want of a key
                at = of.get(key)
                if at is None and nameless:
                    where_ = _place(where, frame, i)
                    problems[len(places)] = Problem(where_, "rows that name no link", "", _LABELS, _NAMELESS)
                if at is None or (own and not several):
                    at = len(places)
                    places.append(_place(where, frame, i))
                    of.setdefault(key, at)
                elif own:
                    at = len(places)
                    places.append(_place(where, frame, i))
                    problems[at] = Problem(
                        _place(where, frame, i),
                        "two rows have one key, and other tables name them by it",
                        ", ".join(k or "nothing" for k in key),
                        "a key for each row",
                        "give the mapping the column that tells them apart, such as the date",
                    )
                record[i] = at
        if counts is not None and not where:
            became.update(zip(frame.record.tolist(), record.tolist(), strict=True))
        order = np.argsort(record, kind="stable")
        moved = replace(frame, record=record, noun=f"{where}{frame.noun}")
        placed.append(moved.only(order) if (order[1:] < order[:-1]).any() else moved)
    if counts is not None:
        problems |= {became[i]: p for i, p in counts.torn.items() if i in became}
    counted = counts.taken(became, len(places)) if counts is not None else (0, None)
    yield from _cut(places, placed, axes, problems, counted)


_LABELS = "the label of a link in each row"
_NAMELESS = "see in the text set aside which rows they are, and whether the mapping names the label where it stands"


def _place(where: str, frame: RowFrame, row: int) -> str:
    return f"{where}{frame.noun} {frame.place[row]}" if frame.place is not None and frame.rows else f"{where}table"


def _cut(
    places: list[str],
    frames: list[RowFrame],
    axes: list[RowFrame],
    problems: dict[int, Problem],
    counted: tuple[int, Counted | None],
) -> Iterator[RecordChunk]:
    n = len(places)
    weight = np.zeros(n + 1)
    for frame in frames:
        fields = sum(1 for f in frame.table.fields if f.to.table in ("sweeps", "row"))
        weight[:n] += np.bincount(frame.record, minlength=n)[:n] * fields
    at = 0
    for frame in axes:
        frame.record = np.full(frame.rows, -1, dtype=np.int64)
    while at < n:
        end, held = at, 0.0
        while end < n and end - at < MOST_RECORDS and (end == at or held + weight[end] <= MOST_POINTS):
            held += weight[end]
            end += 1
        part = []
        for frame in frames:
            low, high = np.searchsorted(frame.record, [at, end])
            if high > low:
                columns = {k: c.slice(low, high - low) for k, c in frame.columns.items()}
                place = None if frame.place is None else frame.place[low:high]
                above = {k: _new_in(v, low, high) if frame.counts else v[low:high] for k, v in frame.above.items()}
                record = frame.record[low:high] - at
                part.append(replace(frame, columns=columns, record=record, place=place, above=above))
        some = {k - at: p for k, p in problems.items() if at <= k < end}
        here = list(part)
        ignored = counted[0] if at == 0 else 0
        yield RecordChunk(
            places[at:end],
            [*part, *(axes if at == 0 else [])],
            lambda i, f=here: _text(f, i),  # type: ignore[misc]
            ignored,
            some,
            _slice(counted[1], at, end),
        )
        at = end


def _new_in(cells: Ints, low: int, high: int) -> Ints:
    """Which cell some rows have; -1 for those that an earlier chunk has counted."""
    mine = cells[low:high]
    return np.where(np.isin(mine, cells[:low]), -1, mine)


def _slice(counted: Counted | None, at: int, end: int) -> Counted | None:
    if counted is None:
        return None
    loose = [(i - at if i >= 0 else i, a, b) for i, a, b in counted.loose if at <= i < end or (i < 0 and at == 0)]
    around = (counted.mapped_around, counted.ignored_around) if at == 0 else (0, 0)
    return Counted(counted.mapped[at:end], counted.ignored[at:end], loose, *around)


def _text(frames: list[RowFrame], record: int) -> str:
    """The rows of one record, each under its headings."""
    out = []
    for frame in frames:
        low, high = np.searchsorted(frame.record, [record, record + 1])
        if high > low:
            out.append("\t".join(frame.columns))
            cells = [numbers.text(encoded(c)) if not pa.types.is_list(c.type) else c for c in _sliced(frame, low, high)]
            for row in zip(*(c.to_pylist() for c in cells), strict=True):
                out.append("\t".join("" if c is None else str(c) for c in row))
    return "\n".join(out) + "\n"


def _sliced(frame: RowFrame, low: int, high: int) -> list[pa.Array]:
    return [c.slice(low, high - low) for c in frame.columns.values()]
