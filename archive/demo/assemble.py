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
from archive.demo.columns import reported, sweeps, table, tiled
from archive.demo.instrument import SimulatedWorst
from archive.demo.options import OfJob, Options
from archive.demo.scalars import KINDS
from archive.tables import Batch, axis_row, with_id


@dataclass(frozen=True)
class Tested:
    """n tests: number of the link, which test of it, readings (n, KINDS) or None, velocity that was set, the 48 curves
    (n, 48, F) or None, and what the instrument reported."""

    link: Any
    test: Any
    readings: Any
    velocity: Any
    curves: Any
    reported: list[SimulatedWorst]

    def take(self, rows: Any) -> Tested:
        """Some of them, in the order of rows (numbers or a boolean array)."""
        some = [
            None if x is None else x[rows] for x in (self.link, self.test, self.readings, self.velocity, self.curves)
        ]
        return Tested(some[0], some[1], some[2], some[3], some[4], [w.take(rows) for w in self.reported])

    def only(self, wanted: Any) -> Tested:
        """Those that are wanted, a boolean array (n,)."""
        return self if bool(np.all(wanted)) else self.take(wanted)

    @staticmethod
    def join(parts: Sequence[Tested]) -> Tested:
        """All of them, in the order of link and test."""
        if len(parts) == 1:
            return parts[0]

        def one(name: str) -> Any:
            given = [getattr(p, name) for p in parts]
            return None if given[0] is None else np.concatenate(given)

        reported = [
            SimulatedWorst(
                w.parameter, w.kind, *(np.concatenate([getattr(p.reported[i], f) for p in parts]) for f in _WORST)
            )
            for i, w in enumerate(parts[0].reported)
        ]
        whole = Tested(one("link"), one("test"), one("readings"), one("velocity"), one("curves"), reported)
        order = np.lexsort((whole.test, whole.link))
        return whole if bool(np.all(np.diff(order) == 1)) else whole.take(order)


_WORST = ("row", "point", "value", "limit", "margin")
_OF_JOB = ("job_id", "local_instrument_id", "remote_instrument_id", "operator_key", "source_id")


def record_id(seed: int, link: int, test: int) -> str:
    """Id of one simulated test."""
    return "re-" + hashlib.sha256(f"simulated {seed} {link} {test}".encode()).hexdigest()[:32]


@cache
def axis(category: str) -> dict[str, Any]:
    """Row of axes of a category's grid."""
    return axis_row(cables.grid(category).tolist())


def batch(seed: int, t: Tested, of: OfJob, o: Options) -> Batch:
    """The Batch of some tests, all with the cable type and configuration of `of`."""
    n = len(t.link)
    ids = pa.array([record_id(seed, k, i) for k, i in zip(t.link.tolist(), t.test.tolist(), strict=True)])
    shared, columns = _records(seed, t, of, o.links)
    columns["record_id"] = ids
    columns["evidence"] = ["worst-points" if t.curves is None else "full-sweep"] * n
    columns |= _verdict(t.reported, n)
    tables = {name: Batch.from_rows({name: rows})[name] for name, rows in shared.items()}
    tables["records"] = table("records", n, columns)
    if t.reported:
        tables["reported"] = reported(ids, t.reported, cables.grid(of.category), o.step)
    if t.readings is not None:
        tables["readings"] = _readings(t, ids)
        tables["wiremap"] = _wires(n, ids, of.screened)
    if t.curves is not None:
        tables["axes"] = Batch.from_rows({"axes": [axis(of.category)]})["axes"]
        tables["sweeps"] = sweeps(ids, t.curves, axis(of.category)["axis_id"], o.step, o.derived)
    return Batch(tables)


def _verdict(reported: Sequence[SimulatedWorst], n: int) -> dict[str, Any]:
    if not reported:
        return {}
    curves = [w for w in reported if w.kind == "worst_margin"]
    fails = np.any([w.margin < 0 for w in curves], axis=0)
    near = np.any([np.abs(w.margin) < cables.facts()["accuracy_db"].get(w.parameter, 0.0) for w in curves], axis=0)
    return {
        "reported_verdict": np.where(fails, "fail", "pass").tolist(),
        "reported_words": np.where(fails, "OUTSIDE", "WITHIN").tolist(),
        "reported_marginal": near.tolist(),
    }


