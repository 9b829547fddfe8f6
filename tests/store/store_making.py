"""Small invented records, and deposits of them. Nothing here was measured."""

from __future__ import annotations

import copy
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from archive.store import Archive
from archive.store.deposits import Deposit, DepositFacts, Receipt
from archive.tables import Batch, axis_row, row_id, with_id

AXIS = axis_row([1.0, 4.0, 8.0, 10.0, 16.0, 20.0, 25.0, 31.25, 62.5, 100.0, 150.0, 200.0])
UNIT = with_id("instruments", {"maker": "Petrel Metrology", "model": "P-40", "serial": "40-00317", "unit": "main"})
FAR = with_id("instruments", {"maker": "Petrel Metrology", "model": "P-40R", "serial": "40-00318", "unit": "remote"})

Rows = dict[str, list[dict[str, Any]]]


def rows(
    label: str | None = "2-TR2-A117",
    *,
    time: str | None = "2019-03-04T10:15",
    shift: float = 0.0,
    place: str = "row 2",
    source: str = "a" * 64,
    reader: str = "tests",
    mapping: str | None = None,
    **more: Any,
) -> Rows:
    """Rows of one record: eight curves of twelve points, a length, a delay, a wire map.

    shift: added to every curve, in dB: another test. more: columns of records that differ.
    """
    record_id = row_id("re", source, mapping, place)
    record = {
        "record_id": record_id,
        "medium": "copper",
        "link_label": label,
        "tested_found": time,
        "tested_local": time,
        "local_instrument_id": UNIT["instrument_id"],
        "remote_instrument_id": FAR["instrument_id"],
        "limit_found": "TIA 568.2-D Cat 6 permanent link",
        "configuration": "permanent-link",
        "cable_type": "cat6/u-utp/awg23/solid",
        "reported_verdict": "pass",
        "evidence": "full-sweep",
        "source_id": source,
        "source_place": place,
        **more,
    }
    points = AXIS["frequencies_mhz"]
    sweeps = []
    for i, pair in enumerate(("1-2", "3-6", "4-5", "7-8")):
        loss = [round(2.0 + 0.15 * f**0.5 + 0.1 * i + shift, 1) for f in points]
        sweeps.append(_sweep(record_id, "insertion_loss", None, pair, loss))
    for end in ("local", "remote"):
        for i, pair in enumerate(("1-2/3-6", "1-2/4-5")):
            next_loss = [
                round(75.0 - 5 * f**0.4 + 0.7 * i + (0.3 if end == "local" else 0.0) + shift, 1) for f in points
            ]
            sweeps.append(_sweep(record_id, "next", end, pair, next_loss))
    return {
        "records": [record],
        "sweeps": sweeps,
        "readings": [
            _reading(record_id, "length", None, 42.3, 0.1),
            _reading(record_id, "propagation_delay", "1-2", 205.0, 1.0),
        ],
        "wiremap": [{"record_id": record_id, "near": str(c), "far": str(c)} for c in range(1, 9)],
        "axes": [AXIS],
        "instruments": [UNIT, FAR],
        "sources": [{"source_id": source, "path": "week2/links.csv", "reader": reader, "mapping_sha256": mapping}],
    }


def _sweep(record: str, parameter: str, end: str | None, pairing: str, values: list[float]) -> dict[str, Any]:
    made = {"record_id": record, "parameter": parameter, "end": end, "pairing": pairing, "origin": "measured"}
    return {**made, "axis_id": AXIS["axis_id"], "values": values, "step": 0.1}


def _reading(record: str, quantity: str, subject: str | None, value: float, step: float) -> dict[str, Any]:
    made = {"record_id": record, "quantity": quantity, "subject": subject, "origin": "measured"}
    return {**made, "value": value, "step": step}


def rounded(made: Rows, decimals: int = 0) -> Rows:
    """The same record with its curves rounded."""
    out = copy.deepcopy(made)
    for sweep in out["sweeps"]:
        sweep["values"] = [round(v, decimals) for v in sweep["values"]]
        sweep["step"] = 10.0**-decimals
    return out


def batch(*records: Rows) -> Batch:
    """One batch of several records."""
    joined: Rows = {}
    for one in records:
        for name, listed in one.items():
            held = joined.setdefault(name, [])
            held.extend(r for r in listed if r not in held or name == "wiremap")
    return Batch.from_rows(joined)


def deposit(
    archive: Archive,
    batches: Batch | Iterable[Batch],
    *,
    job: str | None = "HARBOUR-2019-04",
    site: str | None = None,
    by: str | None = "R. Ostrander",
    originals: Iterable[tuple[Path, str]] = (),
) -> Receipt:
    """Deposits batches."""
    making = Deposit(archive, DepositFacts(job=job, site=site, by=by))
    try:
        for path, name in originals:
            making.original(path, name)
        for one in [batches] if isinstance(batches, Batch) else batches:
            making.add(one)
        return making.commit()
    except BaseException:
        making.abandon()
        raise
