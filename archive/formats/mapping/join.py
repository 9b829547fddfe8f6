"""Tables of one source joined into records by their keys: the label, and what else all of them tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa

from archive.formats.mapping import numbers
from archive.formats.mapping.chunk import MOST_POINTS, Chunk
from archive.formats.mapping.frame import Frame, Problem, codes, encoded
from archive.formats.mapping.group import KEYS
from archive.formats.mapping.model import Table
from archive.formats.mapping.uncollected import uncollected
from archive.tables import MOST_RECORDS

Key = tuple[str | None, ...]


def key_names(tables: Sequence[Table]) -> list[str]:
    """Columns of records that every table with a key has: by these the tables are joined."""
    keyed = [{f.to.name for f in t.fields if f.to.table == "records" and not f.to.part} for t in tables]
    keyed = [k for k in keyed if k & {"link_label", "sequence"}]
    if not keyed:
        return []
    return [n for n in KEYS if all(n in k for k in keyed)] or ["link_label"]


def keys_of(frame: Frame, names: Sequence[str]) -> list[Key] | None:
    """The key of each row; a key that is left blank repeats the one above (not in tables of links)."""
    columns = []
    for name in names:
        f = next((f for f in frame.table.fields if f.to.table == "records" and f.to.name == name), None)
        if f is None or f.source not in frame.columns:
            return None
        coded = encoded(frame.columns[f.source])
        known = [c.strip() if c else None for c in coded.dictionary.to_pylist()]
        words = np.array([*known, None], dtype=object)
        code = codes(coded)
        if frame.table.rows != "links":
            filled = np.array([*map(bool, known), False])[code]
            last = np.maximum.accumulate(np.where(filled, np.arange(len(code)), -1))
            code = np.where(last >= 0, code[last], len(known)) if len(code) else code
        cells = words[code].tolist()
        columns.append(cells)
    return list(zip(*columns, strict=True)) if columns else None


def join(frames: Sequence[tuple[str, Frame]]) -> Iterator[Chunk]:
    """Chunks of whole records. frames: where each frame stands ("sheet Links, "), and the frame."""
    axes = [f for _, f in frames if f.table.rows == "axes"]
    rows = [(w, f) for w, f in frames if f.table.rows != "axes"]
    names = key_names([f.table for _, f in rows])
    # Tables of links come first: they say which records there are.
    rows.sort(key=lambda wf: wf[1].table.rows != "links")
    of: dict[Key, int] = {}
    places: list[str] = []
    problems: dict[int, Problem] = {}
    placed: list[Frame] = []
    several = len(rows) > 1
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
                at = of.get(key)
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
        order = np.argsort(record, kind="stable")
        moved = replace(frame, record=record, noun=f"{where}{frame.noun}")
        placed.append(moved.only(order) if (order[1:] < order[:-1]).any() else moved)
    yield from _cut(places, placed, axes, problems)


def _place(where: str, frame: Frame, row: int) -> str:
    return f"{where}{frame.noun} {frame.place[row]}" if frame.place is not None and frame.rows else f"{where}table"


def _cut(places: list[str], frames: list[Frame], axes: list[Frame], problems: dict[int, Problem]) -> Iterator[Chunk]:
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
                part.append(replace(frame, columns=columns, record=frame.record[low:high] - at, place=place))
        some = {k - at: p for k, p in problems.items() if at <= k < end}
        here = list(part)
        yield Chunk(places[at:end], [*part, *(axes if at == 0 else [])], lambda i, f=here: _text(f, i), 0, some)  # type: ignore[misc]
        at = end


def _text(frames: list[Frame], record: int) -> str:
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


def _sliced(frame: Frame, low: Any, high: Any) -> list[Any]:
    return [c.slice(low, high - low) for c in frame.columns.values()]
