"""A column of the first file that names the files of the curves, whole or in part: they have the keys of its rows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from archive.formats.base import numbers
from archive.formats.mapping.model import SourceField, SourceFile
from archive.formats.mapping.record_rows import KEYS
from archive.formats.mapping.row_frame import Problem, RowFrame
from archive.formats.mapping.target import Target
from archive.formats.recognition import Entry

FILE = "file"
"""row.file: the file that a row names."""


class FileIndex:
    """Which row of the first file names each of the others. problems: by the record of the first file, why it cannot
    be joined."""

    def __init__(self, first: Sequence[RowFrame], others: Sequence[tuple[SourceFile, Entry]], folder: Path) -> None:
        self.problems: dict[int, Problem] = {}
        self._keys: dict[Path, dict[str, str | None]] = {}
        self._there = [(file.name, entry.path, _shown(entry.path, folder)) for file, entry in others]
        self._by: dict[Path, int] = {}
        self.there = False
        for frame in first:
            f = frame.table.find(FILE)
            if f is not None and f.source in frame.columns:
                self.there = True
                self._index(frame, f)

    def _index(self, frame: RowFrame, f: SourceField) -> None:
        keys = {
            x.to.name: numbers.text(frame.columns[x.source]).to_pylist()
            for x in frame.table.fields
            if x.to.table == "records" and x.to.name in KEYS and not x.to.part and x.source in frame.columns
        }
        named = np.zeros(frame.rows, dtype=bool)
        for i, cell in enumerate(numbers.text(frame.columns[f.source]).to_pylist()):
            if cell is None or not cell.strip():
                continue
            found = self._found(cell)
            record = int(frame.record[i])
            place = f"{frame.noun} {frame.place[i]}, {f.source}" if frame.place is not None else f.source
            for path in found:
                if self._by.setdefault(path, record) != record:
                    self._refuse(
                        (record, self._by[path]), place, "two rows name one file", path.name, "a file for each"
                    )
                self._keys[path] = {name: cells[i] for name, cells in keys.items()}
            if not found:
                self._refuse((record,), place, "a row names a file that is not there", cell, self._shown_there())
            twice = [n for n, _, _ in self._of(found)]
            if len(set(twice)) < len(twice):
                shown = ", ".join(p.name for p in found[:4])
                self._refuse((record,), place, "what a row names fits several files", f"{cell}: {shown}", "one file")
            named[i] = bool(found)
        frame.feed(f.source, named)

    def _of(self, paths: Sequence[Path]) -> list[tuple[str, Path, str]]:
        return [one for one in self._there if one[1] in paths]

    def _found(self, cell: str) -> list[Path]:
        """The files that a cell names: with their folder, by their name with or without its ending, or in part."""
        stated = cell.strip().replace("\\", "/").casefold()
        last = stated.rpartition("/")[2]
        whole = [p for _, p, shown in self._there if shown == stated or shown.endswith(f"/{stated}")]
        alone = [p for _, p, _ in self._there if last in (p.name.casefold(), p.stem.casefold())]
        part = re.compile(rf"(?<![^\W_]){re.escape(last)}(?![^\W_])")
        return whole or alone or [p for _, p, _ in self._there if part.search(p.name.casefold())]

    def _shown_there(self) -> str:
        names = [p.name for _, p, _ in self._there]
        return ", ".join(names[:3]) + (f" and {len(names) - 3} others" if len(names) > 3 else "") or "a file beside it"

    def _refuse(self, records: Sequence[int], place: str, reason: str, found: str, expected: str) -> None:
        remedy = "hand in the folder or zip that holds every file, or look at row.file and pattern in the mapping"
        for record in records:
            self.problems.setdefault(record, Problem(place, reason, found, expected, remedy))

    def keyed(self, frame: RowFrame, entry: Entry) -> RowFrame:
        """Rows of another file with the keys of the row that names it; without any where no row does."""
        if not self.there or frame.table.rows == "axes" or frame.table.keyed:
            return frame
        keys = self._keys.get(entry.path) or {"link_label": None}
        fields = tuple(SourceField(f"@{name} of the row that names it", Target("records", name)) for name in keys)
        columns = dict(frame.columns)
        for f in fields:
            columns[f.source] = pa.repeat(pa.scalar(keys[f.to.name], pa.string()), frame.rows)
        return replace(
            frame,
            columns=columns,
            table=replace(frame.table, fields=(*frame.table.fields, *fields)),
            uncounted=frame.uncounted | {f.source for f in fields},
            repeats=False,
        )


def _shown(path: Path, folder: Path) -> str:
    return (path.relative_to(folder) if path.is_relative_to(folder) else path).as_posix().casefold()
