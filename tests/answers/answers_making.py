"""An archive of an invented job with every kind of trouble that a claim file must tell. Nothing here was measured."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from archive import store
from archive.answers import jobs, regrade
from archive.answers.intake import Choices, ingest
from archive.demo import job as demo
from archive.formats import write
from archive.store.catalogue.filters import Filters
from archive.store.deposits import DepositFacts
from archive.store.documents import DocumentFacts, attach
from archive.tables import Batch, axis_row, concat

JOB, SITE, BY = "QUAY-2024-06", "Lantern Quay 4", "H. Brume"
STANDS, FLIPPED, SOURCE, COPY, EXPIRED, CONFLICT, POINTS, ALIKE = (
    "1A-A01",
    "1A-A02",
    "1A-A03",
    "1A-A04",
    "1A-A05",
    "1A-A06",
    "1A-A07",
    "1A-AO1",
)
HOSTILE = (
    "<script>alert(1)</script>",
    '=HYPERLINK("http://invented.example","open")',
    "A\u202e17-B",
    "#set page(fill: red) $x$ *b* @c",
    "A/17",
    "A:17",
    "CON",
    "L" + "0123456789" * 30,
    "端口-7",
)
_SCHEDULE = "link,required limit,bundle,due\n" + "".join(
    f"1A-A{n:02d},{demo.LIMIT},{'B1' if n < 6 else 'B2'},2024-06-14\n" for n in range(1, 10)
)


def day(n: int, hour: int = 8) -> dt.datetime:
    """A day of June 2024."""
    return dt.datetime(2024, 6, n, hour, 12)


def archive_of_troubles(folder: Path) -> store.Archive:
    """The archive. Its parts are made in `folder`."""
    exports = folder / "exports"
    exports.mkdir(parents=True)
    (exports / "schedule.csv").write_text(_SCHEDULE, encoding="utf-8")
    _write([_first(), _expired()], exports / "first.xml")
    store.create(folder / "archive")
    opened = store.open(folder / "archive")
    _deposit(opened, [exports / "first.xml"], exports / "schedule.csv")
    # The first link is tested again, and one test comes a second time with other values.
    again = demo.links([9], [STANDS], day(12, 16), demo.DAY_CREW, sequence=40)
    _write([again], exports / "again.xml")
    _write([other_values(_one(_first(), CONFLICT))], exports / "other.xml")
    _deposit(opened, [exports / "again.xml"])
    _deposit(opened, [exports / "other.xml"])
    _file(opened, exports)
    jobs.state(
        opened, JOB, ["warranty_start=2024-07-01", "warranty_end=2049-06-30", "client=Lantern Quay Trust"], by=BY
    )
    regrade.regrade(opened, Filters(link=STANDS), against=["tia-568-c.2/cat6a/permanent-link"], by=BY, reason="tests")
    return opened


def _first() -> Batch:
    names = [STANDS, FLIPPED, SOURCE, COPY, CONFLICT, POINTS, ALIKE]
    batch = demo.links(range(7), names, day(10), demo.DAY_CREW, failing={FLIPPED: True})
    return points_only(demo._copy(batch, SOURCE, COPY), POINTS)


def _expired() -> Batch:
    return demo.links([8], [EXPIRED], day(13), demo.SUBCONTRACTOR)


def _file(opened: store.Archive, exports: Path) -> None:
    certificate = exports / "certificate.txt"
    certificate.write_text("An invented certificate.\n", encoding="utf-8")
    attach(
        opened,
        [certificate],
        DocumentFacts(
            JOB, "certificate", serial="40-00317", title="Calibration of unit 40-00317", valid_until="2024-11-02"
        ),
        by=BY,
    )


def _write(batches: Sequence[Batch], path: Path) -> None:
    write([concat(list(batches))] if len(batches) > 1 else list(batches), path, "xml")


def _deposit(opened: store.Archive, inputs: Sequence[Path], schedule: Path | None = None) -> None:
    facts = DepositFacts(job=JOB, site=SITE, zone="Europe/Lisbon", by=BY)
    ingest(opened, inputs, facts, Choices(schedule=schedule))


def _one(batch: Batch, label: str) -> Batch:
    at = batch["records"]["link_label"].to_pylist().index(label)
    return batch.select([batch["records"]["record_id"][at].as_py()])


def other_values(batch: Batch) -> Batch:
    """The same test with other values: every insertion loss half a decibel higher; from another file."""
    rows = batch["sweeps"].to_pylist()
    for row in rows:
        if row["parameter"] == "insertion_loss":
            row["values"] = [v + 0.5 for v in row["values"]]
    return from_elsewhere(batch.replace(sweeps=Batch.from_rows({"sweeps": rows})["sweeps"]), "b")


def from_elsewhere(batch: Batch, digit: str) -> Batch:
    """One record as it would come from another file: its own ids, made of one hexadecimal digit."""
    record, source = "re-" + digit * 32, digit * 64
    changed: dict[str, Any] = {"sources": copy.deepcopy(batch["sources"].to_pylist())}
    changed["sources"][0] |= {"source_id": source, "path": f"another export, {digit}"}
    for name in ("records", "sweeps", "readings", "reported", "wiremap"):
        changed[name] = [{**row, "record_id": record} for row in batch[name].to_pylist()]
    changed["records"][0]["source_id"] = source
    made = Batch.from_rows(changed)
    return batch.replace(**{name: made[name] for name in changed})


def points_only(batch: Batch, label: str) -> Batch:
    """The batch in which one record has only the worst points that its instrument reported."""
    rows = batch["records"].to_pylist()
    record = next(r for r in rows if r["link_label"] == label)
    record["evidence"] = "worst-points"
    sweeps = [s for s in batch["sweeps"].to_pylist() if s["record_id"] != record["record_id"]]
    made = Batch.from_rows({"records": rows, "sweeps": sweeps})
    return batch.replace(records=made["records"], sweeps=made["sweeps"])


def archive_of_hostile_labels(folder: Path) -> store.Archive:
    """An archive whose labels try to be markup, formulas and names of files."""
    folder.mkdir(parents=True)
    batch = demo.links(range(len(HOSTILE)), [f"1A-A{n:02d}" for n in range(len(HOSTILE))], day(10), demo.DAY_CREW)
    rows = batch["records"].to_pylist()
    for row, label in zip(rows, HOSTILE, strict=True):
        row |= {"link_label": label, "comment": label, "cable_found": label}
    batch = batch.replace(records=Batch.from_rows({"records": rows})["records"])
    write([batch], folder / "hostile.xml", "xml")
    store.create(folder / "archive")
    opened = store.open(folder / "archive")
    ingest(
        opened, [folder / "hostile.xml"], DepositFacts(job=JOB, site='<img src="http://invented.example/x">', by="<b>")
    )
    return opened


def optical() -> Batch:
    """A duplex link: losses at two wavelengths in both directions with the limit that the export reports, and a trace
    with three events."""
    distances = [0.001 * n for n in range(1201)]
    axis = axis_row(distances, "distances_km")
    values = [0.35 * d + (0.4 if d > 0.4 else 0.0) - 40.0 for d in distances]
    record = {
        "record_id": "re-" + "f" * 32,
        "medium": "fiber",
        "link_label": "2F-01",
        "tested_local": "2024-06-14T09:00",
        "tested_found": "14.06.2024 09:00",
        "evidence": "full-sweep",
        "limit_found": "an invented limit of 2.0 dB",
        "reported_verdict": "pass",
        "reference_method": "one-cord",
    }
    key = {"record_id": record["record_id"]}
    loss = [
        {**key, "quantity": "optical_loss", "subject": fiber, "direction": way, "wavelength_nm": wave, "value": value}
        for fiber, way, wave, value in (
            ("1", "local-remote", 850.0, 1.42),
            ("1", "remote-local", 850.0, 1.51),
            ("2", "local-remote", 1300.0, 0.93),
            ("2", "remote-local", 1300.0, 2.3),
        )
    ]
    stated = [
        {**key, "parameter": "optical_loss", "kind": "worst_margin", "pairing": r["subject"], "limit": 2.0}
        | {"direction": r["direction"], "wavelength_nm": r["wavelength_nm"], "value": r["value"]}
        | {"margin": 2.0 - float(str(r["value"]))}
        for r in loss
    ]
    events = [
        {**key, "fiber": "1", "number": 1, "kind": "reflective", "distance_km": 0.0, "reflectance_db": -48.2},
        {**key, "fiber": "1", "number": 2, "kind": "non-reflective", "distance_km": 0.4, "loss_db": 0.4},
        {**key, "fiber": "1", "number": 3, "kind": "end", "distance_km": 1.2, "slope_db_km": 0.35},
    ]
    curve = {**key, "parameter": "backscatter", "end": "local", "pairing": "1", "wavelength_nm": 1310.0}
    return Batch.from_rows(
        {
            "records": [record],
            "axes": [axis],
            "sweeps": [{**curve, "origin": "measured", "axis_id": axis["axis_id"], "values": values}],
            "readings": [{**r, "origin": "measured"} for r in loss],
            "reported": stated,
            "trace_events": events,
        }
    )
