"""Every invented layout by its name."""

from __future__ import annotations

from collections.abc import Callable

from . import blocks, books, delimited_rows, trees
from .delimited_rows import Made

LAYOUTS: dict[str, Callable[[], Made]] = {
    "whimbrel-rows": delimited_rows.whimbrel_rows,
    "fenwick-readings": delimited_rows.fenwick_readings,
    "bramble-points": delimited_rows.bramble_points,
    "godwit-matrix": delimited_rows.godwit_matrix,
    "knot-columns": delimited_rows.knot_columns,
    "redshank-margins": delimited_rows.redshank_margins,
    "avocet-fiber": delimited_rows.avocet_fiber,
    "osprey-blocks": blocks.osprey_blocks,
    "tidewater-beside": blocks.tidewater_beside,
    "heron-report": blocks.heron_report,
    "wren-labels": blocks.wren_labels,
    "marlow-workbook": books.marlow_workbook,
    "corvid-sheets": books.corvid_old_book,
    "dotterel-ods": books.dotterel_ods,
    "lapwing-xml": trees.lapwing_xml,
    "dunlin-xml": trees.dunlin_xml,
    "plover-json": trees.plover_json,
    "siskin-zip": trees.siskin_zip,
}
