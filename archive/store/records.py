"""What the store knows of a deposit's records: the columns of index.parquet, and the kinds that dedup tells apart.

Deposits write an index and the catalogue reads it; both know it from here alone. A record's address is
"deposit/position". No Arrow is loaded until an index is read.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from archive.store.parquet import BagTables

DECIDED = ("same_file", "reread", "same_content", "renditions", "conflicts", "relabelled", "copied_curves", "retests")
"""Kinds of decision that a deposit's entry lists, each as pairs [position here, "deposit/position" of the former]."""

KNOWN_ALREADY = ("same_file", "same_content")
"""Kinds of records that were here already and are not counted."""

WHOLE, DECLARED_WHOLE = "whole", "declared whole"
"""What a deposit's entry says of the schedule that came with it: every line of it is stored; and a person said that it
is all that is to be built."""

COUNTED = "kind NOT IN ('same_file', 'same_content')"
"""The same as a condition on the catalogue's records."""

INDEX = {
    "position": "int32!",
    "record_id": "string!",
    "digest": "string!",
    "link_label": "string",
    "job_id": "string",
    "site": "string",
    "medium": "string",
    "configuration": "string",
    "cable_type": "string",
    "limit_found": "string",
    "tested_local": "string",
    "tested_at": "timestamp",
    "evidence": "string",
    "operator_key": "string",
    "local_serial": "string",
    "remote_serial": "string",
    "reported_verdict": "string",
    "reported_marginal": "bool",
    "limit_id": "string",
    "verdict": "string",
    "marginal": "bool",
    "provisional": "bool",
    "agrees": "bool",
    "covers_from_mhz": "double",
    "covers_to_mhz": "double",
    "parameter": "string",
    "pairing": "string",
    "end": "string",
    "frequency_mhz": "double",
    "margin": "double",
    "length_m": "double",
    "points": "int32",
    "step": "double",
    "source_id": "string",
    "source_place": "string",
    "mapping_sha256": "string",
    "reader": "string",
    "content": "int64!",
    "curves": "int64",
    "scalars": "int64!",
    "sweeps": "list of int64",
    "building": "string",
    "floor": "string",
    "space": "string",
    "panel": "string",
    "port": "string",
    "cable_found": "string",
    "leading_parameter": "string",
    "leading_pairing": "string",
    "leading_end": "string",
    "leading_frequency_mhz": "double",
    "leading_margin": "double",
}
"""Columns of index.parquet with their types; ! is never null. What each holds: deposits/index.py."""

NEVER_REDACTED = ("index.parquet", "tables/records.parquet")
"""Files of a bag's data that proofs rest on, besides sweeps."""

_IN_THE_BAG_ALONE = ("pairing", "end", "frequency_mhz", "sweeps")

PLACE = ("building", "floor", "space", "panel", "port")
"""Columns of the local end's place; bags of earlier versions have them in their tables alone."""

LEADING = ("leading_parameter", "leading_pairing", "leading_end", "leading_frequency_mhz", "leading_margin")
"""Columns of the leading margin; bags of earlier versions hold the grades that it follows from."""

_GRADED_TOGETHER = 4096
"""Records whose grades are read together: a fully swept one has some 250, of 240 bytes."""

RECORD_COLUMNS = [name for name in INDEX if name not in _IN_THE_BAG_ALONE]
"""Columns of the index that the catalogue holds; instants as ISO 8601 text."""


def index_path(bag: Path) -> Path:
    """Where the index of a deposit's bag is."""
    return bag / "data" / "index.parquet"


def read_index(path: Path, columns: list[str] | None = None) -> Any:
    """The index of a deposit as a pa.Table; columns: only these. Errors: Trouble where it is missing or damaged."""
    from archive.store.parquet import options  # here, so that finding needs no Arrow

    return options.read(path, columns)


def catalogue_rows(path: Path, tables: BagTables) -> Any:
    """The index of a deposit in RECORD_COLUMNS, instants as ISO 8601 text. Errors: as read_index.

    tables: of the same bag.
    """
    import pyarrow.compute as pc  # here, so that finding needs no Arrow

    index = _with_places(read_index(path, RECORD_COLUMNS), tables.table)
    index = _with_leading(_with_words(index, tables.table), tables).select(RECORD_COLUMNS)
    text = pc.strftime(index["tested_at"], format="%Y-%m-%dT%H:%M:%SZ")
    return index.set_column(index.column_names.index("tested_at"), "tested_at", text)


def _with_places(index: Any, table: Callable[[str], Any]) -> Any:
    """An index with the columns of PLACE: its own, or those that the tables of the bag give."""
    if all(name in index.column_names for name in PLACE):
        return index
    from archive.tables.local_places import local_places  # here, so that finding needs no Arrow

    for name, values in local_places(table).items():
        index = index.append_column(name, values)
    return index


def _with_words(index: Any, table: Callable[[str], Any]) -> Any:
    """An index with the words about the cable: its own, or those of the records of an earlier version's bag."""
    if "cable_found" not in index.column_names:
        index = index.append_column("cable_found", table("records")["cable_found"].combine_chunks())
    return index


def _with_leading(index: Any, tables: BagTables) -> Any:
    """An index with the leading margins: its own, or those that the grades of an earlier version's bag give."""
    if LEADING[0] in index.column_names:
        return index
    import pyarrow as pa  # here, so that finding needs no Arrow
    import pyarrow.compute as pc

    from archive.grading.leading import with_leading

    parts = []
    for low in range(0, index.num_rows, _GRADED_TOGETHER):
        some = (tables.rows(name, low, low + _GRADED_TOGETHER) for name in ("verdicts", "grades"))
        verdicts = with_leading(*some).combine_chunks()
        # Of several verdicts on a record the first counts, which is that of the limit it names.
        ids = index["record_id"].slice(low, _GRADED_TOGETHER)
        first = pc.index_in(ids, value_set=verdicts["record_id"].combine_chunks())
        parts.append(verdicts.select(LEADING).take(first))
    found = pa.concat_tables(parts) if parts else tables.table("verdicts").select(LEADING)
    for name in LEADING:
        index = index.append_column(name, found[name])
    return index


def link_key(site: str | None, job: str | None, label: str | None) -> str | None:
    """What names a link: the site, or else the job, and the label. None where there is no label."""
    if label is None:
        return None
    place = f"site\n{site}" if site is not None else f"job\n{job}" if job is not None else ""
    return f"{place}\n{label}"


def reading(mapping_sha256: str | None, reader: str | None) -> str:
    """What read a record: mapping and reader."""
    return f"{mapping_sha256 or ''}|{reader or ''}"


def link_keys(index: Any) -> list[str | None]:
    """The link_key of each row of an index."""
    columns = (index[name].to_pylist() for name in ("site", "job_id", "link_label"))
    return [link_key(*names) for names in zip(*columns, strict=True)]


def readings(index: Any) -> list[str]:
    """The reading of each row of an index."""
    return [
        reading(*both) for both in zip(index["mapping_sha256"].to_pylist(), index["reader"].to_pylist(), strict=True)
    ]


def split_address(address: str) -> tuple[str, int]:
    """Deposit and position of an address; of what is none, "" and -1."""
    deposit, _, position = address.rpartition("/")
    return (deposit, int(position)) if position.isdecimal() else ("", -1)
