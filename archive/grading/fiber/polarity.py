"""Polarity: where each fiber arrives against where its method wants it, and the instrument's own word."""

from __future__ import annotations

from archive.tables import Batch

_DUPLEX = {"A": "B", "B": "A", "1": "2", "2": "1"}
_ROW = 12
"""Positions in a row of an array."""


def partner(near: str, method: str) -> str:
    """The position at which a fiber must arrive, "" where that is not known.

    Array methods A, B and C of ANSI/TIA-568 for rows of twelve, from memory (C).
    """
    if method == "duplex":
        return _DUPLEX.get(near.upper(), "")
    if not near.isdigit() or not 1 <= int(near) <= _ROW:
        return ""
    at = int(near)
    flipped = at + 1 if at % 2 else at - 1
    return {"method-a": str(at), "method-b": str(_ROW + 1 - at), "method-c": str(flipped)}.get(method, "")


def faults(batch: Batch) -> dict[str, str]:
    """What is wrong with polarity, in words, by record; nothing where all is right or unknown."""
    found: dict[str, list[str]] = {}
    methods = {
        r: m or ""
        for r, m in zip(
            *(batch["records"].column(c).to_pylist() for c in ("record_id", "polarity_method")), strict=True
        )
    }
    for row in batch["wiremap"].to_pylist():
        wanted = partner(row["near"], methods.get(row["record_id"], ""))
        if wanted and row["far"] != wanted:
            where = row["far"] or "nothing"
            found.setdefault(row["record_id"], []).append(f"fibre {row['near']} arrives at {where}, not at {wanted}")
    for row in batch["reported"].to_pylist():
        if row["parameter"] == "polarity" and row["verdict"] == "fail" and row["record_id"] not in found:
            found[row["record_id"]] = ["the instrument says so"]
    return {record: f"polarity is wrong: {', '.join(texts)}" for record, texts in found.items()}
