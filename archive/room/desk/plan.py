"""The plan that a dry run gives: what would be archived, from what, against which state of the archive; with a digest
over all of it, which confirming names."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from archive.store import LedgerHead
from archive.store.deposits import Receipt


def plan_of(
    what: Mapping[str, Any], made: Receipt, head: LedgerHead, links: Mapping[str, Any], versions: Mapping[str, Any]
) -> dict[str, Any]:
    """A plan as one JSON document. what: as it was asked. made: what the dry run came to. head: of the ledger that it
    was made against. links: handed in, scheduled, missing. versions: of program, limit library and mappings."""
    told = {
        "what": dict(what),
        "decided": made.details["decided"],
        "head": {"size": head.size, "root": head.root},
        "versions": dict(versions),
        "read_by": sorted(str(row["mapping"]) for row in made.details.get("layouts", []) if row["mapping"]),
    }
    digest = hashlib.sha256(json.dumps(told, sort_keys=True, ensure_ascii=False).encode()).hexdigest()
    receipt = {
        "counts": made.counts,
        "findings": made.findings,
        "set_aside": made.set_aside,
        "details": made.details,
        "look": made.look,
    }
    return {**told, "digest": digest, "receipt": receipt, "links": dict(links)}


def receipt_of(plan: Mapping[str, Any]) -> Receipt:
    """The receipt in a plan."""
    kept, head = plan["receipt"], plan["head"]
    counts, findings, details = kept["counts"], kept["findings"], kept["details"]
    return Receipt(None, LedgerHead(head["size"], head["root"]), counts, findings, kept["set_aside"], details)
