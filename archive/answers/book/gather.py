"""Gathers a job for its book: the schedule and every standing record, from the catalogue and the bags."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pyarrow.compute as pc

from archive.answers.book.facts import BookFacts, BookLink
from archive.answers.claim.around import documents, job_facts
from archive.answers.claim.facts import Tested
from archive.answers.link import people
from archive.answers.progress import LinkState, progress
from archive.errors import Trouble
from archive.store import Archive
from archive.store.parquet import BagTables

_PLACE = ("building", "floor", "space", "panel", "port")


def gather(archive: Archive, job: str, *, cover: str = "") -> BookFacts:
    """Facts of one job. Errors: Trouble where the archive holds nothing of it."""
    told = progress(archive, job)
    if not told.links:
        raise Trouble("nothing was deposited for this job", where=str(archive.root), found=job)
    head = archive.head()
    newest = archive.ledger.read(head.size - 1)
    shelves = _Shelves(archive)
    links = [_link(x, shelves) for x in told.links]
    deposits = _deposits(archive, job)
    return BookFacts(
        job=job_facts(archive, job, _site(archive, job)),
        links=links,
        progress=told.plain(),
        instruments=_instruments(told.links, shelves),
        findings=shelves.findings([x.record for x in told.links if x.record]),
        documents=documents(archive, job),
        deposits=deposits,
        head=head.root,
        entries=head.size,
        state=str(newest.get("at")) if newest is not None else "",
        archive_id=archive.id,
        cover=cover,
    )


class _Shelves:
    """Bags that are opened once, and what the book needs of each."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._bags: dict[str, BagTables] = {}
        self._margins: dict[str, dict[str, dict[str, float]]] = {}
        self._values: dict[str, dict[str, dict[str, float]]] = {}
        self._places: dict[str, dict[str, dict[str, Any]]] = {}
        self._reasons: dict[str, dict[str, str]] = {}

    def bag(self, deposit: str) -> BagTables:
        """The tables of a deposit."""
        if deposit not in self._bags:
            self._bags[deposit] = self._archive.tables(deposit)
        return self._bags[deposit]

    def margins(self, deposit: str, record: str, limit: str | None) -> dict[str, float]:
        """Smallest margin of each parameter of a record, under the limit that its verdict names."""
        if deposit not in self._margins:
            grades = self.bag(deposit).table("grades")
            kept = grades.filter(pc.equal(grades["kind"], "worst_margin"))
            least = kept.group_by(["record_id", "limit_id", "parameter"]).aggregate([("margin", "min")]).to_pylist()
            found: dict[str, dict[str, float]] = {}
            for g in least:
                if g["margin_min"] is not None:
                    found.setdefault(f"{g['record_id']} {g['limit_id']}", {})[g["parameter"]] = g["margin_min"]
            self._margins[deposit] = found
        return self._margins[deposit].get(f"{record} {limit}", {})

    def values(self, deposit: str, record: str) -> dict[str, float]:
        """Largest measured value of each scalar quantity of a record."""
        if deposit not in self._values:
            readings = self.bag(deposit).table("readings")
            kept = readings.filter(pc.is_in(readings["origin"], value_set=_measured()))
            most = kept.group_by(["record_id", "quantity"]).aggregate([("value", "max")]).to_pylist()
            found: dict[str, dict[str, float]] = {}
            for r in most:
                if r["value_max"] is not None:
                    found.setdefault(r["record_id"], {})[r["quantity"]] = r["value_max"]
            self._values[deposit] = found
        return self._values[deposit].get(record, {})

    def reason(self, deposit: str, record: str) -> str:
        """Why a record's first verdict is none, or what it leaves out."""
        if deposit not in self._reasons:
            rows = self.bag(deposit).table("verdicts").select(["record_id", "reason"]).to_pylist()
            self._reasons[deposit] = {r["record_id"]: r["reason"] or "" for r in reversed(rows)}
        return self._reasons[deposit].get(record, "")

    def place(self, deposit: str, record: str) -> dict[str, Any]:
        """Place of the local end of a record, or else of the remote one."""
        if deposit not in self._places:
            bag = self.bag(deposit)
            places = {p["place_id"]: p for p in bag.table("places").to_pylist()}
            records = bag.table("records").select(["record_id", "local_place_id", "remote_place_id"]).to_pylist()
            self._places[deposit] = {
                r["record_id"]: places.get(r["local_place_id"]) or places.get(r["remote_place_id"]) or {}
                for r in records
            }
        return self._places[deposit].get(record, {})

    def findings(self, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Findings about the given records."""
        wanted = {r["record_id"] for r in rows}
        found: list[dict[str, Any]] = []
        for deposit in sorted({r["deposit"] for r in rows}):
            table = self.bag(deposit).table("findings")
            found.extend(f for f in table.to_pylist() if f["record_id"] in wanted)
        return found

    def loader(self, row: dict[str, Any]) -> Callable[[], Tested]:
        """Reads one record from its bag when it is asked for."""

        def load() -> Tested:
            deposit, _, position = row["address"].rpartition("/")
            batch = self.bag(deposit).record(int(position))
            return Tested(batch, row["digest"], row["address"], deposit, standing=True)

        return load


def _measured() -> Any:
    import pyarrow as pa

    return pa.array(["measured", "stated"])


def _link(x: LinkState, shelves: _Shelves) -> BookLink:
    r = x.record
    place = dict(x.place)
    if r is not None and not any(place.values()):
        place = shelves.place(r["deposit"], r["record_id"])
    building, floor, space, panel, port = (str(place.get(k) or "") for k in _PLACE)
    if r is None:
        return BookLink(
            x.label,
            building,
            floor,
            space,
            panel,
            port,
            state="not tested",
            tested="",
            limit=x.required_limit or "",
            reported="",
            verdict="not graded",
            reason="not tested",
            marginal=False,
            provisional=False,
            cable_type="",
        )
    return BookLink(
        x.label,
        building,
        floor,
        space,
        panel,
        port,
        state="stands",
        tested=r["tested_local"] or r["tested_at"] or "",
        limit=r["limit_id"] or r["limit_found"] or "",
        reported=r["reported_verdict"] or "",
        verdict=r["verdict"] or "not graded",
        reason=shelves.reason(r["deposit"], r["record_id"]),
        marginal=bool(r["marginal"]),
        provisional=bool(r["provisional"]),
        cable_type=r["cable_type"] or "",
        margins=shelves.margins(r["deposit"], r["record_id"], r["limit_id"]),
        values=shelves.values(r["deposit"], r["record_id"]),
        load=shelves.loader(r),
    )


def _site(archive: Archive, job: str) -> str | None:
    found = archive.db.execute(
        "SELECT site FROM records WHERE job_id = ? AND site IS NOT NULL LIMIT 1", (job,)
    ).fetchone()
    return None if found is None else str(found[0])


def _instruments(links: list[LinkState], shelves: _Shelves) -> list[dict[str, Any]]:
    """Units that standing records name, with the number of links that rest on each."""
    counts: dict[str, int] = {}
    for x in links:
        for serial in {x.record["local_serial"], x.record["remote_serial"]} if x.record else set():
            if serial:
                counts[serial] = counts.get(serial, 0) + 1
    units: dict[tuple[Any, ...], dict[str, Any]] = {}
    for deposit in sorted({x.record["deposit"] for x in links if x.record}):
        for u in shelves.bag(deposit).table("instruments").to_pylist():
            if u["serial"] in counts:
                key = (u["serial"], u["calibrated_on"], u["calibration_due"])
                units[key] = {**u, "links": counts[u["serial"]]}
    return [units[k] for k in sorted(units, key=str)]


def _deposits(archive: Archive, job: str) -> list[dict[str, Any]]:
    found = []
    rows = archive.db.execute("SELECT deposit, records, root FROM deposits WHERE job_id = ? ORDER BY number", (job,))
    for deposit, records, root in rows.fetchall():
        entry = archive.deposit_entry(deposit)
        name = people(archive, [entry.get("by")], [entry]).get(entry.get("by") or "", "")
        found.append({"deposit": deposit, "when": entry.get("at"), "by": name, "records": records, "root": root})
    return found
