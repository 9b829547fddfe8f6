"""The bags of a job, each opened once, and what a book needs of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import grading, vocabulary
from archive.answers.book.book_facts import BookLink, Result
from archive.answers.claim.claim_facts import TestedRecord
from archive.answers.leading_margins import verdicts_with_leading
from archive.errors import Trouble
from archive.store import Archive
from archive.store.parquet import BagTables
from archive.tables.arrow import coded
from archive.tables.canonical import record_digests

_TOGETHER = 24
"""Records that are read at once: their curves are in memory together."""


class Shelves:
    """What a book takes from the bags of an archive. Errors: Trouble where a table is not what the ledger says."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._bags: dict[str, BagTables] = {}
        self._known: dict[tuple[str, str], Any] = {}

    def bag(self, deposit: str) -> BagTables:
        """The tables of a deposit, each file digested before it is read."""
        if deposit not in self._bags:
            self._bags[deposit] = self._archive.tables(deposit)
        return self._bags[deposit]

    def margins(self, deposit: str, record: str, limit: str | None) -> dict[str, float]:
        """Smallest margin of each parameter of a record, under the limit that its verdict names."""
        key = ("margins", deposit)
        if key not in self._known:
            rows = self._worst(deposit)
            least = rows.group_by(["record_id", "limit_id", "parameter"]).aggregate([("margin", "min")]).to_pylist()
            found: dict[tuple[str, str | None], dict[str, float]] = {}
            for g in least:
                if g["margin_min"] is not None:
                    found.setdefault((g["record_id"], g["limit_id"]), {})[g["parameter"]] = g["margin_min"]
            self._known[key] = found
        return dict(self._known[key].get((record, limit), {}))

    def values(self, deposit: str, record: str) -> dict[str, float]:
        """The worst reading of each quantity of a record: the largest of a maximum, the smallest of a minimum."""
        key = ("values", deposit)
        if key not in self._known:
            readings = self.bag(deposit).table("readings")
            kept = readings.filter(pc.is_in(readings["origin"], value_set=pa.array(["measured", "stated"])))
            grouped = kept.group_by(["record_id", "quantity"]).aggregate([("value", "max"), ("value", "min")])
            found: dict[str, dict[str, float]] = {}
            for r in grouped.to_pylist():
                largest = vocabulary.parameter(r["quantity"]).sense == "max"
                value = r["value_max"] if largest else r["value_min"]
                if value is not None:
                    found.setdefault(r["record_id"], {})[r["quantity"]] = value
            self._known[key] = found
        return dict(self._known[key].get(record, {}))

    def losses(self, deposit: str, record: str) -> dict[float, float]:
        """The largest measured optical loss of a record, dB, by wavelength in nm."""
        key = ("losses", deposit)
        if key not in self._known:
            readings = self.bag(deposit).table("readings")
            optical = pc.and_(pc.equal(readings["quantity"], "optical_loss"), pc.equal(readings["origin"], "measured"))
            kept = readings.filter(pc.and_(optical, pc.is_valid(readings["wavelength_nm"])))
            found: dict[str, dict[float, float]] = {}
            for r in kept.group_by(["record_id", "wavelength_nm"]).aggregate([("value", "max")]).to_pylist():
                if r["value_max"] is not None:
                    found.setdefault(r["record_id"], {})[r["wavelength_nm"]] = r["value_max"]
            self._known[key] = found
        return dict(self._known[key].get(record, {}))

    def verdicts(self, deposit: str, record: str) -> list[dict[str, Any]]:
        """Rows of verdicts of a record."""
        key = ("verdicts", deposit)
        if key not in self._known:
            found: dict[str, list[dict[str, Any]]] = {}
            bag = self.bag(deposit)
            for v in verdicts_with_leading(bag.table("verdicts"), lambda: bag.table("grades")).to_pylist():
                found.setdefault(v["record_id"], []).append(v)
            self._known[key] = found
        return list(self._known[key].get(record, []))

    def place(self, deposit: str, record: str) -> dict[str, Any]:
        """Place of the local end of a record, or else of the remote one."""
        key = ("places", deposit)
        if key not in self._known:
            bag = self.bag(deposit)
            places = {p["place_id"]: p for p in bag.table("places").to_pylist()}
            records = bag.table("records").select(["record_id", "local_place_id", "remote_place_id"]).to_pylist()
            self._known[key] = {
                r["record_id"]: places.get(r["local_place_id"]) or places.get(r["remote_place_id"]) or {}
                for r in records
            }
        return dict(self._known[key].get(record, {}))

    def instruments(self, deposit: str) -> list[dict[str, Any]]:
        """Rows of instruments."""
        found: list[dict[str, Any]] = self.bag(deposit).table("instruments").to_pylist()
        return found

    def findings(self, deposits: Sequence[str], records: set[str], labels: set[str]) -> list[dict[str, Any]]:
        """Findings about the given records, and about links of these labels and no single record."""
        found: list[dict[str, Any]] = []
        for deposit in deposits:
            table = self.bag(deposit).table("findings")
            mine = pc.is_in(table["record_id"], value_set=pa.array(sorted(records), pa.string()))
            no_record = pc.and_(
                pc.is_null(table["record_id"]),
                pc.is_in(table["link_label"], value_set=pa.array(sorted(labels), pa.string())),
            )
            found.extend(table.filter(pc.or_(mine, no_record)).to_pylist())
        return found

    def result(self, link: BookLink) -> Result:
        """Verdicts, worst points and the instrument's own of a link's standing record."""
        deposit, record = link.address.rpartition("/")[0], self._record_id(link.address)
        verdicts = self.verdicts(deposit, record)
        limit = verdicts[0]["limit_id"] if verdicts else None
        grades = [g for g in self._slice(deposit, "grades", record) if g["limit_id"] == limit]
        return Result(verdicts, grades, self._slice(deposit, "reported", record))

    def records(self, links: Sequence[BookLink]) -> Iterator[tuple[BookLink, TestedRecord]]:
        """Standing records with their curves, far-end ratios derived, in the order of the links."""
        held = [x for x in links if x.address]
        for k in range(0, len(held), _TOGETHER):
            some = held[k : k + _TOGETHER]
            wanted: dict[str, list[int]] = {}
            for x in some:
                deposit, _, position = x.address.rpartition("/")
                wanted.setdefault(deposit, []).append(int(position))
            read = {f"{d}/{p}": batch for d, at in wanted.items() for p, batch in self.bag(d).select(at)}
            for x in some:
                batch = read[x.address]
                digest = record_digests(batch)[0]
                if digest != x.record["digest"]:
                    raise Trouble(
                        "the record in its bag is not the one the ledger proves",
                        code="archive.record-altered",
                        where=x.address,
                        found=digest,
                        expected=str(x.record["digest"]),
                        remedy=f"run `muniment fixity {self._archive.root} --depth deep`",
                    )
                drawn = grading.derived(batch, ("acr_f",))
                yield (
                    x,
                    TestedRecord(batch, digest, x.address, x.address.rpartition("/")[0], standing=True, curves=drawn),
                )

    def _record_id(self, address: str) -> str:
        deposit, _, position = address.rpartition("/")
        key = ("ids", deposit)
        if key not in self._known:
            self._known[key] = self.bag(deposit).table("records")["record_id"].to_pylist()
        return str(self._known[key][int(position)])

    def _worst(self, deposit: str) -> Any:
        grades = self.bag(deposit).table("grades")
        return grades.filter(pc.equal(grades["kind"], "worst_margin"))

    def _slice(self, deposit: str, name: str, record: str) -> list[dict[str, Any]]:
        """Of one record the row with the smallest margin of each limit, parameter and end."""
        key = (name, deposit)
        if key not in self._known:
            table = self._worst(deposit) if name == "grades" else self.bag(deposit).table(name)
            table = table.filter(pc.and_(pc.equal(table["kind"], "worst_margin"), pc.is_valid(table["margin"])))
            table = _least(table, [c for c in ("record_id", "limit_id", "parameter", "end") if c in table.column_names])
            ids = table["record_id"].to_pylist()
            places: dict[str, list[int]] = {}
            for row, r in enumerate(ids):
                places.setdefault(r, []).append(row)
            self._known[key] = (table, places)
        table, places = self._known[key]
        found: list[dict[str, Any]] = table.take(pa.array(places.get(record, []), pa.int64())).to_pylist()
        return found


def _least(table: Any, keys: list[str]) -> Any:
    """Of the rows with equal keys the one with the smallest margin, the first of several."""
    if not table.num_rows:
        return table
    codes = [coded(table[k])[1] for k in keys]
    order = np.lexsort((table["margin"].to_numpy(), *codes[::-1]))
    sorted_codes = np.stack([c[order] for c in codes])
    first = np.r_[True, (np.diff(sorted_codes, axis=1) != 0).any(axis=0)]
    return table.take(pa.array(np.sort(order[first])))
