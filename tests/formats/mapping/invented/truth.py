"""The truth of an invented export, as a Batch of the open form."""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np

from archive.tables import Batch, axis_row, person_key, with_id

from .job import Test

SALT = "0123456789abcdef0123456789abcdef"


class Truth:
    """Collects the rows that an export says."""

    def __init__(self, layout: str) -> None:
        self.layout = layout
        self.rows: dict[str, list[dict[str, Any]]] = {}
        self._axes: dict[str, dict[str, Any]] = {}
        self._ids: dict[int, str] = {}
        self._tests: list[Test] = []

    def _add(self, table: str, **row: Any) -> None:
        self.rows.setdefault(table, []).append({k: v for k, v in row.items() if v is not None})

    def id(self, test: Test) -> str:
        """Id of a test's record in the truth (no reader gives the same)."""
        return self._ids[id(test)]

    def record(self, test: Test, **columns: Any) -> None:
        """A record, with what the layout says of it."""
        name = f"{self.layout} {len(self._ids)}"
        self._tests.append(test)  # kept, so that its id stays its own
        self._ids[id(test)] = "re-" + hashlib.sha256(name.encode()).hexdigest()[:32]
        for side in ("local", "remote"):
            unit = columns.pop(f"{side}_unit", None)
            if unit:
                row = with_id("instruments", unit)
                columns[f"{side}_instrument_id"] = row["instrument_id"]
                if row not in self.rows.setdefault("instruments", []):
                    self.rows["instruments"].append(row)
            place = columns.pop(f"{side}_place", None)
            if place:
                row = with_id("places", place)
                columns[f"{side}_place_id"] = row["place_id"]
                if row not in self.rows.setdefault("places", []):
                    self.rows["places"].append(row)
        person = columns.pop("operator", None)
        if person:
            row = {"person_key": person_key(SALT, person["name"]), "salt": SALT, "role": "operator", **person}
            columns["operator_key"] = row["person_key"]
            if row not in self.rows.setdefault("people", []):
                self.rows["people"].append(row)
        job = columns.pop("job", None)
        if job:
            columns["job_id"] = job["job_id"]
            if job not in self.rows.setdefault("jobs", []):
                self.rows["jobs"].append(job)
        evidence = columns.pop("evidence", "verdict-only")
        self._add("records", record_id=self.id(test), evidence=evidence, **columns)

    def reading(self, test: Test, quantity: str, value: float, subject: str | None = None, **more: Any) -> None:
        """A reading."""
        self._add(
            "readings",
            record_id=self.id(test),
            quantity=quantity,
            value=float(value),
            subject=subject,
            origin=more.pop("origin", "measured"),
            **more,
        )

    def sweep(
        self, test: Test, parameter: str, end: str, pairing: str, axis: Any, values: Any, origin: str = "", **more: Any
    ) -> None:
        """A curve; NaN is a missing point."""
        row = axis_row([float(f) for f in axis])
        self._axes[row["axis_id"]] = row
        derived = parameter.startswith(("ps_", "acr_"))
        self._add(
            "sweeps",
            record_id=self.id(test),
            parameter=parameter,
            end=end or None,
            pairing=pairing or None,
            origin=origin or ("derived" if derived else "measured"),
            axis_id=row["axis_id"],
            values=[None if np.isnan(v) else float(v) for v in values],
            **more,
        )

    def reported(self, test: Test, parameter: str, kind: str, **more: Any) -> None:
        """What the instrument says of a parameter."""
        self._add("reported", record_id=self.id(test), parameter=parameter, kind=kind, **more)

    def worst_margin(self, test: Test, worst: dict[str, Any], decimals: int = 2, **more: Any) -> None:
        """A worst margin as a layout prints it with value, limit and verdict: to 0.1 dB, its frequency to so many
        decimals."""
        figures = {name: round(worst[name], 1) for name in ("value", "limit", "margin")}
        self.reported(
            test,
            worst["parameter"],
            "worst_margin",
            end=worst["end"],
            pairing=worst["pairing"],
            frequency_mhz=round(worst["frequency_mhz"], decimals),
            verdict=worst["verdict"],
            step=0.1,
            **figures,
            **more,
        )

    def wires(self, test: Test, far: dict[str, str | None]) -> None:
        """A wire map."""
        for near, there in far.items():
            self._add("wiremap", record_id=self.id(test), near=near, far=there, fault=None if there else "open")

    def extra(self, test: Test, name: str, value: str) -> None:
        """A cell that no column takes."""
        self._add("extras", record_id=self.id(test), name=name, value=value)

    def batch(self) -> Batch:
        """The truth; rows stand in the order of the records."""
        rows = dict(self.rows)
        rows["axes"] = list(self._axes.values())
        order = {r["record_id"]: i for i, r in enumerate(rows["records"])}
        for name, listed in rows.items():
            if listed and "record_id" in listed[0] and name != "records":
                listed.sort(key=lambda r: order[r["record_id"]])
        return Batch.from_rows(rows)
