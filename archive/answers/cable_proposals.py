"""What the figures of the links of some words about a cable fit: ranked, for a person to settle. Nothing is settled."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from archive import vocabulary
from archive.store import Archive
from archive.validation import catalogue
from archive.validation.look import RecordLook
from archive.validation.rules.cables import witness
from archive.vocabulary import cables

MOST_RECORDS = 8
"""Records of the same words that are looked at."""

MOST = 3
"""Proposals that are given."""


def proposals(archive: Archive, addresses: Sequence[str], cable_type: str) -> list[dict[str, Any]]:
    """Types that fit resistance, length and loss of records, the nearest first; parts of `cable_type` that are known
    stay as they are. Each has `type` and `why`, with the figures. Empty where the figures tell nothing.

    Errors: Trouble where a bag is damaged.
    """
    batches = [archive.record(a) for a in addresses[:MOST_RECORDS]]
    gauges, spreads = _figures(batches)
    if not len(gauges):
        return []
    gauge, spread = float(np.median(gauges)), float(np.median(spreads))
    copper = f"resistance of copper of AWG {gauge:.1f} ({gauge - spread:.1f} to {gauge + spread:.1f})"
    known = dict(cables.known(cable_type))
    name = known.get("gauge") or f"awg{round(gauge)}"
    if name not in vocabulary.words("cable_gauge"):
        return [{"type": cable_type, "why": f"{copper}: no gauge of cables"}]
    rule = catalogue.rule("gauge-not-as-stated").tolerances
    ranked = []
    for category in [known["class"]] if known.get("class") else list(rule["lines"]):
        parts = {**known, "class": category, "gauge": name}
        loss = _loss(batches, cables.joined(parts))
        if np.isnan(loss):
            continue
        for conductor, (low, high) in rule["conductor_loss"].items():
            if low <= loss <= high and known.get("conductor", conductor) == conductor:
                made = cables.joined({**parts, "conductor": conductor})
                ranked.append((abs(loss - (low + high) / 2), made, f"{copper}; loss {loss:.2f} of the line at 100 MHz"))
    if not ranked:
        return [{"type": cables.joined({**known, "gauge": name}), "why": copper}]
    return [{"type": made, "why": why} for _, made, why in sorted(ranked)[:MOST]]


def _figures(batches: Sequence[Any]) -> tuple[Any, Any]:
    """Gauges of the records and how far each may be off, where they can be told."""
    found = [witness(RecordLook(b, "2000-01-01")) for b in batches]
    gauges = np.array([g for w in found for g in w.gauge])
    spreads = np.array([s for w in found for s in w.spread])
    return gauges[~np.isnan(gauges)], spreads[~np.isnan(gauges)]


def _loss(batches: Sequence[Any], cable_type: str) -> float:
    """Median loss against the line, were the cable of this type; NaN where it cannot be told."""
    found = []
    for batch in batches:
        records = batch["records"]
        column = records.column_names.index("cable_type")
        types = pa.array([cable_type] * len(batch), pa.string())
        of_type = batch.replace(records=records.set_column(column, records.schema.field(column), types))
        found.extend(witness(RecordLook(of_type, "2000-01-01")).loss.tolist())
    told = [x for x in found if not np.isnan(x)]
    return float(np.median(told)) if told else float("nan")
