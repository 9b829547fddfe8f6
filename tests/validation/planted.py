"""Jobs with planted faults of every rule, for tests: invented records that each break a rule on purpose."""

from __future__ import annotations

import copy
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from archive.tables import Batch
from archive.validation import catalogue
from tests.validation import examples

SHARED = {
    "instruments": ("instrument_id", ("local_instrument_id", "remote_instrument_id")),
    "places": ("place_id", ("local_place_id", "remote_place_id")),
    "sources": ("source_id", ("source_id",)),
    "people": ("person_key", ("operator_key",)),
}
_OWN = {"records": ("job_id",), "jobs": ("job_id",), "instruments": ("serial",), "documents": ("serial", "document_id")}


def joined(parts: Iterable[dict[str, list[dict[str, Any]]]]) -> Batch:
    """Records of many examples as one batch. Those of part n are named pn, pn-r2 and so on; each part is a job of its
    own with units, people and places of its own, so that no part says anything about another."""
    whole: dict[str, list[dict[str, Any]]] = {"axes": []}
    for number, part in enumerate(parts):
        for table, rows in copy.deepcopy(part).items():
            known = whole.setdefault(table, [])
            known.extend(_renamed(table, row, number) for row in rows if table != "axes" or row not in known)
    return Batch.from_rows(whole)


def _renamed(table: str, row: dict[str, Any], number: int) -> dict[str, Any]:
    if "record_id" in row:
        row["record_id"] = f"p{number}" if row["record_id"] == "r1" else f"p{number}-{row['record_id']}"
    keys = [c for _, columns in SHARED.values() for c in columns] if table == "records" else []
    if table in SHARED:
        keys = [SHARED[table][0]]
    for key in (*keys, *_OWN.get(table, ())):
        if row.get(key):
            row[key] = f"{row[key]}-{number}"
    return row


def bad(by: str = "record") -> list[tuple[str, dict[str, Any]]]:
    """Rules and their bad examples that need neither a policy nor a schedule."""
    rules = [r for r in catalogue.rules().values() if r.by == by]
    wanted = ((r.name, e) for r in rules for e in r.examples if e["outcome"] == "bad")
    return [(name, e) for name, e in wanted if not {"policy", "schedule"} & set(e)]


OPTICAL = frozenset(r.name for r in catalogue.rules().values() if r.group.name == "job-fibers")
"""Rules across the optical records of a job."""


def _job_steps() -> list[dict[str, Any]]:
    records: list[dict[str, Any]] = [
        {"label": "2-TR2-A118", "seconds": 2, "seed": 2, "set": {"sequence": "0002"}},
        {"label": "2-tr2-A118", "seconds": 5400, "seed": 3, "set": {"sequence": "0003"}},
        {"label": "2-TR2-A119", "seconds": 7200, "set": {"sequence": "0004"}},
        {"label": "2-TR2-A120", "seconds": 7200, "seed": 4, "set": {"sequence": "0005"}},
        {"label": "2-TR2-A121", "seconds": 3900, "seed": 5, "set": {"sequence": "0006", "velocity_percent": 78.0}},
        {"label": "2-TR2-A122", "seconds": -9000, "seed": 6, "set": {"sequence": "0007"}},
        {"label": "2-TR2-A122", "seconds": -9000, "seed": 6, "set": {"sequence": "0007"}},
        {"label": "2-TR2-A123", "seconds": 9000, "seed": 7, "set": {"local_place_id": "pl-1", "sequence": "0008"}},
        {"label": "2-TR2-A123", "seconds": 9600, "seed": 8, "length_m": 30.0, "set": {"local_place_id": "pl-2"}},
        {"label": "2-TR2-A124", "seconds": 9900, "seed": 9, "set": {"remote_instrument_id": "in-other"}},
        {"label": "2-TR2-A125", "seconds": 10200, "seed": 10, "set": {"reported_verdict": "fail"}},
        {"label": "2-TR2-A126", "seconds": 10500, "seed": 11, "set": {"cable_type": "cat6a/u-utp/awg23/solid"}},
        # failed, and then passed to an easier limit, without curves
        {"label": "2-TR2-A127", "seconds": 10800, "seed": 12, "set": {"reported_verdict": "fail"}},
        {
            "label": "2-TR2-A127",
            "seconds": 11100,
            "seed": 12,
            "drop": ("sweeps",),
            "set": {"limit_found": "tia-568.2-d/cat6/permanent-link", "evidence": "worst-points"},
        },
        # in two rooms, and without a room
        {"label": "2-TR2-A128", "seconds": 11400, "seed": 13, "set": {"local_place_id": "pl-1"}},
        {"label": "2-TR2-A128", "seconds": 11700, "seed": 14, "set": {"local_place_id": "pl-3"}},
        {"label": "2-TR2-A128", "seconds": 12000, "seed": 15},
    ]
    return [
        {"table": "records", "set": {"sequence": "0001"}},
        {"table": "places", "add": {"place_id": "pl-1", "space": "TR2", "port": "1"}},
        {"table": "places", "add": {"place_id": "pl-2", "space": "TR2", "port": "2"}},
        {"table": "places", "add": {"place_id": "pl-3", "space": "TR3", "port": "1"}},
        {"table": "instruments", "add": {"instrument_id": "in-other", "serial": "40-00999"}},
        *({"record": r} for r in records),
        {"table": "sweeps", "where": {"record_id": "r5", "end": "local"}, "curve": "of-record", "id": "r2"},
        {"table": "sweeps", "where": {"record_id": "r6"}, "curve": "of-record", "id": "r12"},
        {"table": "sweeps", "where": {"record_id": "r6"}, "curve": "noise", "db": 0.1},
        # of a third one, a single curve
        {
            "table": "sweeps",
            "where": {"record_id": "r13", "parameter": "next", "end": "local", "pairing": "1-2/3-6"},
            "curve": "of-record",
            "id": "r11",
        },
        # 40 lengths of which half end in 5
        {"lengths": {"links": 40, "favourite": 5, "share": 0.5}},
    ]


