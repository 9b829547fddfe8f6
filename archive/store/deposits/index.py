"""The small index of a deposit: one row per record with what finding, counting and dedup need.

Hashes are the first 64 bits of a SHA-256, as signed integers. They find candidates; what a candidate is gets decided
on the values themselves.
  sweeps   one per measured curve, in the order of the record: parameter, end, pairing ... axis and every value
  curves   over the sorted hashes of all measured curves; null where they are too few or too even to tell tests apart
  scalars  over readings, reported points, wire map and trace events, without the words of the source
  content  label, time, units, verdict, and the two above: equal in another layout of the same export
"""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.store.parquet.sweeps import packed
from archive.store.records import INDEX, LEADING
from archive.tables import Batch
from archive.tables.arrow import coded, joined, one_chunk
from archive.tables.local_places import local_places
from archive.tables.markup import elements
from archive.tables.order import positions

_MISSING = -(2**31)
"""Stands for a missing point among scaled integers, which are all larger."""

TELLING_POINTS = 64
"""Points that a record's curves must have, over all of them, before their equality says anything."""

_TYPES = {
    "timestamp": pa.timestamp("ms", tz="UTC"),
    "list of int64": pa.list_(pa.int64()),
    **{name: pa.type_for_alias(name) for name in ("string", "bool", "int32", "int64", "double")},
}
SCHEMA = pa.schema(
    [pa.field(name, _TYPES[kind.rstrip("!")], nullable=not kind.endswith("!")) for name, kind in INDEX.items()]
)
"""Columns of index.parquet."""

_VERDICT = [
    "limit_id",
    "verdict",
    "marginal",
    "provisional",
    "agrees",
    "covers_from_mhz",
    "covers_to_mhz",
    "parameter",
    "pairing",
    "end",
    "frequency_mhz",
    "margin",
    *LEADING,
]
_COPIED = [
    "record_id",
    "link_label",
    "medium",
    "configuration",
    "cable_type",
    "cable_found",
    "limit_found",
    "tested_local",
    "tested_at",
    "evidence",
    "operator_key",
    "reported_verdict",
    "reported_marginal",
    "source_id",
    "source_place",
]
_NAMED = (
    "parameter",
    "end",
    "pairing",
    "direction",
    "disturber",
    "wavelength_nm",
    "axis_id",
    "above",
    "below",
    "decimals",
)
"""Columns of a curve that its hash is over, besides its values."""
_SCALARS = {
    "readings": ("record_id", "found", "step"),
    "reported": ("record_id", "words", "step"),
    "wiremap": ("record_id",),
    "trace_events": ("record_id", "technique", "comment"),
}
"""Tables that the scalar hash is over -> columns that it leaves out."""
_CONTENT = ("link_label", "tested_local", "local_serial", "remote_serial", "reported_verdict", "configuration")


def rows(batch: Batch, start: int, digests: list[str], *, job: str | None, site: str | None, curves: Any = None) -> Any:
    """Index rows of a batch as a table of SCHEMA. start: position of its first record in the deposit.

    job, site: of the deposit; they hold for records that state no other. curves: its sweeps, where packed already.
    """
    count = len(batch)
    records = batch["records"]
    made: dict[str, Any] = {name: one_chunk(records[name]) for name in _COPIED}
    made["position"] = pa.array(np.arange(start, start + count, dtype=np.int32))
    made["digest"] = pa.array(digests, pa.string())
    made["job_id"] = pc.coalesce(pa.scalar(job, pa.string()), one_chunk(records["job_id"]))
    made["site"] = _site(batch, made["job_id"], site)
    for end in ("local", "remote"):
        made[f"{end}_serial"] = _looked_up(batch, "instruments", "instrument_id", "serial", f"{end}_instrument_id")
    for name in ("mapping_sha256", "reader"):
        made[name] = _looked_up(batch, "sources", "source_id", name, "source_id")
    made |= _verdicts(batch) | local_places(batch.__getitem__)
    made["length_m"] = _length(batch)
    sweeps, together, points, step = _curves(batch, packed(batch["sweeps"]) if curves is None else curves)
    made |= {"sweeps": sweeps, "curves": together, "points": points, "step": step}
    scalars = _scalars(batch)
    made["scalars"] = pa.array(scalars, pa.int64())
    named = [made[name].to_pylist() for name in _CONTENT]
    hashes = sweeps.to_pylist()
    content = [(*(n[i] for n in named), scalars[i], sorted(hashes[i])) for i in range(count)]
    made["content"] = pa.array([_hash(repr(c).encode()) for c in content], pa.int64())
    return pa.table([made[f.name] for f in SCHEMA], schema=SCHEMA)


