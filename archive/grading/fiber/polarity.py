"""Polarity: where each fiber arrives against where its method wants it, and the instrument's own word."""

from __future__ import annotations

from dataclasses import dataclass

from archive.limits.fiber import partner, polarity_letter
from archive.tables import Batch


@dataclass(frozen=True)
class PolarityFault:
    """text: what is wrong, in words. confidence: of what it rests on: the instrument's word (A) or the map of the
    method."""

    text: str
    confidence: str


def faults(batch: Batch) -> dict[str, PolarityFault]:
    """What is wrong with polarity by record; nothing where all is right or unknown."""
    found: dict[str, list[str]] = {}
    records = batch["records"].select(["record_id", "polarity_method"]).to_pylist()
    methods = {row["record_id"]: row["polarity_method"] or "" for row in records}
    for row in batch["wiremap"].to_pylist():
        wanted = partner(row["near"], methods.get(row["record_id"], ""))
        if wanted and row["far"] != wanted:
            where = row["far"] or "nothing"
            found.setdefault(row["record_id"], []).append(f"fibre {row['near']} arrives at {where}, not at {wanted}")
    said = batch["reported"].select(["record_id", "parameter", "verdict"]).to_pylist()
    failed = {row["record_id"] for row in said if row["parameter"] == "polarity" and row["verdict"] == "fail"}
    for record in failed:
        found.setdefault(record, ["the instrument says so"])
    return {
        record: PolarityFault(f"polarity is wrong: {', '.join(texts)}", "A" if record in failed else polarity_letter())
        for record, texts in found.items()
    }
