"""What a deposit comes to, as one digest: so that somebody who confirmed a dry run gets that deposit and no other."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import pyarrow as pa

from archive.errors import Trouble
from archive.store.deposits.decide import Decisions
from archive.store.deposits.receipt import Receipt


class NotAsConfirmed(Trouble):
    """A deposit comes to something else than what was confirmed. receipt: what it would come to now."""

    def __init__(self, receipt: Receipt, where: str) -> None:
        super().__init__(
            "what would be archived is not what was confirmed; nothing was deposited",
            code="deposit.not-as-confirmed",
            where=where,
            found=str(receipt.details["decided"])[:16],
            remedy="look at a new dry run and confirm that",
        )
        self.receipt = receipt


_SALTED = ("digest", "operator_key")
"""Columns of an index that differ each time a file is read: people are named by a salted key, which the digest of a
record covers."""


def decided(made: Decisions, index: pa.Table, content: Mapping[str, Any], received: Sequence[Mapping[str, Any]]) -> str:
    """SHA-256 over what a deposit comes to: decisions, what the index says of each record, content (what was set
    aside, findings, lines of schedules) and the files received. Neither its id nor its time is in it."""
    total = hashlib.sha256()
    for name in index.column_names:
        if name not in _SALTED:
            total.update(f"{name} {index[name].to_pylist()!r}\n".encode())
    told = {
        "records": total.hexdigest(),
        "decisions": made.plain(""),
        "count": made.count,
        "content": content,
        "received": [[f["name"], f["sha256"], bool(f.get("schedule"))] for f in received],
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True, ensure_ascii=False).encode()).hexdigest()
