"""Which fields of a draft fed something wrong, by the truth of a generated document: what a confidence is worth.

A field is wrong where anything stands wrongly under the items that it feeds, and right where all that arrived there is
right. A field that fed nothing the truth knows of says nothing. Where the label of the links is wrong, all else is
filed under links that do not exist: then the label alone is counted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from archive.formats.mapping.target import Target, parse
from tests.formats.layouts.document import Key
from tests.formats.layouts.scoring import Score, plain

_FIELDS = {
    "records.link_label": "label",
    "records.tested_found": "tested",
    "records.reported_verdict": "verdict",
    "records.limit_found": "standard",
    "records.cable_found": "cable",
    "records.velocity_percent": "velocity",
    "people.name": "operator",
    "jobs.site": "site",
    "places.site": "site",
    "places.building": "building",
    "places.floor": "floor",
    "places.space": "room",
    "instruments.software": "software",
}
_SCALARS = {"propagation_delay": "delay", "delay_skew": "skew", "loop_resistance": "resistance"}


@dataclass(frozen=True)
class Judged:
    """One field of a draft. to: its place without pairs and ends; confidence, reason: as drafted; right: whether all
    that it fed is right."""

    to: str
    confidence: float
    reason: str
    right: bool


def judged(fields: list[dict[str, Any]], score: Score) -> Iterator[Judged]:
    """The fields of a draft of which the truth says something."""
    labels = [_right(f, score) for f in fields if f["to"] == "records.link_label"]
    for f in fields:
        right = _right(f, score)
        if right is not None and (f["to"] == "records.link_label" or labels != [False]):
            yield Judged(str(f["to"]).partition("[")[0], f["confidence"], str(f["reason"]), right)


def _right(f: Mapping[str, Any], score: Score) -> bool | None:
    """Whether all that arrived by a field is right; None where nothing did that the truth knows of."""
    target = parse(f["to"])
    found = [n for key, n in score.by_key.items() if _feeds(target, key)]
    wrong, right = sum(n["wrong"] for n in found), sum(n["right"] for n in found)
    return None if not wrong and not right else wrong == 0


def _feeds(to: Target, key: Key) -> bool:
    """Whether a field feeds the items of a key."""
    if to.table in ("row", "axes"):
        return key[0] in ("worst", "curve")
    if to.table == "readings" and key[0] == "scalar":
        return key[:3] == ("scalar", _SCALARS.get(to.name, to.name), to.pairing)
    if to.table in ("reported", "sweeps", "readings"):
        column = to.column or ("limit" if to.origin == "limit" else "margin" if to.origin == "margin" else "")
        kind = "curve" if to.table == "sweeps" else "worst"
        last = column or ("measured" if kind == "curve" else "value")
        mine = plain((kind, to.name, to.end, to.pairing, last))
        return key[:2] == mine[:2] and key[-1] == last and _open(to.end, key[2]) and _open(mine[3], key[3])
    name = _FIELDS.get(f"{to.table}.{to.name}", "")
    if to.table == "instruments" and to.name == "serial":
        return key[0] == "field" and key[1].startswith("serial") and (not to.end or key[1].endswith(to.end))
    return key == ("field", name)


def _open(said: str, key: str) -> bool:
    """Whether a qualifier is left open, or is that of a key."""
    return not said or not key or said == key
