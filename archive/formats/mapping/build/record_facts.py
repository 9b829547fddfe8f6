"""What is stated once per record: its label, time, limit, cable, instruments, places, people, job."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.base import dates, numbers, units, words
from archive.formats.mapping import verdicts
from archive.formats.mapping.build.moved import Moved
from archive.formats.mapping.build.scalars import yes
from archive.formats.mapping.model import Mapping, SourceField
from archive.formats.mapping.record_rows import KEYS, says_nothing
from archive.formats.mapping.row_frame import HOW_IT_IS_WRITTEN, Problem, Problems, RowFrame, codes, encoded, mapped
from archive.tables.arrow import Bools, Ints, Reals


@dataclass
class RecordFact:
    """One fact of all records: text, place and source of each, null where it is not stated."""

    field: SourceField
    text: pa.Array
    where: Ints | None
    cell: Ints | None = None
    """Which cell of the source each is, as RowFrame.cells has it."""
    source: str = ""
    """source_id of its file, where it is not that of the records."""
    unread: Bools | None = None
    """Boolean array: which of them nobody knows how to read."""


@dataclass
class RecordFacts:
    """The facts of a batch of n records, gathered from its frames."""

    mapping: Mapping
    writing: numbers.Writing
    problems: Problems
    n: int
    stated: dict[str, RecordFact] = field(default_factory=dict)
    moved: list[Moved] = field(default_factory=list)
    """Cells that say otherwise than the first, and cells in words that nobody knows. They are kept as extras."""
    taken: set[str] = field(default_factory=set)
    """Facts that columns were made of."""
    changes: dict[str, set[numbers.Change]] = field(default_factory=dict)
    """What converting did to the numbers of columns."""

    def gather(self, frame: RowFrame, ends: pa.Array | None = None) -> None:
        """Takes the facts of a frame. ends: the end that each row speaks of, for units and places that name none."""
        for f in frame.table.fields:
            if (
                f.to.table not in ("records", "jobs", "places", "instruments", "people")
                or f.source not in frame.columns
            ):
                continue
            if ends is not None and f.to.table in ("places", "instruments") and not f.to.end:
                for e in [frame.table.find("end")]:
                    if e is not None:
                        frame.feed(e.source, np.asarray(ends.is_valid()))
                for end in vocabulary.ENDS:
                    rows = np.flatnonzero(np.asarray(pc.fill_null(pc.equal(ends, end), False)))
                    if len(rows):
                        self._take(frame.only(rows), replace(f, to=f.to.at(end=end)))
            else:
                self._take(frame, f)

    def _take(self, frame: RowFrame, f: SourceField) -> None:
        # Each distinct cell is looked at once: a fact stands in every row of its record.
        cells = encoded(frame.columns[f.source])
        words, code = pc.utf8_trim_whitespace(cells.dictionary), codes(cells)
        if len(words):
            blank = np.asarray(pc.equal(pc.utf8_length(pc.utf8_trim_whitespace(words)), 0))
            if f.to.table == "records" and f.to.name in KEYS:
                blank |= np.array([says_nothing(w) for w in words.to_pylist()])
            code = np.where(blank[code], -1, code) if blank.any() else code
        cell = frame.cells(f.source)
        there = np.flatnonzero(code >= 0)
        if f.to.name == "reported_verdict":
            # Where the rows of a record differ, one that fails speaks for it.
            own = {**self.mapping.verdicts, **f.words}
            fails = np.array([verdicts.read(w, own)[0] == "fail" for w in words.to_pylist()], dtype=bool)
            there = there[np.lexsort((there, ~fails[code[there]], frame.record[there]))]
        records, first = np.unique(frame.record[there], return_index=True)
        rows, stated = np.full(self.n, -1, dtype=np.int64), np.full(self.n, -1, dtype=np.int64)
        rows[records] = there[first]
        stated[records] = code[there[first]]
        taken = words.take(pa.array(stated, mask=stated < 0))
        if len(there) > len(records):
            at = there[code[there] != stated[frame.record[there]]]
            if len(at):
                texts, which = words.take(pa.array(code[at])), None if cell is None else cell[at]
                self.moved.append(Moved(frame.record[at], f.source, frame.where(at), texts, which, source=frame.source))
                if f.to.name == "link_label" and frame.table.rows in ("readings", "points", "curves"):
                    self._another_link(frame.record[at], texts, taken)
        where = frame.place[np.maximum(rows, 0)] if frame.place is not None else None
        of = None
        if cell is not None:
            of = np.full(self.n, -1, dtype=np.int64)
            of[records] = cell[there[first]]
        fact = RecordFact(f, taken, where, of, frame.source)
        before = self.stated.get(str(f.to))
        if before is not None:
            # Another table of the record speaks of it too; what says otherwise is kept.
            self.lose(fact, pc.fill_null(pc.not_equal(before.text, taken), False))
            fact.field, fact.text, fact.unread = before.field, pc.coalesce(before.text, taken), before.unread
            if before.cell is not None or of is not None:
                none = np.full(self.n, -1, dtype=np.int64)
                cells_of = [none if x is None else x for x in (before.cell, of)]
                fact.cell = np.where(np.asarray(before.text.is_valid()), *cells_of)
        self.stated[str(f.to)] = fact

    def _another_link(self, record: Ints, texts: pa.Array, taken: pa.Array) -> None:
        """Sets aside records of which rows name another link: what they measure would be filed under this one."""
        for i, text in zip(record.tolist(), texts.to_pylist(), strict=True):
            own = taken[i].as_py()
            if i not in self.problems.of and _same(text) != _same(own):
                self.problems.add(i, Problem("", "rows of one record name two links", f"{text} beside {own}", *_ONE))

    def find(self, key: str) -> RecordFact | None:
        """One fact, which a column is then made of; None where it is not stated."""
        self.taken.add(key)
        return self.stated.get(key)

    def text(self, key: str) -> pa.Array:
        """One fact as Arrow text of n records."""
        found = self.find(key)
        return pa.nulls(self.n, pa.string()) if found is None else found.text

    def columns(self) -> dict[str, Any]:
        """The columns of records that follow from the cells."""
        out: dict[str, Any] = {}
        for name in ("link_label", "sequence", "limit_found", "cable_found", "cable_lot", "comment", "light_class"):
            out[name] = self.text(f"records.{name}")
        of_fiber = ("reference_method", "launch_condition", "connector_grade", "polarity_method")
        for name in ("configuration", *of_fiber, "medium"):
            out[name] = self._word(name)
        out["velocity_percent"] = self._number("velocity_percent", "%")
        for name in ("group_index", "coverage_factor"):
            out[name] = self._number(name, "")
        for name in ("connections", "splices", "array_positions"):
            found = self._number(name, "")
            whole = np.isfinite(found) & (found == np.rint(found))
            out[name] = pa.array(np.where(whole, found, 0).astype(np.int64), mask=~whole)
            if (stated := self.find(f"records.{name}")) is not None:
                self.lose(stated, pa.array(np.isfinite(found) & ~whole))
        out |= self._verdict()
        out |= self._times()
        reference = self.find("records.reference_local")
        if reference is not None:
            pattern = reference.field.format or self.mapping.date or "ISO"
            out["reference_local"] = mapped(reference.text, lambda w: _local(w, pattern))
            self.lose(reference, pc.and_(reference.text.is_valid(), out["reference_local"].is_null()))
        return out

    def _word(self, name: str) -> pa.Array:
        stated = self.find(f"records.{name}")
        if stated is None:
            return pa.nulls(self.n, pa.string())
        known = vocabulary.words(name)

        def one(w: str) -> str | None:
            return (
                stated.field.words.get(w.strip())
                or words.meaning(w, name)
                or (w.strip() if w.strip() in known else None)
            )

        found = mapped(stated.text, one)
        self.lose(stated, pc.and_(stated.text.is_valid(), found.is_null()))
        return found

    def lose(self, stated: RecordFact, mask: pa.Array) -> None:
        """Keeps as extras the cells of a fact that no column has. mask: Arrow bool of n records."""
        at = np.flatnonzero(np.asarray(mask))
        if len(at):
            stated.unread = np.asarray(mask) if stated.unread is None else stated.unread | np.asarray(mask)
            texts, cell = stated.text.take(pa.array(at)), None if stated.cell is None else stated.cell[at]
            places = pa.nulls(len(at), pa.string())
            self.moved.append(Moved(at, stated.field.source, places, texts, cell, source=stated.source))

    def used(self, good: Bools) -> Ints:
        """The cells that facts of good records are taken from, where records share cells: int64."""
        found = [np.zeros(0, dtype=np.int64)]
        for stated in self.stated.values():
            if stated.cell is not None:
                rows = np.asarray(stated.text.is_valid()) & good
                found.append(stated.cell[rows if stated.unread is None else rows & ~stated.unread])
        return np.unique(np.concatenate(found))

    def leave(self) -> None:
        """Keeps as extras what no column was made of."""
        for key, stated in self.stated.items():
            if key not in self.taken:
                self.lose(stated, stated.text.is_valid())

    def settle(self, table: str, ids: pa.Array, kept: dict[str, dict[str, str | None]]) -> None:
        """Keeps as extras what a record says otherwise than the row of a shared table that it names.

        ids: Arrow text, the row of each record, null for none. kept: rows by their id.
        """
        for key, stated in self.stated.items():
            if stated.field.to.table == table:
                self.taken.add(key)
                name = stated.field.to.name
                row = {i: cells.get(name) for i, cells in kept.items()}
                of_row = mapped(ids, row.get)
                differs = pc.not_equal(pc.fill_null(of_row, ""), stated.text)
                self.lose(stated, pc.and_(stated.text.is_valid(), pc.fill_null(differs, False)))

    def _number(self, name: str, unit: str) -> Reals:
        stated = self.find(f"records.{name}")
        if stated is None:
            return np.full(self.n, np.nan)
        given = units.for_unit(stated.field.unit, unit, name) if unit else None
        found = numbers.read(stated.text, self.writing, given, step=False)
        self.changes.setdefault(stated.field.source, set()).update(found.changes)
        for i in np.flatnonzero(found.bad).tolist():
            self._aside(i, stated, "a number")
        if unit == "%" and not stated.field.unit:
            small = np.abs(found.values) <= 1
            found.values[small] *= 100
            if small.any():
                self.changes[stated.field.source].add(numbers.Change("fractions of one", "percentages"))
        values: Reals = np.round(found.values, 9)
        return values

    def _aside(self, record: int, stated: RecordFact, expected: str) -> None:
        place = stated.field.source if stated.where is None else f"row {stated.where[record]}, {stated.field.source}"
        cell = stated.text[record].as_py()
        self.problems.add(
            record,
            Problem(place, "a cell that cannot be read", repr(cell)[:80], expected, HOW_IT_IS_WRITTEN),
        )

    def _verdict(self) -> dict[str, Any]:
        stated, marked = (self.find(f"records.reported_{n}") for n in ("verdict", "marginal"))
        out: dict[str, Any] = {}
        if stated is not None:
            own = {**self.mapping.verdicts, **stated.field.words}
            out["reported_verdict"] = mapped(stated.text, lambda w: verdicts.read(w, own)[0])
            out["reported_words"] = stated.text
            mark = mapped(stated.text, lambda w: "true" if verdicts.read(w, own)[1] else None)
            out["reported_marginal"] = mark.cast(pa.bool_())
        if marked is not None:
            found = yes(marked.text)
            out["reported_marginal"] = pc.coalesce(found, out.get("reported_marginal", found))
            self.lose(marked, pc.and_(marked.text.is_valid(), found.is_null()))
        return out

    def _times(self) -> dict[str, Any]:
        """tested_found, tested_local, tested_at, utc_offset_min, zone_basis.

        Of a record whose tables give both a whole time and its parts the whole one counts.
        """
        whole = self.find("records.tested_found")
        parts = [
            p for p in map(self.find, ("records.tested_found[date]", "records.tested_found[time]")) if p is not None
        ]
        ways = [way for way in ([whole] if whole is not None else [], parts) if way]
        if not ways:
            return {}
        found = pa.nulls(self.n, pa.string())
        times: list[dates.When | None] = [None] * self.n
        for way in ways:
            free = pc.is_null(found)
            for one in way:
                self.lose(one, pc.and_(one.text.is_valid(), pc.invert(free)))
            found = pc.coalesce(found, way[0].text if len(way) == 1 else _joined([p.text for p in way]))
            self._read_times(way, np.flatnonzero(np.asarray(free)), times)
        zones = self.find("records.tested_found[zone]")
        stated = [None] * self.n if zones is None else zones.text.to_pylist()
        moments = [_moment(when, zone or self.mapping.zone) for when, zone in zip(times, stated, strict=True)]
        if zones is not None:
            found = pc.if_else(zones.text.is_valid(), pc.binary_join_element_wise(found, zones.text, " "), found)
        # A time of day alone is no date: its words are kept as found.
        local = [when.local if when and "-" in when.local else None for when in times]
        return {
            "tested_found": found,
            "tested_local": pa.array(local, type=pa.string()),
            "tested_at": pa.array([m for m, _ in moments], type=pa.timestamp("ms", tz="UTC")),
            "utc_offset_min": pa.array([minutes for _, minutes in moments], type=pa.int64()),
            "zone_basis": pa.array([None if m is None else "record" for m, _ in moments], type=pa.string()),
        }

    def _read_times(self, way: list[RecordFact], rows: Ints, times: list[dates.When | None]) -> None:
        """Times of some records, from one cell or from two; one that cannot be read sets its record aside."""
        patterns = [p.field.format or self.mapping.date or "ISO" for p in way]
        cells = list(zip(*(p.text.to_pylist() for p in way), strict=True))
        for i in rows.tolist():
            times[i] = _together(cells[i], patterns)
            if times[i] is None and any(cells[i]) and "words" not in patterns:
                self._aside(i, way[0], _expected(cells[i], way, " ".join(patterns), self.mapping))


_ONE = (
    "one link in the rows of a record",
    "let the mapping say where records begin (record, each or block), or leave it out, and rows are joined by the link",
)


def _same(label: str) -> str:
    """A label without what is no difference."""
    return " ".join(label.split()).casefold()


def _expected(cells: tuple[str | None, ...], given: list[RecordFact], pattern: str, mapping: Mapping) -> str:
    """What a date is expected to be; where the mapping gives no pattern, those that would read it."""
    found = dates.patterns_for([next(c for c in cells if c)])
    if mapping.date or any(p.field.format for p in given) or not found:
        return f"a date as {pattern}"
    either = " or ".join(found[:2])
    return f"a date as ISO; it reads {'two ways' if len(found) > 1 else 'otherwise'}: say format = {either}"


def _joined(texts: list[pa.Array]) -> pa.Array:
    """Texts with a blank between them; null where all are."""
    whole = [pc.fill_null(t, "") for t in texts]
    found = pc.utf8_trim_whitespace(pc.binary_join_element_wise(*whole, " "))
    return pc.if_else(pc.equal(found, ""), pa.scalar(None, pa.string()), found)


def _together(cells: tuple[str | None, ...], patterns: list[str]) -> dates.When | None:
    """A time from one cell, or a date and a time from two."""
    found = [dates.read(c, p) if c and p != "words" else None for c, p in zip(cells, patterns, strict=True)]
    if len(found) == 1 or found[1] is None:
        return found[0] if not (len(found) > 1 and cells[1]) else None
    if found[0] is None:
        return None
    clock = found[1].local.partition("T")[2] or found[1].local
    offset = found[1].offset if found[1].offset is not None else found[0].offset
    return dates.When(f"{found[0].local.partition('T')[0]}T{clock}", offset)


def _moment(when: dates.When | None, zone: str) -> tuple[datetime | None, int | None]:
    if when is None:
        return None, None
    try:
        return dates.instant(when.local, when.offset, zone.strip())
    except (KeyError, ValueError, OSError):
        return None, None


def _local(text: str, pattern: str) -> str | None:
    found = dates.read(text, pattern)
    return found.local if found else None
