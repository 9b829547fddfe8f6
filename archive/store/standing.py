"""Which record of a link stands: the one that counts, per configuration and limit family.

The latest complete test by test time, not by arrival, that is neither withdrawn nor in conflict. A later fail stands
over an earlier pass. Partial evidence never displaces a full sweep.
Rows are those of `records` in the catalogue: mappings with row, link_key, kind, former, withdrawn, replaced,
evidence, points, step, verdict, covers_from_mhz, configuration, limit_id, tested_local, tested_at.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from archive.store.records import KNOWN_ALREADY

Row = Mapping[str, Any]

_EVIDENCE = {"full-sweep": 3, "worst-points": 1, "verdict-only": 0}


@dataclass(frozen=True)
class State:
    """Of one record: whether it counts at all, whether it stands, and why or why not, in a sentence.

    unit: row of the record that stands for this one's link, configuration and limit family; None where it does not
    count. first: it is the first complete test of them, by test time.
    """

    live: bool
    standing: bool
    why: str
    unit: int | None = None
    first: bool = False


def states(rows: Iterable[Row]) -> dict[int, State]:
    """State of each record of one link, by row. rows: all records of the link, and those that they refer to."""
    listed = list(rows)
    out = {r["row"]: State(False, False, why) for r in listed if (why := _out(r))}
    left = {r["row"]: r for r in listed if r["row"] not in out}
    for group in _joined(left, "renditions"):
        best = max(group, key=lambda r: (richness(r), -r["row"]))
        for r in group:
            if r is not best:
                out[r["row"]] = State(
                    False, False, f"a rendition of the same test; record {best['record_id']} is richer"
                )
                del left[r["row"]]
    for group in _joined(left, "conflicts"):
        for r in group:
            out[r["row"]] = State(
                False, False, f"in conflict with {len(group) - 1} other of the same test; withdraw all but one"
            )
            del left[r["row"]]
    for r in list(left.values()):
        if r["kind"] == "relabelled" and r["former"] in left:
            out[r["row"]] = State(
                False, False, "the same test stands under another label; withdraw the one whose label is wrong"
            )
            del left[r["row"]]
    groups: dict[Any, list[Row]] = defaultdict(list)
    for r in left.values():
        groups[r["link_key"], *family(r)].append(r)
    for group in groups.values():
        for row, state in _of_family(group):
            out[row] = state
    return out


def family(row: Row) -> tuple[str | None, str | None]:
    """Configuration, and category or class of the limit, whatever its edition."""
    parts = (row["limit_id"] or "").split("/")
    category = parts[1] if len(parts) > 1 else None
    return row["configuration"] or (parts[2] if len(parts) > 2 else None), category


def richness(row: Row) -> tuple[int, int, float]:
    """Evidence, points, fineness of the numbers: the larger is the richer."""
    return evidence(row), int(row["points"] or 0), -float(row["step"] or 0.0)


def evidence(row: Row) -> int:
    """How complete a record is: a full sweep over the whole range of its limit, one over a part, less."""
    rank = _EVIDENCE.get(row["evidence"], 0)
    partly = row["verdict"] == "not graded" and row["covers_from_mhz"] is not None
    return 2 if rank == 3 and partly else rank


def _out(row: Row) -> str:
    if row["withdrawn"]:
        return "withdrawn"
    if row["replaced"]:
        return "read anew from its file; the new reading counts"
    return "here already" if row["kind"] in KNOWN_ALREADY else ""


def _joined(left: dict[int, Row], kind: str) -> list[list[Row]]:
    """Groups of two or more records that decisions of a kind join, among those that are left."""
    leader = {row: row for row in left}

    def find(row: int) -> int:
        while leader[row] != row:
            row = leader[row]
        return row

    for row, r in left.items():
        if r["kind"] == kind and r["former"] in left:
            leader[find(row)] = find(r["former"])
    groups: dict[int, list[Row]] = defaultdict(list)
    for row, r in left.items():
        groups[find(row)].append(r)
    return [g for g in groups.values() if len(g) > 1]


def _of_family(group: list[Row]) -> list[tuple[int, State]]:
    best = max(evidence(r) for r in group)
    complete = [r for r in group if evidence(r) == best]
    zoned = all(r["tested_at"] for r in complete)
    clock = "tested_at" if zoned else "tested_local"
    standing = max(complete, key=lambda r: (r[clock] or "", r["row"]))
    first = min(complete, key=lambda r: (r[clock] or "", r["row"]))
    found = []
    for r in group:
        of = {"unit": standing["row"], "first": r is first}
        if r is standing:
            why = "the only test" if len(group) == 1 else f"the latest of {len(complete)} complete tests, by test time"
            if len(complete) < len(group):
                why += f"; {len(group) - len(complete)} of less evidence"
            found.append((r["row"], State(True, True, why, **of)))
        elif evidence(r) < best:
            found.append((r["row"], State(True, False, "less evidence than the standing record", **of)))
        else:
            found.append((r["row"], State(True, False, "an earlier test", **of)))
    return found
