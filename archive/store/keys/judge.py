"""Which keys an archive knows, and whether the signatures of its entries are good.

A key is registered by an entry (event "key", action "add") that it signs itself, and retired by another (action
"retire"). What an entry is signed with must be registered by then and not retired before.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from archive.store.keys import pair
from archive.store.ledger import LedgerEntry


def known_keys(entries: Iterable[LedgerEntry]) -> dict[str, dict[str, object]]:
    """Keys by id: public (hexadecimal digits), added and retired (entry number; None while it holds), by (key)."""
    found: dict[str, dict[str, object]] = {}
    for entry in entries:
        if entry.get("event") == "key":
            key = entry["key"]
            if entry["action"] == "add":
                found[key] = {"public": entry["public"], "added": entry.number, "retired": None, "by": entry.get("by")}
            elif key in found and found[key]["retired"] is None:
                found[key]["retired"] = entry.number
    return found


def judge_signatures(entries: list[LedgerEntry]) -> tuple[dict[str, int], list[tuple[int, str]]]:
    """Number of entries signed, unsigned and not verifiable here; and what is wrong, by entry number."""
    counts: Counter[str] = Counter(signed=0, unsigned=0)
    wrong: list[tuple[int, str]] = []
    keys = known_keys(entries)
    for entry in entries:
        signed = entry.signed
        if signed is None:
            counts["unsigned"] += 1
            continue
        signature, data = signed
        key = keys.get(signature.get("key", ""))
        if key is None or _number(key["added"]) > entry.number:
            wrong.append((entry.number, f"signed with key {signature.get('key')}, which was not registered by then"))
        elif key["retired"] is not None and _number(key["retired"]) < entry.number:
            wrong.append((entry.number, f"signed with key {signature['key']}, which was retired before"))
        elif pair.key_id(str(key["public"])) != signature["key"]:
            wrong.append((entry.number, f"key {signature['key']} is not the one its id says"))
        else:
            good = pair.verify(str(key["public"]), signature, data)
            if good is False:
                wrong.append((entry.number, "its signature is not good"))
            counts["signed" if good else "not verified"] += 1
    return dict(counts), wrong


def _number(value: object) -> int:
    return value if isinstance(value, int) else -1
