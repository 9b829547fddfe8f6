"""Archived records with the corrections that hold now: what checks and documents read. The bytes in the bag stay."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from archive.store import Archive
from archive.tables import Batch, with_id

_OF_RECORD = ("link_label", "job_id", "cable_type", "configuration", "limit_found", "tested_local", "tested_at")
_OF_PLACE = ("site", "building", "floor", "space", "panel", "port")
_OF_UNIT = {"local_serial": ("local", "serial"), "remote_serial": ("remote", "serial"), "maker": ("local", "maker")}
_OF_PERSON = {"operator": "name", "organisation": "organisation"}


def amended(archive: Archive, deposit: str, positions: Sequence[int], batch: Batch) -> Batch:
    """The batch as corrected. positions: of its records in the deposit, in their order.

    A corrected place, unit or person becomes a row of its own, so that other records keep theirs.
    """
    marks = ", ".join("?" * len(positions))
    changes = archive.db.execute(
        "SELECT r.position, a.field, a.new, a.number FROM amendments a JOIN records r ON r.row = a.row "
        f"WHERE r.deposit = ? AND r.position IN ({marks}) ORDER BY a.number",
        (deposit, *positions),
    ).fetchall()
    if not changes:
        return batch
    records = batch["records"].to_pylist()
    shared = {name: {r[key]: r for r in batch[name].to_pylist()} for name, key in _SHARED.items()}
    at = {position: i for i, position in enumerate(positions)}
    for change in changes:
        row, field, new = records[at[change["position"]]], change["field"], change["new"]
        if field in _OF_RECORD:
            row[field] = new
        elif field in _OF_PLACE:
            _replace(row, "local_place_id", shared["places"], "places", {field: new})
        elif field in _OF_UNIT:
            end, column = _OF_UNIT[field]
            _replace(row, f"{end}_instrument_id", shared["instruments"], "instruments", {column: new})
        elif field in _OF_PERSON:
            _person(archive, row, shared["people"], field, new, change["number"])
    made = Batch.from_rows({"records": records, **{name: list(rows.values()) for name, rows in shared.items()}})
    return batch.replace(**{name: made[name] for name in ("records", *_SHARED)})


_SHARED = {"places": "place_id", "instruments": "instrument_id", "people": "person_key"}


def _replace(row: dict[str, Any], column: str, rows: dict[str, Any], table: str, new: dict[str, Any]) -> None:
    """Points a record at a row of a shared table like its own, with other values."""
    made = with_id(table, {**{k: v for k, v in rows.get(row[column], {}).items() if k != _SHARED[table]}, **new})
    rows[made[_SHARED[table]]] = made
    row[column] = made[_SHARED[table]]


def _person(
    archive: Archive, row: dict[str, Any], people: dict[str, Any], field: str, key: str | None, number: int
) -> None:
    """Gives a record a person of its own; key names the correction's own row of people."""
    entry = archive.ledger.read(number)
    name = archive.names(entry).get(key or "") if entry is not None else None
    old = people.get(row["operator_key"], {})
    made = {**old, "person_key": key or row["operator_key"], _OF_PERSON[field]: name}
    if key is not None:
        people[key] = {**dict.fromkeys(("salt", "role", "contact")), **made}
        row["operator_key"] = key
    elif field == "operator":
        row["operator_key"] = None
