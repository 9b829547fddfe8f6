"""Where the local end of each record is: what tells links of one label apart."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

COLUMNS = ("building", "floor", "space", "panel", "port")
"""Names of a place."""


def local_places(table: Callable[[str], pa.Table]) -> dict[str, Any]:
    """Names of the local end's place for each record, text by column.

    table: gives the table of a name. A record that names no place has that of its link.
    """
    records, places = table("records"), table("places").combine_chunks()
    if not places.num_rows:
        return {name: pa.nulls(records.num_rows, pa.string()) for name in COLUMNS}
    links = table("links").combine_chunks()
    of_link = links["local_place_id"].take(
        pc.index_in(records["link_label"], value_set=links["label"].combine_chunks())
    )
    named = pc.coalesce(records["local_place_id"], of_link)
    at = pc.index_in(named, value_set=places["place_id"].combine_chunks(), skip_nulls=True)
    return {name: places[name].take(at).combine_chunks() for name in COLUMNS}
