"""Gathers elements until they are a batch."""

from __future__ import annotations

from typing import Any

from archive.formats.open_xml.rows import ElementFault, Row, cell, row, table, unfinite
from archive.formats.points import PointLists, count, even
from archive.formats.seen_ids import NOT_THERE, SeenIds
from archive.formats.shared_rows import SharedRows
from archive.tables import MOST_BYTES, MOST_RECORDS, Batch, tables
from archive.tables.sound import axis_fault

_FEW, _SOME, _MANY = 50, 2_000, 200_000
"""Rows held as text: of axes, of other shared tables, of statements."""

_SHARED = [t.name for t in tables().values() if t.level == "shared"]
_INSIDE = {t.row: t.name for t in tables().values() if t.level == "record" and t.name != "records"}


class Gather:
    """Rows by table, and the curves apart as numbers."""

    def __init__(self) -> None:
        self._shared = SharedRows()
        self._axes: dict[str, int] = {}
        self._bad_axes: dict[str, str] = {}
        self._seen = SeenIds()
        self._sources: set[str] = set()
        self._clear()

    def _clear(self) -> None:
        self._rows: dict[str, list[Row]] = {name: [] for name in tables()}
        self._points = PointLists()
        self._statements = 0
        self.records = 0
        self.bytes = 0

    @property
    def anything(self) -> bool:
        """Whether there is something to take."""
        return self._shared.left or any(self._rows.values())

    @property
    def full(self) -> bool:
        """Whether it is time to take a batch, before another record comes."""
        return self.records >= MOST_RECORDS or self.bytes >= MOST_BYTES

    @property
    def crowded(self) -> bool:
        """Whether statements without end have come, without a record among them."""
        return self._statements >= _MANY

    def add(self, name: str, element: Any) -> None:
        """One element under the root. Errors: ElementFault where it is to be set aside; then nothing of it is kept."""
        if name == "records":
            self._add_record(element)
            return
        cells = row(name, element)
        if name == "axes":
            self._add_axis(cells)
        self._rows[name].append(cells)
        if name not in _SHARED:
            self._statements += 1
        elif len(self._rows[name]) >= (_FEW if name == "axes" else _SOME):
            self._shelve(name)

    def aside(self, statement: Row, source: Row) -> None:
        """A row of set_aside, and of the file it stands in."""
        if source["source_id"] not in self._sources:
            self._sources.add(source["source_id"])
            self._rows["sources"].append({k: None if v is None else str(v) for k, v in source.items()})
        self._rows["set_aside"].append(statement)

    def take(self) -> Batch:
        """What was gathered, as a batch; the gatherer is empty again but remembers the shared rows."""
        for name in _SHARED:
            self._shelve(name)
        values = self._points.take()
        built: dict[str, Any] = {}
        for name, rows in self._rows.items():
            if rows:
                built[name] = table(name, rows, {"values": values} if name == "sweeps" else None)
        self._clear()
        return Batch({**built, **self._shared.take(built)})

    def _shelve(self, name: str) -> None:
        if self._rows[name]:
            self._shared.add(name, table(name, self._rows[name]))
            self._rows[name] = []

    def _add_axis(self, cells: Row) -> None:
        for key in ("frequencies_mhz", "distances_km"):
            if cells.get(key) is not None:
                cells[key] = even(cells[key])
                if bad := unfinite(cells[key]):
                    self._bad_axes[cells["axis_id"]] = f"axis {cells['axis_id'][:12]} holds {bad}"
                    raise ElementFault(self._bad_axes[cells["axis_id"]], bad, "finite numbers")
        listed = table("axes", [cells])
        if fault := axis_fault(listed, 0):
            self._bad_axes[cells["axis_id"]] = fault
            raise ElementFault(fault)
        points = (listed.column(k)[0] for k in ("frequencies_mhz", "distances_km"))
        self._axes[cells["axis_id"]] = sum(len(p.values) for p in points if p.is_valid)

    def _add_record(self, element: Any) -> None:
        record = row("records", element)
        name = record["record_id"]
        if self._seen.get(name) != NOT_THERE:
            raise ElementFault("a record with this id stands before it in the document", name, "each id once")
        inside: list[tuple[str, Row]] = []
        texts: list[str] = []
        for child in element:
            if not isinstance(child.tag, str):
                continue
            where = _INSIDE[child.tag.rpartition("}")[2]]
            cells = row(where, child)
            cells["record_id"] = name
            if where == "sweeps":
                texts.append(self._sweep(cells))
            inside.append((where, cells))
        if record.get("tested_at"):
            cell("records", "tested_at", record["tested_at"])  # the schema lets 24:00:00 through, no table takes it
        self._seen.put(name, 0)
        self.records += 1
        self._rows["records"].append(record)
        for where, cells in inside:
            self._rows[where].append(cells)
        for text in texts:
            self._points.add(text)

    def _sweep(self, cells: Row) -> str:
        """The text of a sweep that fits its axis. Errors: ElementFault."""
        text = even(cells.pop("values"))
        axis = cells["axis_id"]
        points = self._axes.get(axis)
        if bad := unfinite(text):
            raise ElementFault(f"sweep {_named(cells)} holds {bad}", bad, "finite numbers, or - for a missing point")
        if points is None:
            raise self._no_axis(cells, axis)
        if count(text) != points:
            found = f"{count(text)} values"
            raise ElementFault(
                f"sweep {_named(cells)} has {found} for {points} points of its axis", found, f"{points} values"
            )
        self.bytes += 8 * points
        for key in ("above", "below"):
            if key in cells:
                _indices(cells, key, points)
        return text

    def _no_axis(self, cells: Row, axis: str) -> ElementFault:
        if axis in self._bad_axes:
            return ElementFault(f"sweep {_named(cells)} cannot be used: {self._bad_axes[axis]}", axis)
        expected = "the id of an axis above it"
        return ElementFault(f"sweep {_named(cells)} names an axis that does not stand before it", axis, expected)


def _indices(cells: Row, key: str, points: int) -> None:
    for index in cells[key].split():
        if not 0 <= int(index) < points:
            raise ElementFault(f"sweep {_named(cells)}: {key} names point {index}", index, f"0 to {points - 1}")


def _named(cells: Row) -> str:
    return " ".join(cells[k] for k in ("parameter", "end", "pairing") if cells.get(k))
