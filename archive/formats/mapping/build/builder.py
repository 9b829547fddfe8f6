"""Frames of some records become a Batch, with every cell accounted for."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base import numbers, units, words
from archive.formats.base.findings import finding
from archive.formats.mapping import model
from archive.formats.mapping.build import twice
from archive.formats.mapping.build.account import CellAccounts, LostCells, lost_cells
from archive.formats.mapping.build.axis_table import AxisTable
from archive.formats.mapping.build.cell_arrays import axis_values
from archive.formats.mapping.build.curve_axes import SharedAxes
from archive.formats.mapping.build.curve_builder import CurveBuilder
from archive.formats.mapping.build.evidence import evidence, media
from archive.formats.mapping.build.footers import FooterLinks, label_guessed
from archive.formats.mapping.build.keys import keys_of
from archive.formats.mapping.build.not_placed import NotPlaced
from archive.formats.mapping.build.record_facts import RecordFacts
from archive.formats.mapping.build.scalars import ScalarBuilder
from archive.formats.mapping.build.shared import Shared
from archive.formats.mapping.build.table_parts import TableParts, arrow_columns
from archive.formats.mapping.build.wires import wires
from archive.formats.mapping.record_chunk import RecordChunk
from archive.formats.mapping.row_frame import Problems, RowFrame, mapped, say_of_rows
from archive.tables import Batch, schema


class Builder:
    """Makes the batches of one file.

    source: its row of `sources` so far. set_aside: as Entry.set_aside. cable_type: words of a cable to a neutral type.
    """

    def __init__(
        self,
        mapping: model.Mapping,
        source: dict[str, Any],
        set_aside: Callable[..., dict[str, Any]],
        cable_type: Callable[[str], str] | None = None,
    ) -> None:
        self._mapping, self._source, self._aside = mapping, source, set_aside
        self._cable_type = cable_type
        self._writing = numbers.writing(
            mapping.decimal, mapping.thousands, (*words.empties(), *mapping.empty), mapping.marks
        )
        self._shared = Shared(mapping)
        self._axes = AxisTable()
        self._file_axes: SharedAxes = {}
        self._prefix = hashlib.sha256(f"{source['source_id']}\n{mapping.digest}\n".encode())
        self._accounts = CellAccounts(source["source_id"])
        self._others: list[dict[str, Any]] = []
        self._changes: dict[tuple[str, str], set[numbers.Change]] = {}
        self._not_placed, self._footers = NotPlaced(), FooterLinks()

    def batch(self, chunk: RecordChunk) -> Batch:
        """One batch, without its row of `sources` (see `sources`)."""
        places, frames, text_of = chunk.places, chunk.frames, chunk.text_of
        n = len(places)
        problems, parts = Problems(dict(chunk.problems)), TableParts()
        self._accounts.first.ignore(chunk.ignored)
        facts = RecordFacts(self._mapping, self._writing, problems, n)
        scalars = ScalarBuilder(self._mapping, self._writing, parts, problems)
        curves = CurveBuilder(self._mapping, self._writing, parts, problems, self._axes)
        axes = self._axes_of(frames)
        say_of_rows(frames, n)
        lost: list[LostCells] = []
        for frame in frames:
            for name, fields in frame.table.parted.items():
                if name in frame.columns:
                    problems.cells(frame, name, frame.misfits(name), f"a cell as {' or '.join(fields[0].pattern)}")
            if frame.table.rows == "axes" or not frame.rows:
                continue
            if (of_file := frame.table.find("file")) is not None and of_file.source in frame.columns:
                frame.feed(of_file.source)  # the files were joined by it
            keys = keys_of(frame, self._mapping, self._writing, problems)
            facts.gather(frame, keys.words.get("end"))
            scalars.named(frame, keys)
            if frame.table.rows == "points":
                curves.points(frame, keys)
            else:
                if frame.table.rows != "curves":
                    scalars.rows(frame, keys)
                curves.cells(frame, keys, axes)
            lost.append(lost_cells(frame, wires(frame, self._writing, problems, parts)))
        columns = facts.columns()
        for frame in frames:
            self._note_axes(frame)
            self._note(frame.source, {n: c for n, c in frame.changes.items() if frame.arrived(n)})
        self._note("", facts.changes)
        rows, named = self._shared.rows(facts)
        facts.leave()
        twice.refuse(parts, problems)
        good = problems.good(n)
        ids = pa.array([self._id(p) for p in places], type=pa.string())
        self._accounts.settle(frames, facts, lost, parts, good)
        if chunk.counted is not None:
            self._accounts.counted(chunk.counted, parts, good)
        tables = parts.tables(good, ids)
        columns |= named
        columns["record_id"] = ids
        columns["source_id"] = self._source["source_id"]
        columns["source_place"] = pa.array(list(places), type=pa.string())
        columns["cable_type"] = self._cables(columns["cable_found"])
        columns["medium"] = pc.coalesce(columns["medium"], media(n, parts, columns["cable_type"]))
        columns["evidence"] = evidence(n, parts)
        want = schema("records")
        records = pa.table(arrow_columns(want, n, columns), schema=want)
        tables["records"] = records if good.all() else records.filter(pa.array(good))
        tables |= {name: Batch.from_rows({name: listed})[name] for name, listed in rows.items() if listed}
        used = self._axes.take()
        if used:
            tables["axes"] = Batch.from_rows({"axes": used})["axes"]
        tables["set_aside"] = Batch.from_rows(
            {"set_aside": [self._set_aside(facts, i, problems, text_of, places[i]) for i in sorted(problems.of)]}
        )["set_aside"]
        made = Batch(tables)
        self._not_placed.look(made)
        self._footers.look(made)
        return made

    def add_source(self, source: dict[str, Any]) -> None:
        """Another file that is read together with the first: its row of `sources` so far."""
        self._others.append(source)
        self._accounts.add(source["source_id"])

    def sources(self, last: bool) -> pa.Table:
        """The rows of `sources`: with their accounts where the files have been read to their end."""
        rows = []
        for source in [self._source, *self._others]:
            a = self._accounts.of(source["source_id"])
            counts = {"read": a.read, "mapped": a.mapped, "extra": a.extras, "ignored": a.ignored}
            rows.append({**source, **({f"cells_{k}": v for k, v in counts.items()} if last else {})})
        return Batch.from_rows({"sources": rows})["sources"]

    def _note_axes(self, frame: RowFrame) -> None:
        """What converting did to the frequencies of axes."""
        table, whole = frame.table, ("frequencies", "start", "stop", "step")
        headings = units.for_unit(table.frequency_unit, "MHz", "frequency")
        if headings.changes and frame.axis is not None:
            frame.keyed.add(_HEADINGS)
            frame.note(_HEADINGS, {numbers.of_unit(headings)})
        for f in table.fields:
            of_axis = f.to.table == "axes" or (f.to.table == "row" and f.to.name in whole)
            unit = units.for_unit(f.unit, "MHz", f.source) if of_axis else headings
            if f.source not in frame.columns or not unit.changes or not (of_axis or f.encoding == "pairs"):
                continue
            if len(frame.columns[f.source].drop_null()):
                frame.note(f.source, {numbers.of_unit(unit)})

    def _note(self, source: str, changes: Mapping[str, Collection[numbers.Change]]) -> None:
        path = next((s["path"] for s in self._others if s["source_id"] == source), self._source["path"])
        for column, of_column in changes.items():
            if of_column:
                self._changes.setdefault((path, column), set()).update(of_column)

    def findings(self) -> pa.Table:
        """What converting did to the numbers so far, one finding for each column and file, and what no table took."""
        path = self._source["path"]
        rows = [*self._not_placed.findings(path), *self._footers.findings(path), *label_guessed(self._mapping, path)]
        for (path, column), changes in self._changes.items():
            found, read = (" and ".join(getattr(c, name) for c in sorted(changes)) for name in ("found", "read"))
            texts = {"where": f"{path}, {column}", "found": found, "expected": read, "status": "input changed"}
            rows.append(finding("reading", "numbers-converted", **texts))
        return Batch.from_rows({"findings": rows})["findings"]

    def nothing(self) -> pa.Table:
        """What is set aside of a file in which no record was found."""
        row = self._aside(
            "no record was found by its mapping",
            expected="rows below the headings that the mapping names",
            remedy="look at header_rows, sheet, block and skip in the mapping, or draft one for this file",
        )
        return Batch.from_rows({"set_aside": [row]})["set_aside"]

    def _id(self, place: str) -> str:
        digest = self._prefix.copy()
        digest.update(place.encode())
        return "re-" + digest.hexdigest()[:32]

    def _axes_of(self, frames: Sequence[RowFrame]) -> SharedAxes:
        """Shared axes by record (-1: of the file) and name."""
        for frame in frames:
            if frame.table.rows != "axes" and not any(f.to.table == "axes" for f in frame.table.fields):
                continue
            name = frame.table.find("key")
            for f in frame.table.fields:
                if f.to.table != "axes" or f.source not in frame.columns:
                    continue
                frame.feed(f.source)
                for i, cell in enumerate(frame.columns[f.source].to_pylist()):
                    if cell is not None:
                        key = (
                            frame.columns[name.source][i].as_py() if name and name.source in frame.columns else f.source
                        )
                        self._file_axes[(int(frame.record[i]), key or "")] = axis_values(cell, f, self._writing)
            self._axis_points(frame, name.source if name else "")
        kept = {k: v for k, v in self._file_axes.items() if k[0] < 0}
        out, self._file_axes = self._file_axes, kept
        return out

    def _axis_points(self, frame: RowFrame, name: str) -> None:
        """An axis given as one row per frequency."""
        f = frame.table.find("frequency")
        if frame.table.rows != "axes" or not f or f.source not in frame.columns:
            return
        mhz = numbers.read(frame.columns[f.source], self._writing, units.for_unit(f.unit, "MHz", f.source), step=False)
        frame.note(f.source, mhz.changes)
        labels = frame.columns[name].to_pylist() if name else [""] * frame.rows
        by: dict[tuple[int, str], list[float]] = {}
        for record, label, value in zip(frame.record.tolist(), labels, mhz.values.tolist(), strict=True):
            by.setdefault((record, label or ""), []).append(value)
        self._file_axes.update({k: np.array(v) for k, v in by.items()})

    def _cables(self, found: pa.Array) -> pa.Array:
        if self._cable_type is None:
            return pa.nulls(len(found), pa.string())
        return mapped(found, self._cable_type)

    def _set_aside(
        self, facts: RecordFacts, i: int, problems: Problems, text_of: Callable[[int], str], place: str
    ) -> dict[str, Any]:
        p = problems.of[i]
        label = facts.text("records.link_label")[i].as_py()
        where = f"{place}: {p.place}" if p.place and not p.place.startswith(place) else p.place or place
        return self._aside(
            p.reason,
            place=where,
            link_label=label,
            found=p.found or None,
            expected=p.expected or None,
            remedy=p.remedy or None,
            text=text_of(i),
        )


_HEADINGS = "the frequencies of the headings"
