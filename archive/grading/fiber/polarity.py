"""Polarity: where each fiber arrives against where its method wants it, and the instrument's own word."""

from __future__ import annotations

from dataclasses import dataclass

from archive.limits.fiber import partners, plug_size, polarity_letter
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
    records = batch["records"].select(["record_id", "polarity_method", "array_positions"]).to_pylist()
    built = {row["record_id"]: (row["polarity_method"] or "", row["array_positions"]) for row in records}
    arrivals: dict[str, list[tuple[str, str]]] = {}
    for row in batch["wiremap"].to_pylist():
        arrivals.setdefault(row["record_id"], []).append((row["near"], row["far"] or ""))
    for record, pairs in arrivals.items():
        method, stated = built.get(record, ("", None))
        size = plug_size((position for pair in pairs for position in pair), stated)
        for near, far in pairs:
            wanted = partners(near, method, size)
            if wanted and far not in wanted:
                text = f"fibre {near} arrives at {far or 'nothing'}, not at {' or '.join(wanted)}"
                found.setdefault(record, []).append(text)
    said = batch["reported"].select(["record_id", "parameter", "verdict"]).to_pylist()
    failed = {row["record_id"] for row in said if row["parameter"] == "polarity" and row["verdict"] == "fail"}
    for record in failed:
        found.setdefault(record, ["the instrument says so"])
    return {
        record: PolarityFault(f"polarity is wrong: {', '.join(texts)}", "A" if record in failed else polarity_letter())
        for record, texts in found.items()
    }
