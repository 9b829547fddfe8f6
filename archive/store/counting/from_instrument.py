"""What counting takes from a bag of the instrument's own verdicts on parameters, where this program has no grade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.store.counting import columns
from archive.store.parquet import BagTables, options
from archive.tables.arrow import coded

_POINT = ("end", "pairing", "direction", "wavelength_nm", "frequency_mhz")
_SAID = ("position", "parameter", "kind", "verdict", "margin", *_POINT)


@dataclass(frozen=True)
class BlockRecords:
    """Records of one bag that lie in a block. low: position of the first in the bag, the others follow it; rows: (n,),
    their rows; places: (n,), their places in the block; swept: (n,), whether whole curves came along."""

    low: int
    rows: Any
    places: Any
    swept: Any


def said_by_instrument(tables: BagTables, bags: Any, of: BlockRecords) -> None:
    """Adds what instruments said of each parameter: codes of columns.REPORTED, and failures.

    What this program could not grade of a full sweep stays not graded. bags: build_block._FromBags.
    """
    high = of.low + len(of.places) - 1
    file = tables.file("reported")
    groups = options.groups_holding(file, "position", of.low, high)
    found = options.read_groups(tables.path("reported"), groups, list(_SAID), file)
    at = found["position"]
    inside = pc.and_(pc.greater_equal(at, of.low), pc.less_equal(at, high))
    found = found.filter(pc.and_(inside, pc.is_in(found["verdict"], value_set=pa.array(["pass", "fail"]))))
    if not found.num_rows:
        return
    record = found["position"].to_numpy() - of.low
    fails = pc.equal(found["verdict"], "fail").to_numpy()
    margin = pc.fill_null(found["margin"], np.nan).to_numpy().astype(np.float32)
    names, which = coded(found["parameter"])
    instead = np.zeros(found.num_rows, np.bool_)
    for number, name in enumerate(names):
        rows = np.flatnonzero(which == number)
        known = bags.graded[name][of.places[record[rows]]] if name in bags.graded else np.full(len(rows), -1)
        free = (known < 0) | ((known % columns.PROVISIONAL == 0) & ~of.swept[record[rows]])
        rows = rows[free]
        instead[rows] = True
        if len(rows):
            _fill(bags, name, of.places[record[rows]], fails[rows], margin[rows])
    fails &= _most_precise(found, record, which)
    some = found.filter(pa.array(fails))
    given = {
        "row": pa.array(of.rows[record[fails]].astype(np.int32)),
        "provisional": pa.array([False] * some.num_rows, pa.bool_()),
        "told_by": pa.array(np.where(instead, "instrument", "instrument too")[fails].tolist(), pa.string()),
    }
    wanted = columns.failures()
    bags.fail(pa.table([given[f.name] if f.name in given else some[f.name] for f in wanted], schema=wanted))


def _fill(bags: Any, name: str, places: Any, fails: Any, margin: Any) -> None:
    """Code and smallest margin of each record at one parameter; a margin that this program worked out stays."""
    each, back = np.unique(places, return_inverse=True)
    worst = np.full(len(each), np.inf, np.float32)
    np.fmin.at(worst, back, margin)
    own = bags.margins[name][each] if name in bags.margins else np.full(len(each), np.nan, np.float32)
    worst = np.where(np.isnan(own), np.where(np.isfinite(worst), worst, np.nan), own)
    failed = np.bincount(back, fails) > 0
    code = np.where(failed, columns.GRADED["fail"], columns.GRADED["pass"]) + columns.REPORTED
    bags.put(name, each, worst, code.astype(np.int8))


def _most_precise(found: Any, record: Any, which: Any) -> Any:
    """Which rows say most of a parameter of a record: its points with the worst margin, else others, else the whole."""
    kinds = pc.index_in(found["kind"], value_set=pa.array(["worst_margin", "worst_value", "overall"]))
    rank = pc.fill_null(kinds, 3).to_numpy()
    one = record.astype(np.int64) * (int(which.max()) + 1) + which
    _, back = np.unique(one, return_inverse=True)
    best = np.full(int(back.max()) + 1, 9)
    np.minimum.at(best, back, rank)
    return rank == best[back]
