"""The wire map: a link whose conductors do not arrive where they should fails, whatever its curves say."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables import Batch
from archive.tables.arrow import rows_of


def faults(batch: Batch, pairs: tuple[str, ...] = ()) -> dict[int, str]:
    """What is wrong with the wire map, by record (its place in the batch).

    A contact must arrive at the same contact of the far end. The screen counts where the source calls it a fault.
    pairs: those whose contacts count; empty for all.
    """
    table = batch["wiremap"]
    if not table.num_rows:
        return {}
    near, far, fault = (table.column(name) for name in ("near", "far", "fault"))
    elsewhere = pc.fill_null(pc.not_equal(near, far), True)
    wrong = pc.or_(pc.is_valid(fault), pc.and_(elsewhere, pc.not_equal(near, "S")))
    counted = pa.array([c for pair in pairs for c in pair.split("-")], pa.string()) if pairs else None
    if counted is not None:
        wrong = pc.and_(wrong, pc.is_in(near, value_set=counted))
    rows = np.flatnonzero(wrong.to_numpy())
    record = rows_of(table.column("record_id"), batch["records"].column("record_id"))
    found: dict[int, list[str]] = {}
    columns = zip(*(c.take(pa.array(rows)).to_pylist() for c in (near, far, fault)), strict=True)
    for row, (contact, arrives, called) in zip(rows.tolist(), columns, strict=True):
        what = called or ("open" if arrives is None else f"arrives at {arrives}")
        found.setdefault(int(record[row]), []).append(f"{contact} {what}")
    return {r: f"wire map: {', '.join(texts)}" for r, texts in found.items() if r >= 0}
