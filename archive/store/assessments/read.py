"""What later grading runs said of single records."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.store.archive import Archive
from archive.store.ledger import LedgerEntry
from archive.store.parquet import options
from archive.tables import schema


@dataclass(frozen=True)
class Assessed:
    """One run's word on one record. verdicts, grades: rows of those tables."""

    entry: LedgerEntry
    address: str
    verdicts: list[dict[str, Any]]
    grades: list[dict[str, Any]]


def of_records(archive: Archive, addresses: Iterable[str], *, grades: bool = False) -> list[Assessed]:
    """What every run said of some records, oldest run first. grades: their worst points too.

    addresses: "deposit/position". Errors: Trouble where a bag is damaged.
    """
    wanted = sorted(set(addresses))
    found = []
    archive.catch_up()
    for (number,) in archive.db.execute("SELECT number FROM entries WHERE kind = 'assessment' ORDER BY number"):
        entry = archive.ledger.read(int(number))
        if entry is None:
            continue
        digests = archive.checked.of_entry(entry)
        verdicts = _rows(archive, entry, "verdicts", digests, wanted)
        worst = _rows(archive, entry, "grades", digests, wanted) if grades and verdicts else []
        for address in wanted:
            mine = [_without(v) for v in verdicts if v["address"] == address]
            if mine:
                points = [_without(g) for g in worst if g["address"] == address]
                found.append(Assessed(entry, address, mine, points))
    return found


def statements(archive: Archive, name: str) -> list[tuple[LedgerEntry, Path]]:
    """The file of a table, "verdicts" or "grades", of every run, oldest first. Errors: Trouble for a damaged bag."""
    archive.catch_up()
    found = []
    for (number,) in archive.db.execute("SELECT number FROM entries WHERE kind = 'assessment' ORDER BY number"):
        entry = archive.ledger.read(int(number))
        if entry is None:
            continue
        digests = archive.checked.of_entry(entry)
        listed = f"{entry['path']}/data/tables/{name}.parquet"
        if listed in digests:
            found.append((entry, archive.checked.check(listed, digests[listed])))
    return found


def _rows(
    archive: Archive, entry: LedgerEntry, name: str, digests: dict[str, str], wanted: list[str]
) -> list[dict[str, Any]]:
    """Rows of the wanted records; of the other row groups only the addresses are read."""
    listed = f"{entry['path']}/data/tables/{name}.parquet"
    if listed not in digests:
        return []
    path = archive.checked.check(listed, digests[listed])
    file = options.open_file(path)
    among = pa.array(wanted, pa.string())
    rows: list[dict[str, Any]] = []
    for group in range(file.num_row_groups):
        addresses = options.read_groups(path, [group], ["address"], file)["address"]
        mask = np.asarray(pc.is_in(addresses, value_set=among))
        if mask.any():
            whole = options.read_groups(path, [group], ["address", *schema(name).names], file).filter(pa.array(mask))
            found = options.as_declared(whole, schema(name), path)
            rows.extend(found.append_column("address", whole["address"]).to_pylist())
    return rows


def _without(row: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in row.items() if k != "address"}
