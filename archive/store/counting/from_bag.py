"""What counting takes from a bag: the units, the point of the worst margin, and what each parameter came to."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.store.archive import Archive
from archive.store.counting import columns
from archive.store.counting.from_instrument import BlockRecords, said_by_instrument
from archive.store.parquet import BagTables, options
from archive.tables.arrow import coded

FACTS = columns.FROM_BAG
ASKED = ("position", "row", "limit_id", "evidence", "local_serial", "remote_serial")
"""Columns of the catalogue that of_bag asks for."""
_POINT = ("pairing", "end", "frequency_mhz")
_GRADES = (
    "position",
    "limit_id",
    "parameter",
    "kind",
    "verdict",
    "margin",
    "provisional",
    "end",
    "pairing",
    "direction",
    "wavelength_nm",
    "frequency_mhz",
)
_GRAVER = np.array([1, 0, 2])
"""How grave each code of columns.GRADED is: not graded, pass, fail."""
_ROWS = 1 << 20
"""Grades looked at together; a fully swept record has some 250."""


class Bags:
    """The bags of an archive by deposit, looked up once; the ledger is not asked again for each."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive

    def deposits(self) -> list[str]:
        """All deposits, in the order in which they came."""
        return [str(r[0]) for r in self._archive.db.execute("SELECT deposit FROM deposits ORDER BY number")]

    def tables(self, deposit: str) -> BagTables:
        """Tables of a deposit; of a redacted one, what replaced it."""
        return self._archive.tables_as_known(deposit)


def of_bag(tables: BagTables, bags: Any, made: dict[str, list[Any]], places: Any, *, units_alone: bool = False) -> None:
    """Adds what one bag holds of some records. places: their places in the block, ndarray; bags: build_block._FromBags.

    Errors: Trouble where a file of the bag is damaged.
    """
    _units(tables, bags, made, places)
    if units_alone:
        return
    positions = np.array([made["position"][i] for i in places.tolist()])
    low, high = int(positions[0]), int(positions[-1])
    _points(tables, bags, places, low, high)
    rows = np.array(made["row"])[places]
    if tables.has("grades"):
        limits = [made["limit_id"][i] for i in places.tolist()]
        _grades(tables, bags, rows, places, low, limits)
    if tables.has("reported"):
        swept = np.array([made["evidence"][i] == "full-sweep" for i in places.tolist()])
        said_by_instrument(tables, bags, BlockRecords(low, rows, places, swept))


def _units(tables: BagTables, bags: Any, made: dict[str, list[Any]], places: Any) -> None:
    units = {u["serial"]: u for u in tables.table("instruments").to_pylist() if u["serial"] is not None}
    nothing: dict[str, Any] = {}
    for i in places.tolist():
        here = units.get(made["local_serial"][i], nothing)
        for name in columns.OF_UNIT:
            bags.facts[name][i] = here.get(name)
        bags.facts["remote_model"][i] = units.get(made["remote_serial"][i], nothing).get("model")


def _points(tables: BagTables, bags: Any, places: Any, low: int, high: int) -> None:
    """Where the worst margin lies, from the deposit's index."""
    path, file = tables.index, tables.opened(tables.index)
    groups = options.groups_holding(file, "position", low, high)
    found = options.read_groups(path, groups, ["position", *_POINT], file)
    at = found["position"]
    found = found.filter(pc.and_(pc.greater_equal(at, low), pc.less_equal(at, high)))
    for name in _POINT:
        for i, value in zip(places.tolist(), found[name].to_pylist(), strict=True):
            bags.facts[name][i] = value


def _grades(tables: BagTables, bags: Any, rows: Any, places: Any, low: int, limits: list[str | None]) -> None:
    """What each parameter came to, against the limit that the record's verdict names."""
    path, file = tables.path("grades"), tables.file("grades")
    named = pa.array(limits, pa.string())
    high = low + len(places) - 1
    groups: list[int] = []
    pending = 0
    listed = options.groups_holding(file, "position", low, high)
    for n, group in enumerate(listed):
        groups.append(group)
        pending += file.metadata.row_group(group).num_rows
        if pending < _ROWS and n + 1 < len(listed):
            continue
        found = options.read_groups(path, groups, list(_GRADES), file)
        at = found["position"]
        found = found.filter(pc.and_(pc.greater_equal(at, low), pc.less_equal(at, high)))
        place = pc.subtract(found["position"], low)
        found = found.filter(pc.equal(found["limit_id"], named.take(place)))
        _overall(found, bags, places, low)
        _by_wavelength(found, bags, places, low)
        bags.fail(_failed(found, rows, low))
        groups, pending = [], 0


def _overall(found: Any, bags: Any, places: Any, low: int) -> None:
    overall = found.filter(pc.equal(found["kind"], "overall"))
    words = pa.array(list(columns.GRADED))
    codes = pc.index_in(overall["verdict"], value_set=words).to_numpy().astype(np.int8)
    codes = codes + columns.PROVISIONAL * pc.fill_null(overall["provisional"], False).to_numpy().astype(np.int8)
    margins = overall["margin"].to_numpy().astype(np.float32)
    at = places[overall["position"].to_numpy() - low]
    names, which = coded(overall["parameter"])
    for number, name in enumerate(names):
        here = which == number
        bags.put(name, at[here], margins[here], codes[here])


def _by_wavelength(found: Any, bags: Any, places: Any, low: int) -> None:
    """Losses of fibers at each wavelength by itself: a fail of any is one, then what was not graded; the smallest
    margin."""
    some = found.filter(pc.and_(pc.equal(found["parameter"], "optical_loss"), pc.equal(found["kind"], "worst_margin")))
    some = some.filter(pc.is_valid(some["wavelength_nm"]))
    if not some.num_rows:
        return
    words = pa.array(list(columns.GRADED))
    codes = pc.index_in(some["verdict"], value_set=words).to_numpy().astype(np.int8)
    shaky = pc.fill_null(some["provisional"], False).to_numpy()
    margins = pc.fill_null(some["margin"], np.nan).to_numpy().astype(np.float32)
    at = places[some["position"].to_numpy() - low]
    waves = some["wavelength_nm"].to_numpy()
    for nm in np.unique(waves):
        name = columns.at_wavelength(float(nm))
        if name not in columns.counted_parameters():
            continue
        here = waves == nm
        each, back = np.unique(at[here], return_inverse=True)
        rank = np.zeros(len(each), np.int8)
        np.maximum.at(rank, back, _GRAVER[codes[here]])
        code = _GRAVER.argsort()[rank]
        worst = np.full(len(each), np.inf, np.float32)
        np.fmin.at(worst, back, margins[here])
        doubt = np.zeros(len(each), np.bool_)
        np.logical_or.at(doubt, back, shaky[here])
        bags.put(
            name,
            each,
            np.where(np.isfinite(worst), worst, np.nan),
            (code + columns.PROVISIONAL * doubt).astype(np.int8),
        )


def _failed(found: Any, rows: Any, low: int) -> Any:
    failed = found.filter(pc.and_(pc.equal(found["kind"], "worst_margin"), pc.equal(found["verdict"], "fail")))
    taken = pa.array(rows.astype(np.int32)).take(pc.subtract(failed["position"], low))
    told = {"row": taken, "told_by": pa.array(["program"] * failed.num_rows, pa.string())}
    wanted = columns.failures()
    return pa.table([told[f.name] if f.name in told else failed[f.name] for f in wanted], schema=wanted)
