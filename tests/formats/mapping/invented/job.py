"""Simulated tests as plain Python values, for layouts to print."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np

from archive.demo.simulator import simulate
from archive.vocabulary import COMBINATIONS, ENDS, ORDERED, PAIRS

__all__ = ["COMBINATIONS", "ENDS", "ORDERED", "PAIRS", "Test", "tests"]


@dataclass
class Test:
    """One test: facts, scalars by pair, curves by (parameter, end or "", pairing), worst cases by parameter."""

    __test__ = False  # not a test of pytest

    label: str
    when: datetime
    sequence: str
    limit: str
    configuration: str
    cable: str
    cable_type: str
    nvp: float
    operator: str
    company: str
    job: str
    client: str
    site: str
    main: dict[str, str]
    remote: dict[str, str]
    verdict: str
    marginal: bool
    length: dict[str, float] = field(default_factory=dict)
    delay: dict[str, float] = field(default_factory=dict)
    loop: dict[str, float] = field(default_factory=dict)
    skew: float = 0.0
    temperature: float | None = None
    axis: Any = None
    curves: dict[tuple[str, str, str], Any] = field(default_factory=dict)
    worst: list[dict[str, Any]] = field(default_factory=list)

    def with_(self, **changes: Any) -> Test:
        """A copy with some values changed."""
        return replace(self, **changes)


def tests(
    n: int, seed: int, *, category: str = "cat6a", points: int = 100, derived: bool = False, start: int = 0, **more: Any
) -> list[Test]:
    """n simulated tests, their curves thinned to about so many points."""
    out: list[Test] = []
    for batch in simulate(n, seed, category=category, derived=derived, start=start, **more):
        rows = {name: table.to_pylist() for name, table in batch.items() if table.num_rows}
        instruments = {r["instrument_id"]: r for r in rows["instruments"]}
        people = {r["person_key"]: r for r in rows["people"]}
        jobs = {r["job_id"]: r for r in rows["jobs"]}
        whole = np.array(rows["axes"][0]["frequencies_mhz"])
        pick = np.unique(np.round(np.linspace(0, len(whole) - 1, points)).astype(int))
        for r in rows["records"]:
            mine = {
                t: [x for x in rows.get(t, []) if x["record_id"] == r["record_id"]]
                for t in ("readings", "sweeps", "reported")
            }
            job, person = jobs[r["job_id"]], people[r["operator_key"]]
            test = Test(
                label=r["link_label"],
                when=datetime.fromisoformat(r["tested_local"]),
                sequence=r["sequence"],
                limit=r["limit_found"],
                configuration=r["configuration"],
                cable=r["cable_found"],
                cable_type=r["cable_type"],
                nvp=r["velocity_percent"],
                operator=person["name"],
                company=person["organisation"],
                job=job["job_id"],
                client=job["client"],
                site=job["site"],
                main=instruments[r["local_instrument_id"]],
                remote=instruments[r["remote_instrument_id"]],
                verdict=r["reported_verdict"],
                marginal=bool(r["reported_marginal"]),
                axis=whole[pick],
            )
            for x in mine["readings"]:
                if x["origin"] != "measured":
                    continue
                into = {"length": test.length, "propagation_delay": test.delay, "loop_resistance": test.loop}.get(
                    x["quantity"]
                )
                if into is not None and x["subject"]:
                    into[x["subject"]] = x["value"]
                elif x["quantity"] == "delay_skew":
                    test.skew = x["value"]
                elif x["quantity"] == "temperature":
                    test.temperature = x["value"]
            for x in mine["sweeps"]:
                test.curves[(x["parameter"], x["end"] or "", x["pairing"] or "")] = np.array(x["values"])[pick]
            test.worst = [x for x in mine["reported"] if x["kind"] in ("worst_margin", "worst_value")]
            out.append(test)
    return out
