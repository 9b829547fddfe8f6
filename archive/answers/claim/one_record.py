"""One record out of a file that holds several."""

from __future__ import annotations

import pyarrow.compute as pc

from archive.tables import Batch


def one_record(batch: Batch, record_id: str) -> Batch:
    """The record with its rows and, of the sources, the one that it names, as an archive gives it; other shared rows
    stay."""
    one = batch.select([record_id])
    own = pc.is_in(one["sources"]["source_id"], value_set=pc.unique(one["records"]["source_id"].combine_chunks()))
    return one.replace(sources=one["sources"].filter(own))