JOB_POLICY: dict[str, dict[str, Any]] = {
    "evenly-spaced-tests": {"tests": 4},
    "many-tests-in-a-day": {"tests": 9},
    "marginal-share-too-high": {"most_percent": -0.0},
    "lengths-too-alike": {"links": 5, "m": 20.0},
    "last-digits-uneven": {"lengths": 20},
}
SCHEDULE: list[dict[str, str]] = [
    *({"link_label": f"2-TR2-A{n}", "due_on": "2025-03-03"} for n in range(117, 122)),
    {"link_label": "2-TR2-A199"},
    {"link_label": "2-TR2-a125"},
    {"link_label": "2-TR2-A150", "remark": "spare"},
]
SCHEDULE[0] |= {"required_limit": "tia-568.2-d/cat6a/channel", "cable_type": "cat6a/s-ftp"}


def job() -> Batch:
    """One job that, with its schedule and policy, breaks every rule across records that no contract must speak of."""
    return examples.batch({"do": _job_steps()})


def analyser_files(folder: Path) -> None:
    """Network-analyser files that break the rules of their reader, one each, beside a sound one."""
    from tests.formats.test_touchstone_record import F_MHZ, FOUR, LINK, put, swap
    from tests.formats.touchstone_files import FIXTURES, invented, pairs_toml

    four, straight = LINK + pairs_toml(4), list(range(16))
    louder, one_way, zero = FOUR.copy(), FOUR.copy(), FOUR.copy()
    louder[3] *= 2
    one_way[:, 0, 8] *= 0.7
    zero[2, :2, :2] = 0
    exchanged = [*straight[:10], 12, 13, 10, 11, 14, 15]
    crossed = [*straight[:10], 11, 10, *straight[12:]]
    put(folder, FOUR, four, "sound.s16p")
    put(folder, swap(FOUR, exchanged), four, "exchanged.s16p")
    put(folder, swap(FOUR, crossed), four, "crossed.s16p")
    put(folder, louder, four, "louder.s16p")
    put(folder, one_way, four, "one-way.s16p")
    put(folder, zero, four, "zero.s16p")
    put(folder, invented(1, F_MHZ, metres=0.005), LINK + pairs_toml(1), "nothing.s4p")
    put(folder, FOUR, four, "impedance.s16p", version="2.0", reference=(75.0,) * 16)
    when = 'tested = "2019-10-27T01:30:00"\nzone = "Europe/Lisbon"\n'
    put(folder, FOUR, when + four, "twice.s16p")
    for name in ("balun-with-noise.s2p", "balun-with-noise.toml"):
        (folder / name).write_bytes((FIXTURES / name).read_bytes())