def content_hashes(batch: Batch) -> list[int]:
    """The content hash of each record."""
    found: list[int] = rows(batch, 0, [""] * len(batch), job=None, site=None)["content"].to_pylist()
    return found


def _hash(data: bytes) -> int:
    return int.from_bytes(hashlib.sha256(data).digest()[:8], "big", signed=True)


def _looked_up(batch: Batch, table: str, key: str, column: str, by: str) -> Any:
    """A column of a shared table for each record; null where the record names no row."""
    return joined(batch["records"][by], batch[table][key], batch[table][column])


def _site(batch: Batch, job: Any, site: str | None) -> Any:
    if site is not None or not batch["jobs"].num_rows:
        return pa.array([site] * len(batch), pa.string())
    jobs = {j["job_id"]: j["site"] for j in batch["jobs"].to_pylist()}
    return pa.array([jobs.get(j) for j in job.to_pylist()], pa.string())


def _verdicts(batch: Batch) -> dict[str, Any]:
    """The verdict of each record: of several the first, which is that of the limit the record names."""
    found = batch["verdicts"]
    at = positions(batch, "verdicts")
    first = np.full(len(batch), -1)
    for row in range(len(at) - 1, -1, -1):
        if at[row] < len(batch):
            first[at[row]] = row
    take = pa.array(first, mask=first < 0)
    return {name: one_chunk(found[name]).take(take) for name in _VERDICT}


def _length(batch: Batch) -> Any:
    """Length in metres: the longest that is reported."""
    readings = batch["readings"]
    chosen = pc.and_(pc.equal(readings["quantity"], "length"), pc.equal(readings["origin"], "measured"))
    found = readings.filter(pc.fill_null(chosen, False)).group_by("record_id").aggregate([("value", "max")])
    return joined(batch["records"]["record_id"], found["record_id"], found["value_max"])


def _curves(batch: Batch, table: Any) -> tuple[Any, Any, Any, Any]:
    """Hash of each measured curve, hash over them, points, coarsest step; per record. table: the packed sweeps."""
    at = positions(batch, "sweeps")
    kept = pc.equal(table["origin"], "measured").to_numpy() if table.num_rows else np.array([], dtype=bool)
    if not kept.all():
        table, at = table.filter(pa.array(kept)), at[kept]
    table = table.combine_chunks()
    begun = _begun(table)
    lengths = np.zeros(table.num_rows, dtype=np.int64)
    even = np.ones(table.num_rows, dtype=bool)
    pieces: list[bytes] = [b""] * table.num_rows
    for column, missing in (("scaled", _MISSING), ("values", np.nan)):
        _pieces(table[column], missing, lengths, even, pieces)
    hashes: list[list[int]] = [[] for _ in range(len(batch))]
    nameless: list[list[int]] = [[] for _ in range(len(batch))]
    for row, named in enumerate(begun):
        sha = named.copy()
        sha.update(pieces[row])
        hashes[at[row]].append(int.from_bytes(sha.digest()[:8], "big", signed=True))
    for row in np.flatnonzero(pc.equal(table["parameter"], "backscatter").to_numpy(zero_copy_only=False)).tolist():
        nameless[at[row]].append(_hash(pieces[row]))  # its pairing is the fiber, which a copy names otherwise
    together_of = [apart if len(apart) == len(h) else h for h, apart in zip(hashes, nameless, strict=True)]
    points = np.bincount(at, weights=lengths, minlength=len(batch)).astype(np.int32)
    telling = np.bincount(at, weights=np.where(even, 0, lengths), minlength=len(batch))
    together = [
        _hash(repr(sorted(h)).encode()) if telling[i] >= TELLING_POINTS else None for i, h in enumerate(together_of)
    ]
    steps = pc.fill_null(table["step"], 0.0).to_numpy()
    coarsest = np.zeros(len(batch))
    np.maximum.at(coarsest, at, steps)
    return (
        pa.array(hashes, pa.list_(pa.int64())),
        pa.array(together, pa.int64()),
        pa.array(points),
        pa.array(coarsest, mask=coarsest == 0),
    )


