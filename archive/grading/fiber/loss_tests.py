"""Loss tests of optical links, taken out of the tables: one per record, with every loss that was measured.

A record is optical where its medium says so, or where it says nothing and has an optical loss or a trace.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow.compute as pc

from archive.tables import Batch
from archive.tables.arrow import Bools
from archive.vocabulary import cables

Row = Mapping[str, Any]
_OPTICAL = ("optical_loss", "optical_return_loss", "optical_power", "trace_loss", "backscatter")


@dataclass(frozen=True)
class MeasuredLoss:
    """One loss, dB. fiber, direction: "" where they are not stated; nm: None likewise. step: of the source's numbers.

    stated_limit, stated_verdict: of the export beside it.
    """

    fiber: str
    direction: str
    nm: float | None
    db: float
    step: float | None
    stated_limit: float | None = None
    stated_limit_step: float | None = None
    stated_verdict: str = ""


@dataclass
class LossTest:
    """One record as grading sees it. row: of records. length_m: by fiber, "" for the whole link."""

    row: Row
    losses: list[MeasuredLoss] = field(default_factory=list)
    length_m: dict[str, float] = field(default_factory=dict)

    @property
    def fiber_class(self) -> str:
        """Class of fiber that the cable type names, "" where it names none."""
        return cables.known(self.row["cable_type"]).get("class", "")

    @property
    def fibers(self) -> list[str]:
        """Fibers with a loss, in the order of the record."""
        return list(dict.fromkeys(loss.fiber for loss in self.losses))

    def length(self, fiber: str) -> float | None:
        """Length of a fiber, m: its own, else that of the link, else the longest of the record's."""
        found = self.length_m.get(fiber, self.length_m.get(""))
        return found if found is not None else max(self.length_m.values(), default=None)


def optical(batch: Batch) -> Bools:
    """A flag per record: is it one of an optical link."""
    records = batch["records"]
    medium = records.column("medium").to_pylist()
    if "fiber" not in medium and None not in medium:
        return np.zeros(len(medium), np.bool_)
    found = set()
    if None in medium:
        for table, column in (("readings", "quantity"), ("sweeps", "parameter")):
            rows = batch[table].select(["record_id", column])
            mine = rows.filter(pc.is_in(rows[column], value_set=_words()))
            found.update(mine["record_id"].to_pylist())
    ids = records.column("record_id").to_pylist()
    return np.array([m == "fiber" or (m is None and i in found) for m, i in zip(medium, ids, strict=True)], np.bool_)


def _words() -> Any:
    import pyarrow as pa

    return pa.array(_OPTICAL)


def loss_tests(batch: Batch) -> list[LossTest]:
    """The records of a batch, in their order."""
    made = {row["record_id"]: LossTest(row) for row in batch["records"].to_pylist()}
    stated = _stated(batch)
    for r in _rows(batch, "readings", "quantity", ("optical_loss", "length")):
        test = made.get(r["record_id"])
        if test is None or r["origin"] != "measured" or r["value"] is None or r["censored"]:
            continue
        if r["quantity"] == "length":
            test.length_m.setdefault(r["subject"] or "", r["value"])
            continue
        limit, step, verdict = _beside(stated.get(r["record_id"], ()), r)
        test.losses.append(
            MeasuredLoss(
                r["subject"] or "",
                r["direction"] or "",
                r["wavelength_nm"],
                r["value"],
                r["step"],
                limit,
                step,
                verdict,
            )
        )
    for r in _rows(batch, "readings", "quantity", ("length",)):
        test = made.get(r["record_id"])
        if test is not None and not test.length_m and r["value"] is not None:
            test.length_m.setdefault(r["subject"] or "", r["value"])  # stated by a person, where nobody measured it
    return list(made.values())


def _rows(batch: Batch, table: str, column: str, words: Iterable[str]) -> list[dict[str, Any]]:
    import pyarrow as pa

    found = batch[table]
    rows: list[dict[str, Any]] = found.filter(pc.is_in(found[column], value_set=pa.array(list(words)))).to_pylist()
    return rows


def _stated(batch: Batch) -> dict[str, list[dict[str, Any]]]:
    """Limits and verdicts that exports state for losses, by record."""
    found: dict[str, list[dict[str, Any]]] = {}
    for r in _rows(batch, "reported", "parameter", ("optical_loss",)):
        found.setdefault(r["record_id"], []).append({**r, "subject": r["pairing"]})
    for r in _rows(batch, "readings", "quantity", ("optical_loss",)):
        if r["origin"] == "limit" and r["value"] is not None:
            found.setdefault(r["record_id"], []).append({**r, "limit": r["value"], "verdict": None})
    return found


def _beside(stated: Iterable[Row], loss: Row) -> tuple[float | None, float | None, str]:
    """Limit, step of its numbers and verdict that an export states for a loss: of rows that say nothing against it."""
    limit, step, verdict = None, None, ""
    for r in stated:
        same = all(
            r[k] is None or loss[k] is None or r[k] == loss[k] for k in ("subject", "direction", "wavelength_nm")
        )
        if not same:
            continue
        if limit is None and r["limit"] is not None:
            limit, step = r["limit"], r["step"]
        verdict = verdict or r["verdict"] or ""
    return limit, step, verdict
