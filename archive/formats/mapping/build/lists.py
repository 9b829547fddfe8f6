"""Curves that stand in one cell: lists of numbers as text, as encoded arrays, or as lists already."""

from __future__ import annotations

import base64
import binascii
import os
import re
import zlib
from concurrent.futures import ThreadPoolExecutor
from itertools import takewhile
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.base import numbers, units
from archive.formats.mapping.build.axes import Axes
from archive.formats.mapping.build.bulk import Bulk, bulk
from archive.formats.mapping.build.keys import Keys
from archive.formats.mapping.build.qualify import origins, qualifiers, turned
from archive.formats.mapping.build.steps import curve_steps
from archive.formats.mapping.build.table_parts import TableParts
from archive.formats.mapping.model import Mapping, SourceField
from archive.formats.mapping.row_frame import Problem, Problems, RowFrame
from archive.formats.mapping.target import Target

_TYPES = {"float32": "f4", "float64": "f8", "int16": "i2", "int32": "i4"}
MOST_BYTES = 1 << 26
"""Bytes that one encoded array may unpack to."""


def numbers_in(cell: str, f: SourceField, writing: numbers.Writing) -> tuple[Any, Any]:
    """The numbers of a cell (float64, NaN for a point that is missing) and their bounds (int8).

    f.encoding: words joined by hyphens: base64 or hex, zlib, the type (float32, float64, int16, int32; int16/100 for
    whole numbers that count hundredths), le or be; or "pairs": frequency and value in turn. Errors: ValueError with
    what was found.
    """
    if f.encoding and f.encoding != "pairs":
        values = decoded(cell, f.encoding)
        return values, np.zeros(len(values), dtype=np.int8)
    text = cell.strip()
    if f.encoding == "pairs":
        if writing.decimal == ",":
            text = re.sub(r"(?<=\d),(?=\d)", ".", text)
        values = np.array(re.findall(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?", text), dtype=np.float64)
        return values, np.zeros(len(values), dtype=np.int8)
    if writing.decimal == ",":
        text = text.replace(",", ".")
    parts = text.split(f.separator) if f.separator.strip() else None
    if parts is None and re.fullmatch(r"[\d\s.eE+-]*", text):
        values = np.array(text.split(), dtype=np.float64) if text else np.zeros(0)
        return values, np.zeros(len(values), dtype=np.int8)
    parts = text.split() if parts is None else parts
    if parts and not parts[-1].strip():
        parts.pop()
    values, bound = np.full(len(parts), np.nan), np.zeros(len(parts), dtype=np.int8)
    for i, part in enumerate(parts):
        if part.strip().casefold() in writing.empty or not part.strip():
            continue
        one = numbers.cell_number(part)
        if one is None:
            raise ValueError(f"{part.strip()[:40]!r} as number {i + 1} of {len(parts)}")
        values[i], bound[i] = one[0], one[1]
    return values, bound


def decoded(cell: str, encoding: str) -> Any:
    """Numbers of an encoded array (float64). Errors: ValueError."""
    said = encoding.replace("-", " ").split()
    try:
        compact = "".join(cell.split())
        data = bytes.fromhex(compact) if "hex" in said else base64.b64decode(compact, validate=True)
        if "zlib" in said:
            machine = zlib.decompressobj()
            data = machine.decompress(data, MOST_BYTES)
            if machine.unconsumed_tail:
                raise ValueError(f"an array that unpacks to more than {MOST_BYTES} bytes")
    except (binascii.Error, ValueError, zlib.error) as error:
        raise ValueError(f"no {encoding}: {error}") from None
    names = [w.partition("/") for w in said]
    kind = next((_TYPES[w] for w, _, _ in names if w in _TYPES), "f8")
    order = ">" if "be" in said else "<"
    if len(data) % int(kind[1]):
        raise ValueError(f"{len(data)} bytes, no whole number of {kind}")
    values = np.frombuffer(data, dtype=order + kind).astype(np.float64)
    if kind == "f4":
        # A float32 that stands for a short decimal becomes that decimal.
        values = np.array([float(f"{v:.7g}") for v in values.tolist()])
    scale = next((float(n) for w, _, n in names if w in _TYPES and n), 1.0)
    return values / scale if scale != 1 else values


def encoding_fault(encoding: str) -> str:
    """What is wrong with the words of an encoding, "" where nothing is."""
    if encoding == "pairs":
        return ""
    said = encoding.replace("-", " ").split()
    kinds = [w.partition("/")[0] for w in said if w.partition("/")[0] in _TYPES]
    texts = [w for w in said if w in ("base64", "hex")]
    known = {"base64", "hex", "zlib", "le", "be"}
    odd = [w for w in said if w not in known and w.partition("/")[0] not in _TYPES]
    scale = [w for w in said if "/" in w and not re.fullmatch(r"\w+/\d+(?:\.\d+)?", w)]
    if odd or scale:
        return f"{(odd or scale)[0]!r} in {encoding!r}"
    return "" if len(texts) == 1 and len(kinds) == 1 else f"{encoding!r}: one of base64 and hex, and one type"


def _is_list(f: SourceField) -> bool:
    """Whether each cell of a field is a whole curve, and not one point of it."""
    return f.to.table == "sweeps" and not f.to.frequency


_FEW = 20
"""Rows of a frame that are not worth a thread."""


class Lists:
    """Puts curves that stand in cells into pieces."""

    def __init__(
        self, mapping: Mapping, writing: numbers.Writing, pieces: TableParts, problems: Problems, axes: Axes
    ) -> None:
        self._mapping, self._writing, self._pieces = mapping, writing, pieces
        self._problems, self._axes = problems, axes
        self._bulks: dict[tuple[int, str], tuple[Any, Bulk | None]] = {}
        self._read: dict[tuple[str, str], Any] = {}

    def cells(self, frame: RowFrame, keys: Keys, shared: dict[tuple[int, str], Any]) -> None:
        """Every field whose cells are whole curves. shared: axes by record (-1: all) and name ("" where unnamed)."""
        self._ahead(frame)
        self._spread(frame, keys)
        for f in frame.table.fields:
            if f.source not in frame.columns or f.to.frequency:
                continue
            if f.to.table == "sweeps":
                self._field(frame, keys, f, f.to.name, None, shared)
            elif f.to.table == "row" and f.to.name in ("values", "limit", "margin") and frame.table.rows == "curves":
                if frame.table.given.parameter:
                    self._field(frame, keys, f, frame.table.given.parameter, None, shared)
                    continue
                words = keys.words.get("parameter")
                for parameter in dict.fromkeys(words.drop_null().to_pylist()) if words is not None else ():
                    which = np.asarray(pc.fill_null(pc.equal(words, parameter), False))
                    self._field(frame, keys, f, parameter, which, shared)

    def _spread(self, frame: RowFrame, keys: Keys) -> None:
        """Curves of which each point has a column of its own, such as "NEXT 12-36 @ 100 MHz"."""
        curves: dict[Target, list[tuple[float, SourceField]]] = {}
        for f in frame.table.fields:
            if f.to.table == "sweeps" and f.to.frequency and f.source in frame.columns:
                curves.setdefault(f.to.at(frequency=""), []).append((float(f.to.frequency), f))
        for to, points in curves.items():
            points.sort(key=lambda p: p[0])
            said, own = to.origin, vocabulary.parameter(to.name).unit
            read = []
            for _, f in points:
                unit = units.find(f.unit) if f.unit else None
                turn = turned(f, self._mapping, to.name, said)
                read.append(numbers.read(frame.columns[f.source], self._writing, unit, turn, step=False))
                self._problems.cells(frame, f.source, read[-1].bad, f"a number ({own})", "correct the cell")
            values, bounds = (np.column_stack([getattr(r, x) for r in read]) for x in ("values", "bound"))
            at = np.flatnonzero(~np.isnan(values).all(axis=1) & ~keys.lost)
            if len(at):
                stops = np.arange(1, len(at) + 1) * len(points)
                axis = [self._axes.id(np.array([mhz for mhz, _ in points]))] * len(at)
                listed = list(bounds[at]) if bounds.any() else None
                self._put(frame, keys, points[0][1], to.name, said, at, values[at].reshape(-1), stops, listed, axis)

    def _field(
        self, frame: RowFrame, keys: Keys, f: SourceField, parameter: str, which: Any, shared: dict[Any, Any]
    ) -> None:
        cells = frame.columns[f.source]
        there = np.asarray(cells.is_valid()) & ~keys.lost
        at = np.flatnonzero(there if which is None else there & which)
        said = f.to.origin or (f.to.name if f.to.table == "row" and f.to.name in ("limit", "margin") else "")
        own = vocabulary.parameter(parameter).unit
        unit = units.find(f.unit) if f.unit else None
        unit = unit if unit and unit.dimension == units.dimension(own) else units.for_parameter("", parameter)
        sign = -1.0 if turned(f, self._mapping, parameter, said) else 1.0
        whole = self._bulk(frame, f, cells)
        mhz = self._same_axis(frame, at) if whole is not None and len(at) else None
        if whole is not None and mhz is not None and (np.diff(mhz) > 0).all():
            flat = whole.curves(at, len(mhz))
            if flat is not None and len(flat):
                filled = np.ones(len(at), dtype=bool)
                if not whole.whole:
                    filled = ~np.isnan(flat.reshape(len(at), len(mhz))).all(axis=1)
                    flat = flat if filled.all() else flat.reshape(len(at), len(mhz))[filled].reshape(-1)
                at = at[filled]
                if len(at):
                    stops = np.arange(1, len(at) + 1) * len(mhz)
                    axes = [self._axes.id(mhz)] * len(at)
                    flat = sign * unit.ours(flat) + 0.0
                    self._put(frame, keys, f, parameter, said, at, flat, stops, None, axes)
                return
        rows, values, bounds, axis = [], [], [], []
        for i in at.tolist():
            try:
                v, b, mhz = self._one(frame, f, i, cells, shared, whole)
            except ValueError as error:
                self._aside(frame, f, i, str(error), "a list of numbers")
                continue
            if mhz is None:
                self._aside(frame, f, i, f"{len(v)} values", "an axis: frequencies, or start and step")
            elif len(v) != len(mhz):
                self._aside(frame, f, i, f"{len(v)} values", f"{len(mhz)} values, one for each frequency")
            elif not (np.diff(mhz) > 0).all():
                self._aside(frame, f, i, "frequencies that do not rise", "rising frequencies")
            elif np.isinf(v).any():
                self._aside(frame, f, i, "an infinite value", "numbers")
            elif not np.isnan(v).all():
                rows.append(i)
                values.append(sign * unit.ours(v) + 0.0)
                bounds.append(b * int(sign))
                axis.append(self._axes.id(mhz))
        if rows:
            stops = np.cumsum([len(v) for v in values])
            self._put(frame, keys, f, parameter, said, np.array(rows), np.concatenate(values), stops, bounds, axis)

    def _ahead(self, frame: RowFrame) -> None:
        """Turns the columns of texts of a frame to numbers side by side: Arrow lets go of Python's lock."""
        fields = {f.source: f for f in frame.table.fields if _is_list(f) and f.source in frame.columns}
        if len(fields) < 2 or frame.rows < _FEW:
            return
        with ThreadPoolExecutor(min(len(fields), os.cpu_count() or 1)) as pool:
            made = pool.map(lambda f: bulk(frame.columns[f.source], f, self._writing), fields.values())
            self._bulks = {(id(frame), n): (frame, b) for n, b in zip(fields, made, strict=True)}

    def _bulk(self, frame: RowFrame, f: SourceField, cells: Any) -> Bulk | None:
        """The numbers of a whole column, made once however many parameters its rows name."""
        key = (id(frame), f.source)
        if key not in self._bulks:
            self._bulks = {key: (frame, bulk(cells, f, self._writing))}
        return self._bulks[key][1]

    def _same_axis(self, frame: RowFrame, at: Any) -> Any:
        """The axis (MHz) where some rows plainly have one and the same: from the headings, or from equal cells."""
        if frame.axis is not None:
            return frame.axis
        listed = [f for f in frame.table.fields if f.to.table == "row" and f.to.name == "frequencies"]
        if len(listed) != 1 or listed[0].source not in frame.columns:
            return None
        cells = frame.columns[listed[0].source]
        if not pa.types.is_string(cells.type) or cells[int(at[0])].as_py() is None:
            return None
        some = cells if len(at) == len(cells) else cells.take(pa.array(at))
        if not pc.all(pc.fill_null(pc.equal(some, some[0]), False)).as_py():
            return None
        try:
            return self._axis_in(some[0].as_py(), listed[0])
        except ValueError:
            return None

    def _axis_in(self, cell: Any, f: SourceField) -> Any:
        """The axis that a cell holds; a text that came before is not read again. Errors: ValueError."""
        if not isinstance(cell, str):
            return axis_values(cell, f, self._writing)
        found = self._read.get((f.source, cell))
        if found is None:
            if len(self._read) > 64:
                self._read.clear()
            found = self._read[(f.source, cell)] = axis_values(cell, f, self._writing)
        return found

    def _put(
        self,
        frame: RowFrame,
        keys: Keys,
        f: SourceField,
        parameter: str,
        said: str,
        rows: Any,
        flat: Any,
        stops: Any,
        bounds: list[Any] | None,
        axis: list[str],
    ) -> None:
        """Curves of some rows: their values one after the other, where each ends, bounds of each (None: no curve has
        any), and the id of each one's axis."""
        starts = np.append(0, stops[:-1])
        taken = qualifiers(f, frame.table, keys, parameter).taken(pa.array(rows))
        missing = np.isnan(flat)
        lists = pa.ListArray.from_arrays(
            pa.array(np.append(starts, stops[-1]).astype(np.int32)),
            pa.array(flat, mask=missing) if missing.any() else pa.array(flat),
        )
        both: list[Any] = [None, None]
        if bounds is not None:
            listed = [[np.flatnonzero(b == s).tolist() or None for b in bounds] for s in (1, -1)]
            both = [pa.array(x, type=pa.list_(pa.int64())) for x in listed]
        self._pieces.add(
            "sweeps",
            frame.record[rows],
            parameter=parameter,
            end=taken.end,
            pairing=taken.pairing if taken.pairing is not None else taken.subject,
            direction=taken.direction,
            wavelength_nm=taken.wavelength,
            origin=origins(parameter, said, keys, pa.array(rows)),
            axis_id=pa.array(axis, type=pa.string()),
            values=lists,
            above=both[0],
            below=both[1],
            step=curve_steps(flat, starts, stops),
        )

    def _one(
        self, frame: RowFrame, f: SourceField, i: int, cells: Any, shared: dict[Any, Any], whole: Bulk | None
    ) -> tuple[Any, Any, Any]:
        """Values, bounds and axis (MHz, None where there is none) of one cell. whole: the numbers of its column."""
        if whole is not None:
            v = whole.of(i)
            return v, np.zeros(len(v), dtype=np.int8), self._axis(frame, f, i, len(v), shared)
        cell = cells[i].as_py()
        if isinstance(cell, str):
            v, b = numbers_in(cell, f, self._writing)
        else:
            # A number where the others have lists is a list of one.
            listed = cell if isinstance(cell, list) else [cell]
            v = np.array([np.nan if x is None else x for x in listed], dtype=np.float64)
            b = np.zeros(len(v), dtype=np.int8)
        if f.encoding == "pairs":
            unit = units.for_unit(frame.table.frequency_unit, "MHz", "frequency")
            return v[1::2], b[1::2], unit.ours(v[0::2])
        return v, b, self._axis(frame, f, i, len(v), shared)

    def _axis(self, frame: RowFrame, f: SourceField, i: int, n: int, shared: dict[Any, Any]) -> Any:
        said = frame.axis
        if said is not None:
            return said
        record = int(frame.record[i])
        named = frame.table.find("axis")
        name = frame.columns[named.source][i].as_py() if named and named.source in frame.columns else ""
        listed = [x for x in frame.table.fields if x.to.table == "row" and x.to.name == "frequencies"]
        listed = [x for x in listed if x.source in frame.columns and frame.columns[x.source][i].as_py() is not None]
        if listed:
            near = max(listed, key=lambda x: alike(x.source, f.source))
            return self._axis_in(frame.columns[near.source][i].as_py(), near)
        regular = self._regular(frame, i, n)
        if regular is not None:
            return regular
        for key in ((record, name or ""), (-1, name or "")):
            if name and key in shared:
                return shared[key]
        own = [k for k in shared if k[0] == record] or [k for k in shared if k[0] == -1]
        if not own or name:
            return None
        # Of several axes the one whose name begins most like that of the curve.
        return shared[max(own, key=lambda k: alike(k[1], f.source))]

    def _regular(self, frame: RowFrame, i: int, n: int) -> Any:
        """Axis from start and step, or from start and stop."""
        said: dict[str, float] = {}
        for name in ("start", "stop", "step"):
            f = frame.table.find(name)
            if f and f.source in frame.columns and frame.columns[f.source][i].as_py() is not None:
                cells = frame.columns[f.source].slice(i, 1)
                one = numbers.read(cells, self._writing, units.for_unit(f.unit, "MHz", name))
                said[name] = float(one.values[0])
        if "start" in said and "step" in said:
            return np.round(said["start"] + said["step"] * np.arange(n), 9)
        if "start" in said and "stop" in said and n > 1:
            return np.round(np.linspace(said["start"], said["stop"], n), 9)
        return None

    def _aside(self, frame: RowFrame, f: SourceField, i: int, found: str, expected: str) -> None:
        place = f.source if frame.place is None else f"{frame.noun} {frame.place[i]}, {f.source}"
        remedy = "export the link again and read that file"
        self._problems.add(int(frame.record[i]), Problem(place, "a curve that cannot be read", found, expected, remedy))


def axis_values(cell: Any, f: SourceField, writing: numbers.Writing) -> Any:
    """Frequencies in MHz of a cell that holds a whole axis. Errors: ValueError."""
    unit = units.for_unit(f.unit, "MHz", "frequency")
    values = (
        numbers_in(cell, f, writing)[0] if isinstance(cell, str) else np.atleast_1d(np.array(cell, dtype=np.float64))
    )
    return unit.ours(values)


def alike(one: str, other: str) -> int:
    """Characters with which two names both begin."""
    return sum(1 for _ in takewhile(lambda both: both[0] == both[1], zip(one, other, strict=False)))