def _begun(table: Any) -> list[Any]:
    """For each curve a SHA-256 over its name (_NAMED); curves of many records have few names, each digested once."""
    columns = [one_chunk(table[n]) for n in _NAMED]
    if any(pa.types.is_list(c.type) and c.null_count < len(c) for c in columns):
        return [hashlib.sha256(repr(n).encode()) for n in zip(*(c.to_pylist() for c in columns), strict=True)]
    codes = np.zeros(table.num_rows, dtype=np.int64)
    for column in columns:
        if column.null_count < len(column):
            found = coded(column)[1]
            codes = np.unique(codes * (int(found.max(initial=0)) + 2) + found, return_inverse=True)[1]
    _, first, where = np.unique(codes, return_index=True, return_inverse=True)
    few = [c.take(pa.array(first)).to_pylist() for c in columns]
    named = [hashlib.sha256(repr(n).encode()) for n in zip(*few, strict=True)]
    return [named[i] for i in where.tolist()]


def _pieces(column: Any, missing: float, lengths: Any, even: Any, pieces: list[Any]) -> None:
    """Fills in, for the curves that a packed column holds: number of points, whether they are all one, their bytes."""
    column = one_chunk(column)
    there = np.flatnonzero(pc.is_valid(column).to_numpy(zero_copy_only=False))
    if not len(there):
        return
    counts = pc.list_value_length(column).drop_null().to_numpy()
    flat = np.ascontiguousarray(pc.fill_null(column.flatten(), missing).to_numpy(zero_copy_only=False))
    lengths[there] = counts
    gaps = column.flatten().null_count
    even[there] = _even(np.where(flat == missing, np.nan, flat) if gaps else flat, counts)
    data, size = flat.view(np.uint8), flat.itemsize
    ends = np.cumsum(counts) * size
    for row, end, count in zip(there.tolist(), ends.tolist(), counts.tolist(), strict=True):
        pieces[row] = data[end - count * size : end].data


def _even(flat: Any, lengths: Any) -> Any:
    """True for curves that hold one value only, or none: they distinguish nothing."""
    if not len(lengths):
        return np.array([], dtype=bool)
    starts = np.concatenate([[0], np.cumsum(lengths)[:-1]]).astype(int)
    out = np.ones(len(lengths), dtype=bool)
    full = lengths > 0
    if full.any():
        high, low = np.fmax.reduceat(flat, starts[full]), np.fmin.reduceat(flat, starts[full])
        out[full] = ~(high > low)
    return out


def _scalars(batch: Batch) -> list[int]:
    texts: list[list[str]] = [[] for _ in range(len(batch))]
    for name, leave_out in _SCALARS.items():
        if batch[name].num_rows:
            for at, text in zip(
                positions(batch, name).tolist(), elements(name, batch[name], leave_out).to_pylist(), strict=True
            ):
                texts[at].append(text)
    return [_hash("\n".join(sorted(t)).encode()) for t in texts]
