"""Findings gathered over many batches: every one counted, so many of each rule kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.isolation import ProgramFault
from archive.tables import Batch
from archive.validation import catalogue
from archive.validation.catalogue.findings import COULD_NOT_LOOK

Places = Callable[[list[str]], dict[str, str]]
"""File and place in it by record id."""
KEPT = 10_000
"""Findings of one rule that are kept; the rest is counted."""
_ORDER = {"error": 0, "warning": 1, "information": 2}


class Collected:
    """Findings, counts, what could not be looked at, and bugs of this program.

    records, set_aside: numbers; totals: findings by rule; blind: records by rule and reason (0: the job as a whole);
    findings: those kept, as dicts of the table's columns with the place in the source added ("source": file and place
    in it).
    """

    def __init__(self, kept: int = KEPT) -> None:
        self._kept = kept
        self.records = 0
        self.set_aside = 0
        self.totals: Counter[str] = Counter()
        self.severities: Counter[str] = Counter()
        self.blind: Counter[tuple[str, str]] = Counter()
        self.faults: dict[tuple[str, str], ProgramFault] = {}
        self._findings: dict[str, list[dict[str, Any]]] = {}
        self._severity: dict[str, str] = {}

    def add_batch(self, batch: Batch, found: pa.Table, faults: tuple[ProgramFault, ...] = ()) -> None:
        """Findings of one batch, with the places of its records in their sources."""
        self.records += len(batch)
        self.set_aside += batch["set_aside"].num_rows
        self.add(found, faults, lambda ids: places(batch, ids))

    def add(self, found: pa.Table, faults: tuple[ProgramFault, ...] = (), place: Places | None = None) -> None:
        """Findings as a table. place(record_ids): the place in its source by record id."""
        for fault in faults:
            self.faults.setdefault((fault.where, fault.what), fault)
        blind = pc.equal(found.column("status"), COULD_NOT_LOOK)
        for row in found.filter(blind).group_by(["rule", "message"]).aggregate([("record_id", "count")]).to_pylist():
            self.blind[row["rule"], row["message"]] += row["record_id_count"]
        raised = found.filter(pc.invert(blind))
        for row in raised.group_by(["rule", "severity"]).aggregate([([], "count_all")]).to_pylist():
            self.totals[row["rule"]] += row["count_all"]
            self.severities[row["severity"]] += row["count_all"]
            self._severity[row["rule"]] = row["severity"]
        for name in pc.unique(raised.column("rule")).to_pylist():
            kept = self._findings.setdefault(name, [])
            if len(kept) < self._kept:
                mine = raised.filter(pc.equal(raised.column("rule"), name)).slice(0, self._kept - len(kept))
                rows = mine.to_pylist()
                known = place([r["record_id"] for r in rows if r["record_id"]]) if place else {}
                kept.extend(_placed(r, known.get(r["record_id"], "")) for r in rows)

    @property
    def rules(self) -> list[str]:
        """Rules that found something: the gravest first, of these what stands against the job as a whole, then in the
        order of the catalogue."""
        rules = catalogue.rules()
        order = {name: i for i, name in enumerate(rules)}

        def urgency(name: str) -> tuple[int, bool, int]:
            return _ORDER[self._severity[name]], name not in rules or rules[name].by != "job", order.get(name, 0)

        return sorted(self.totals, key=urgency)

    def of(self, rule: str) -> list[dict[str, Any]]:
        """Findings of one rule that are kept."""
        return self._findings.get(rule, [])

    def severity(self, rule: str) -> str:
        """Severity of the findings of a rule."""
        return self._severity[rule]

    @property
    def anything_to_look_at(self) -> bool:
        """An error, something set aside, or a bug of this program."""
        return bool(self.severities["error"] or self.set_aside or self.faults)


def _placed(row: dict[str, Any], source: str) -> dict[str, Any]:
    """A finding with its place in the source; what was set aside has no record, and names its file itself."""
    if row["rule"] == "record-set-aside":
        return {**row, "source": row["where"], "where": None}
    return {**row, "source": source}


def places(batch: Batch, record_ids: list[str]) -> dict[str, str]:
    """File and place in it by record id, as far as they are known."""
    wanted = pa.array(list(dict.fromkeys(record_ids)), type=pa.string())
    records = batch["records"]
    mine = records.filter(pc.is_in(records.column("record_id"), value_set=wanted))
    paths = {r["source_id"]: r["path"] for r in batch["sources"].select(["source_id", "path"]).to_pylist()}
    out = {}
    for row in mine.select(["record_id", "source_id", "source_place"]).to_pylist():
        parts = [p for p in (paths.get(row["source_id"]), row["source_place"]) if p]
        out[row["record_id"]] = ", ".join(parts)
    return out
