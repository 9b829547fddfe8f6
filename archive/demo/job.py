"""The demo job: an invented building, its tests, and the faults that were planted in them.

Lantern Quay 4, a made-up office house of a made-up trust, is cabled with category 6A by the made-up contractor Tern &
Daughters and its made-up subcontractor Fen and Sallow. The links come from the link simulator.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.demo.simulator import Options, simulate
from archive.tables import Batch, axis_row, concat, cut, person_key, schema, with_id

SEED = 2024
JOB, SITE, ZONE = "HARBOUR-2024-06", "Lantern Quay 4", "Europe/Lisbon"
LIMIT = "tia-568.2-d/cat6a/permanent-link"
CABLE = "cat6a/f-utp/awg23/solid"
FAILING, FLIPPED, MISSING = "1A-A05", "1A-A11", "2A-B13"
LETTER_O = ("1A-A07", "1A-AO7")
COPIED = ("2A-B19", "2A-B20")
SHORT = "2A-B09"
SHORT_TO_MHZ = 250.0


@dataclass(frozen=True)
class Crew:
    """Who tests with what."""

    operator: str
    organisation: str
    maker: str
    model: str
    serials: tuple[str, str]
    calibrated_on: str
    calibration_due: str

    @property
    def person(self) -> dict[str, Any]:
        """Row of people."""
        salt = hashlib.sha256(f"demo {self.operator}".encode()).hexdigest()[:16]
        row = {"salt": salt, "name": self.operator, "organisation": self.organisation, "role": "operator"}
        return {"person_key": person_key(salt, self.operator), **row}

    def memory(self, day: dt.date, sequence: int) -> dict[str, Any]:
        """Row of sources: what the main unit held of a day from a test on, as it was exported."""
        path = f"unit {self.serials[0]}, memory of {day.isoformat()} from test {sequence:04d}"
        return {"source_id": hashlib.sha256(f"demo {path}".encode()).hexdigest(), "path": path}

    @property
    def units(self) -> list[dict[str, Any]]:
        """Rows of instruments: main and remote."""
        head = {"maker": self.maker, "model": self.model, "software": "3.4", "accuracy_level": "IIIe"}
        dates = {"calibrated_on": self.calibrated_on, "calibration_due": self.calibration_due}
        return [
            with_id(
                "instruments", {**head, **dates, "serial": serial, "unit": unit, "adapter": f"permanent-link head {i}"}
            )
            for i, (serial, unit) in enumerate(zip(self.serials, ("main", "remote"), strict=True), 1)
        ]


DAY_CREW = Crew(
    "A. Quillfeather",
    "Tern & Daughters",
    "Petrel Metrology",
    "P-40",
    ("40-00317", "40-00318"),
    "2023-11-02",
    "2024-11-02",
)
# The units of the subcontractor ran out of calibration two weeks before they were used.
SUBCONTRACTOR = Crew(
    "C. Mossbank", "Fen and Sallow", "Corvane Instruments", "LJ-6", ("LJ6-2204", "LJ6-2205"), "2023-05-29", "2024-05-29"
)
DEPOSITOR = "H. Brume"


def labels(floor: int, letter: str, count: int) -> list[str]:
    """Labels of a floor: 1A-A01 and on."""
    return [f"{floor}A-{letter}{i:02d}" for i in range(1, count + 1)]


def floor_1() -> Batch:
    """24 links. One fails, one fails and says pass, one carries the letter O for a zero."""
    names = labels(1, "A", 24)
    batch = links(range(24), names, dt.datetime(2024, 6, 10, 8, 12), DAY_CREW, failing={FAILING: False, FLIPPED: True})
    records = batch["records"].to_pylist()
    for row in records:
        if row["link_label"] == LETTER_O[0]:
            row["link_label"] = LETTER_O[1]
    return batch.replace(records=pa.Table.from_pylist(records, schema=schema("records")))


def floor_2() -> Batch:
    """23 of 24 links: one was never tested. One sweep stops early; one link carries the curves of its neighbour."""
    names = labels(2, "B", 24)
    wanted = [i for i, name in enumerate(names) if name != MISSING]
    numbers, told = [48 + i for i in wanted], [names[i] for i in wanted]
    batch = links(numbers, told, dt.datetime(2024, 6, 12, 8, 5), DAY_CREW, sequence=25)
    return _cut_short(_copy(batch, *COPIED), SHORT, SHORT_TO_MHZ)


def floor_3() -> Batch:
    """10 links of the subcontractor, tested with units out of calibration."""
    return links(range(96, 106), labels(3, "C", 10), dt.datetime(2024, 6, 13, 9, 30), SUBCONTRACTOR)


def basement() -> Batch:
    """4 links of which only the worst cases are left."""
    return links(range(192, 196), labels(0, "E", 4), dt.datetime(2024, 6, 7, 10, 5), DAY_CREW)


def retest() -> Batch:
    """The failing link of floor 1, mended and tested again two days later."""
    (whole,) = simulate(1, SEED, options(), start=int(FAILING[-2:]) - 1, fail_rate=1.0, retest_share=1.0)
    second = whole.select(whole["records"]["record_id"].to_pylist()[1:])
    return _told(second, [FAILING], dt.datetime(2024, 6, 12, 16, 40), DAY_CREW, 48)


def links(
    numbers: Sequence[int],
    names: Sequence[str],
    start: dt.datetime,
    crew: Crew,
    failing: dict[str, bool] | None = None,
    sequence: int = 1,
) -> Batch:
    """Simulated links by other names. failing: labels that fail, and whether the instrument says pass all the same.
    sequence: number of the first test in the memory of the instrument."""
    first, bad = min(numbers), failing or {}
    good = concat(simulate(max(numbers) + 1 - first, SEED, options(), start=first, fail_rate=0.0))
    parts = []
    for k, name in zip(numbers, names, strict=True):
        part = cut(good, k - first, k - first + 1)
        if name in bad:
            part = next(simulate(1, SEED, options(), start=k, fail_rate=1.0))
        parts.append(_flipped(part) if bad.get(name) else part)
    return _told(concat(parts), names, start, crew, sequence)


def options() -> Options:
    """How the links of the job are simulated."""
    return Options(length_m=(18.0, 45.0, 82.0), bundle_correlation=0.2).checked()


def _told(batch: Batch, names: Sequence[str], start: dt.datetime, crew: Crew, sequence: int = 1) -> Batch:
    """The batch with the job's labels, places, times, people and instruments; nothing says a zone or a job, as in an
    export."""
    records, places = batch["records"].to_pylist(), []
    main, remote = crew.units
    memory = crew.memory(start.date(), sequence)
    for i, (row, name) in enumerate(zip(records, names, strict=True)):
        at = start + dt.timedelta(seconds=187 * i + (41 * i) % 73)
        ends = [with_id("places", p) for p in _places(name)]
        places += ends
        row |= dict.fromkeys(("job_id", "tested_at", "utc_offset_min", "zone_basis"))
        row |= {
            "link_label": name,
            "local_place_id": ends[0]["place_id"],
            "remote_place_id": ends[1]["place_id"],
            "tested_found": at.strftime("%d.%m.%Y %H:%M:%S"),
            "tested_local": at.isoformat(),
            "operator_key": crew.person["person_key"],
            "local_instrument_id": main["instrument_id"],
            "remote_instrument_id": remote["instrument_id"],
            "sequence": f"{sequence + i:04d}",
            "source_id": memory["source_id"],
            "source_place": f"test {sequence + i:04d}",
        }
    shared = Batch.from_rows(
        {
            "records": records,
            "instruments": [main, remote],
            "people": [crew.person],
            "places": _once(places),
            "sources": [memory],
        }
    )
    changed = {name: shared[name] for name in ("records", "instruments", "people", "places", "jobs", "sources")}
    return batch.replace(**changed)


def _places(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    floor, panel, port = name[0], name.split("-")[1][0], name.split("-")[1][1:]
    here = {"site": SITE, "building": "A", "floor": floor}
    outlet = {"space": f"room {floor}{int(port.replace('O', '0')) // 2 + 1:02d}", "port": f"outlet {name}"}
    return {**here, "space": f"TR {floor}A", "panel": panel, "port": port}, {**here, **outlet}


def _once(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    return list({r["place_id"]: r for r in rows}.values())


def _flipped(batch: Batch) -> Batch:
    """The same, with every verdict turned to pass; the numbers stay."""
    records, reported = batch["records"].to_pylist(), batch["reported"].to_pylist()
    for row in records:
        row |= {"reported_verdict": "pass", "reported_words": "WITHIN"}
    for row in reported:
        row["verdict"] = "pass"
    made = Batch.from_rows({"records": records, "reported": reported})
    return batch.replace(records=made["records"], reported=made["reported"])


def _copy(batch: Batch, source: str, target: str) -> Batch:
    """The batch in which one link carries every number of another; its own identity and time stay."""
    ids = dict(zip(batch["records"]["link_label"].to_pylist(), batch["records"]["record_id"].to_pylist(), strict=True))
    changed = {}
    for name in ("readings", "sweeps", "reported", "wiremap"):
        table = batch[name]
        own = pc.equal(table["record_id"], ids[target])
        first = int(np.flatnonzero(own.to_numpy())[0])
        copied = table.filter(pc.equal(table["record_id"], ids[source]))
        column = pa.array([ids[target]] * copied.num_rows)
        copied = copied.set_column(0, table.schema.field(0), column)
        last = first + int(pc.sum(own).as_py())
        changed[name] = pa.concat_tables([table.slice(0, first), copied, table.slice(last)])
    return batch.replace(**changed)


def _cut_short(batch: Batch, label: str, to_mhz: float) -> Batch:
    """The batch in which the sweeps of one link stop early."""
    at = batch["records"]["link_label"].to_pylist().index(label)
    record = batch["records"]["record_id"][at].as_py()
    (axis,) = batch["axes"].to_pylist()
    short = axis_row([f for f in axis["frequencies_mhz"] if f <= to_mhz])
    points = len(short["frequencies_mhz"])
    rows = batch["sweeps"].to_pylist()
    for row in rows:
        if row["record_id"] == record:
            row |= {"axis_id": short["axis_id"], "values": row["values"][:points]}
    made = Batch.from_rows({"sweeps": rows, "axes": [axis, short]})
    return batch.replace(sweeps=made["sweeps"], axes=made["axes"])