def _records(seed: int, t: Tested, of: OfJob, with_links: bool) -> tuple[dict[str, Any], dict[str, Any]]:
    n = len(t.link)
    number, within = t.link // jobs.JOB, t.link % jobs.JOB
    local, offset = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    shared: dict[str, Any] = {"jobs": [], "instruments": [], "people": [], "sources": [], "links": [], "places": []}
    named: dict[str, list[Any]] = {c: [None] * n for c in (*_OF_JOB, "local_place_id", "remote_place_id")}
    for j in np.unique(number).tolist():
        it = jobs.job(seed, j)
        here = np.flatnonzero(number == j)
        for test in np.unique(t.test[here]).tolist():
            at = here[t.test[here] == test]
            local[at], offset[at] = jobs.times(seed, it, within[at], test, t.link[at])
        main, remote = jobs.instruments(seed, it.crew, it.week)
        person, source = jobs.operator(seed, it.crew), jobs.source(seed, it)
        shared["jobs"].append(jobs.row(it, of.limit_id))
        shared["instruments"] += [r for r in (main, remote) if r not in shared["instruments"]]
        shared["people"] += [person] if person not in shared["people"] else []
        shared["sources"].append(source)
        facts = (it.job_id, main["instrument_id"], remote["instrument_id"], person["person_key"], source["source_id"])
        for i in here.tolist():
            for column, value in zip(_OF_JOB, facts, strict=True):
                named[column][i] = value
        if with_links:
            _ends(shared, named, it, within, here, of)
    texts = np.datetime_as_string(local.astype("datetime64[s]"))
    columns: dict[str, Any] = {
        **named,
        "medium": ["copper"] * n,
        "link_label": [jobs.label(j, i) for j, i in zip(number.tolist(), within.tolist(), strict=True)],
        "tested_found": np.char.replace(texts, "T", " ").tolist(),
        "tested_local": texts.tolist(),
        "tested_at": pa.array((local - offset * 60) * 1000, type=pa.timestamp("ms", tz="UTC")),
        "utc_offset_min": offset,
        "zone_basis": ["job"] * n,
        "sequence": [f"{i:04d}" for i in jobs.sequence(within, t.test).tolist()],
        "limit_found": [of.limit_words] * n,
        "configuration": [of.configuration] * n,
        "cable_found": [of.cable_words] * n,
        "cable_type": [of.cable_type] * n,
        "velocity_percent": t.velocity,
        "connections": np.full(n, cables.facts()["configuration"][of.configuration]["connections"]),
        "source_place": [f"row {k * 2 + i + 2}" for k, i in zip(within.tolist(), t.test.tolist(), strict=True)],
    }
    return shared, columns


def _ends(
    shared: dict[str, Any], named: dict[str, list[Any]], it: jobs.SimulatedJob, within: Any, here: Any, of: OfJob
) -> None:
    for i in here.tolist():
        local, remote = (with_id("places", p) for p in jobs.places(it, int(within[i])))
        named["local_place_id"][i], named["remote_place_id"][i] = local["place_id"], remote["place_id"]
        row = {
            "job_id": it.job_id,
            "label": jobs.label(it.number, int(within[i])),
            "local_place_id": local["place_id"],
            "remote_place_id": remote["place_id"],
            "cable_type": of.cable_type,
        }
        made = with_id("links", row)
        if not shared["links"] or shared["links"][-1] != made:
            shared["links"].append(made)
            shared["places"] += [local, remote]


def _readings(t: Tested, ids: Any) -> Any:
    n, kinds = len(t.link), len(KINDS)
    columns = {
        "record_id": ids.take(pa.array(np.repeat(np.arange(n), kinds))),
        "quantity": tiled([k.quantity for k in KINDS], n),
        "subject": tiled([k.subject for k in KINDS], n),
        "end": tiled([k.end for k in KINDS], n),
        "frequency_mhz": pa.array([k.frequency_mhz for k in KINDS] * n),
        "origin": tiled(["measured"] * kinds, n),
        "value": t.readings.reshape(-1),
        "step": np.tile([k.step for k in KINDS], n),
    }
    return table("readings", n * kinds, columns)


def _wires(n: int, ids: Any, screened: bool) -> Any:
    near = [str(i) for i in range(1, 9)] + (["S"] if screened else [])
    columns = {
        "record_id": ids.take(pa.array(np.repeat(np.arange(n), len(near)))),
        "near": tiled(near, n),
        "far": tiled(near, n),
    }
    return table("wiremap", n * len(near), columns)
