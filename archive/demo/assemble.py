"""Simulated tests as a Batch."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pyarrow as pa

from archive.demo import cables, jobs
from archive.demo.scalars import KINDS, round_to
from archive.tables import Batch, axis_row, schema
from archive.vocabulary import COMBINATIONS, ENDS, ORDERED, PAIRS

CURVES: tuple[tuple[str, str | None, str], ...] = (
    *(("insertion_loss", None, p) for p in PAIRS),
    *(("return_loss", e, p) for e in ENDS for p in PAIRS),
    *(("next", e, c) for e in ENDS for c in COMBINATIONS),
    *(("fext", e, c) for e in ENDS for c in ORDERED),
)
"""Parameter, end and pairing of the 48 measured curves, in their order."""


@dataclass(frozen=True)
class Tested:
    """Tests: link number, which test of the link, readings (n, KINDS), curves (n, 48, F) or None."""

    link: Any
    test: Any
    readings: Any
    velocity: Any
    connections: int
    curves: Any

    def only(self, wanted: Any) -> Tested:
        """Those that are wanted, a boolean array (n,)."""
        if bool(np.all(wanted)):
            return self
        rows = None if self.curves is None else self.curves[wanted]
        return Tested(
            self.link[wanted], self.test[wanted], self.readings[wanted], self.velocity[wanted], self.connections, rows
        )

    @staticmethod
    def join(parts: Sequence[Tested]) -> Tested:
        """All of them, in the order of link and test."""
        link = np.concatenate([p.link for p in parts])
        test = np.concatenate([p.test for p in parts])
        order = np.lexsort((test, link))
        rows = None if parts[0].curves is None else np.concatenate([p.curves for p in parts])[order]
        return Tested(
            link[order],
            test[order],
            np.concatenate([p.readings for p in parts])[order],
            np.concatenate([p.velocity for p in parts])[order],
            parts[0].connections,
            rows,
        )


def record_id(seed: int, link: int, test: int) -> str:
    """Id of one simulated test."""
    return "re-" + hashlib.sha256(f"simulated {seed} {link} {test}".encode()).hexdigest()[:32]


@cache
def _axis(category: str) -> dict[str, Any]:
    return axis_row(cables.grid(category).tolist())


def _repeat(values: Sequence[Any], times: int) -> Any:
    return np.tile(np.asarray(values, dtype=object), times)


def batch(
    seed: int, parts: Sequence[Tested], cable_type: str, configuration: str, category: str, step: float | None
) -> Batch:
    """The Batch of some tests of one category."""
    t = Tested.join(parts)
    n = len(t.link)
    ids = pa.array([record_id(seed, k, i) for k, i in zip(t.link.tolist(), t.test.tolist(), strict=True)])
    shared, columns = _records(seed, t, cable_type, configuration)
    columns["record_id"] = ids
    columns["evidence"] = ["verdict-only" if t.curves is None else "full-sweep"] * n
    tables = {name: Batch.from_rows({name: rows})[name] for name, rows in shared.items()}
    tables["records"] = _table("records", n, columns)
    tables["readings"] = _readings(t, ids)
    tables["wiremap"] = _wires(n, ids, "u-utp" not in cable_type)
    if t.curves is not None:
        tables["axes"] = Batch.from_rows({"axes": [_axis(category)]})["axes"]
        tables["sweeps"] = _sweeps(t, ids, category, step)
    return Batch(tables)


def _table(name: str, rows: int, columns: dict[str, Any]) -> Any:
    want = schema(name)
    made = []
    for field in want:
        given = columns.get(field.name)
        if given is None:
            made.append(pa.nulls(rows, field.type))
        elif isinstance(given, pa.Array):
            made.append(given.cast(field.type))
        else:
            made.append(pa.array(given, type=field.type))
    return pa.table(made, schema=want)


def _records(seed: int, t: Tested, cable_type: str, configuration: str) -> tuple[dict[str, Any], dict[str, Any]]:
    n = len(t.link)
    number, within = t.link // jobs.JOB, t.link % jobs.JOB
    local = np.zeros(n, dtype=np.int64)
    offset = np.zeros(n, dtype=np.int64)
    shared: dict[str, Any] = {"jobs": [], "instruments": [], "people": [], "sources": []}
    named: dict[str, list[Any]] = {c: [None] * n for c in _OF_JOB}
    label, category = jobs.labels(), cable_type.split("/")[0]
    for j in np.unique(number).tolist():
        it = jobs.job(seed, j)
        here = np.flatnonzero(number == j)
        for test in np.unique(t.test[here]).tolist():
            at = here[t.test[here] == test]
            local[at], offset[at] = jobs.times(seed, it, within[at], test, t.link[at])
        main, remote = jobs.instruments(seed, it.crew, it.week)
        person, source = jobs.operator(seed, it.crew), _source(seed, it)
        shared["jobs"].append(jobs.row(it, f"tia-568.2-d/{category}/{configuration}"))
        shared["instruments"] += [r for r in (main, remote) if r not in shared["instruments"]]
        shared["people"] += [person] if person not in shared["people"] else []
        shared["sources"].append(source)
        facts = (it.job_id, main["instrument_id"], remote["instrument_id"], person["person_key"], source["source_id"])
        for i in here.tolist():
            for column, value in zip(_OF_JOB, facts, strict=True):
                named[column][i] = value
    words = _words(category, cable_type, configuration)
    texts = np.datetime_as_string(local.astype("datetime64[s]"))
    columns: dict[str, Any] = {
        **named,
        "medium": ["copper"] * n,
        "link_label": [label[i] for i in within.tolist()],
        "tested_found": pa.array(np.char.replace(texts, "T", " ").tolist()),
        "tested_local": pa.array(texts.tolist()),
        "tested_at": pa.array((local - offset * 60) * 1000, type=pa.timestamp("ms", tz="UTC")),
        "utc_offset_min": offset,
        "zone_basis": ["job"] * n,
        "sequence": [f"{i + 1:04d}" for i in within.tolist()],
        "limit_found": [words[0]] * n,
        "configuration": [configuration] * n,
        "cable_found": [words[1]] * n,
        "cable_type": [cable_type] * n,
        "velocity_percent": t.velocity,
        "connections": np.full(n, t.connections),
        "source_place": [f"row {i + 2}" for i in within.tolist()],
    }
    return shared, columns


_OF_JOB = ("job_id", "local_instrument_id", "remote_instrument_id", "operator_key", "source_id")


def _source(seed: int, it: jobs.Job) -> dict[str, Any]:
    path = f"simulated/{it.job_id}.csv"
    return {
        "source_id": hashlib.sha256(f"{seed} {path}".encode()).hexdigest(),
        "path": path,
        "layout": "simulated",
        "reader": "muniment link simulator",
    }


def _words(category: str, cable_type: str, configuration: str) -> tuple[str, str]:
    name = {"cat5e": "Cat 5e", "cat6": "Cat 6", "cat6a": "Cat 6A", "cat7": "Cat 7", "cat7a": "Cat 7A"}[category]
    _, construction, gauge, _ = cable_type.split("/")
    return f"TIA-568.2-D {name} {configuration.replace('-', ' ')}", f"{name} {construction.upper()} {gauge[3:]} AWG"


def _readings(t: Tested, ids: Any) -> Any:
    n, kinds = len(t.link), len(KINDS)
    columns = {
        "record_id": ids.take(pa.array(np.repeat(np.arange(n), kinds))),
        "quantity": _tiled([k.quantity for k in KINDS], n),
        "subject": _tiled([k.subject for k in KINDS], n),
        "end": _tiled([k.end for k in KINDS], n),
        "origin": _tiled(["measured"] * kinds, n),
        "value": t.readings.reshape(-1),
        "step": np.tile([k.step for k in KINDS], n),
    }
    return _table("readings", n * kinds, columns)


def _tiled(words: Sequence[str | None], times: int) -> Any:
    return pa.array(words, type=pa.string()).take(pa.array(np.tile(np.arange(len(words)), times)))


def _wires(n: int, ids: Any, screened: bool) -> Any:
    near = [str(i) for i in range(1, 9)] + (["S"] if screened else [])
    columns = {
        "record_id": ids.take(pa.array(np.repeat(np.arange(n), len(near)))),
        "near": _tiled(near, n),
        "far": _tiled(near, n),
    }
    return _table("wiremap", n * len(near), columns)


def _sweeps(t: Tested, ids: Any, category: str, step: float | None) -> Any:
    n, rows, points = t.curves.shape
    values = t.curves.astype(np.float64) if step is None else round_to(t.curves, step)
    offsets = pa.array(np.arange(0, n * rows + 1, dtype=np.int32) * np.int32(points))
    columns = {
        "record_id": ids.take(pa.array(np.repeat(np.arange(n), rows))),
        "parameter": _tiled([c[0] for c in CURVES], n),
        "end": _tiled([c[1] for c in CURVES], n),
        "pairing": _tiled([c[2] for c in CURVES], n),
        "origin": _tiled(["measured"] * rows, n),
        "axis_id": pa.array([_axis(category)["axis_id"]] * (n * rows)),
        "values": pa.ListArray.from_arrays(offsets, pa.array(values.reshape(-1))),
        "step": None if step is None else np.full(n * rows, step),
    }
    return _table("sweeps", n * rows, columns)
