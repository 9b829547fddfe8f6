"""Compares what was read with the truth, record by record, without what no two readings share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from archive.tables import Batch

_OWN = {"record_id", "source_id", "source_place", "operator_key", "person_key", "salt", "place"}
_TABLES = ("readings", "sweeps", "reported", "wiremap", "trace_events", "extras")


def plain(batches: Iterable[Batch]) -> dict[str, dict[str, Any]]:
    """Records by their label (and number, where a label comes again): facts, and sorted rows of each table."""
    out: dict[str, dict[str, Any]] = {}
    for batch in batches:
        rows = {name: t.to_pylist() for name, t in batch.items()}
        axes = {r["axis_id"]: tuple(r["frequencies_mhz"] or r["distances_km"]) for r in rows["axes"]}
        shared = {
            "local_instrument_id": {r["instrument_id"]: r for r in rows["instruments"]},
            "job_id": {r["job_id"]: r for r in rows["jobs"]},
            "local_place_id": {r["place_id"]: r for r in rows["places"]},
        }
        shared["remote_instrument_id"], shared["remote_place_id"] = (
            shared["local_instrument_id"],
            shared["local_place_id"],
        )
        people = {r["person_key"]: (r["name"], r["organisation"]) for r in rows["people"]}
        mine: dict[str, dict[str, list[Any]]] = {}
        for table in _TABLES:
            for r in rows[table]:
                mine.setdefault(r["record_id"], {}).setdefault(table, []).append(r)
        for r in rows["records"]:
            facts = {k: v for k, v in r.items() if v is not None and k not in _OWN and not k.endswith("_id")}
            for key, by in shared.items():
                if r[key] is not None:
                    facts[key] = tuple(
                        sorted(
                            (k, v)
                            for k, v in by[r[key]].items()
                            if (v is not None and not k.endswith("_id")) or k == "job_id"
                        )
                    )
            if r["operator_key"]:
                facts["operator"] = people[r["operator_key"]]
            own = mine.get(r["record_id"], {})
            record = {"facts": facts}
            for table in _TABLES:
                record[table] = sorted((_row(x, axes) for x in own.get(table, [])), key=repr)
            label = r["link_label"] or "?"
            name, n = label, 2
            while name in out:
                name, n = f"{label} ({n})", n + 1
            out[name] = record
    return out


def _row(row: dict[str, Any], axes: dict[str, Any]) -> tuple[Any, ...]:
    out = []
    for k, v in row.items():
        if v is None or k in _OWN:
            continue
        if k == "axis_id":
            out.append(("axis", axes[v]))
        else:
            out.append((k, tuple(v) if isinstance(v, list) else v))
    return tuple(sorted(out))


def differences(found: dict[str, Any], truth: dict[str, Any], most: int = 20) -> list[str]:
    """What differs, in words."""
    out = [f"missing {n}" for n in truth if n not in found] + [f"not asked for {n}" for n in found if n not in truth]
    for name in truth:
        if name not in found:
            continue
        a, b = found[name], truth[name]
        for key in {*a["facts"], *b["facts"]}:
            if a["facts"].get(key) != b["facts"].get(key):
                out.append(f"{name}: {key} is {a['facts'].get(key)!r}, not {b['facts'].get(key)!r}")
        for table in _TABLES:
            x, y = a[table], b[table]
            if x != y:
                more, less = [r for r in x if r not in y], [r for r in y if r not in x]
                out += [f"{name}: {table} has {_short(r)}" for r in more[:3]] + [
                    f"{name}: {table} lacks {_short(r)}" for r in less[:3]
                ]
                if not more and not less:
                    out.append(f"{name}: {table} has {len(x)} rows, not {len(y)}")
        if len(out) > most:
            break
    return out[:most]


def _short(row: Any) -> str:
    parts = []
    for k, v in row:
        shown = f"{len(v)} numbers from {v[:3]}" if isinstance(v, tuple) and len(v) > 4 else repr(v)
        parts.append(f"{k}={shown}")
    return ", ".join(parts)


def close(a: float, b: float) -> bool:
    """Equal numbers."""
    return math.isclose(a, b, rel_tol=1e-12)
